"""The blind modules import a STEP reader, numpy and scipy, each other, and nothing else."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
BLIND = ("blind_reader", "blind_posts", "blind_seams", "comparison")
ALLOWED = {"OCP", "numpy", "scipy", *BLIND, *sys.stdlib_module_names}


def imported(path):
    """Return the first names of everything that a file imports, wherever in it."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert not node.level
            names.add(node.module.split(".")[0])
        elif isinstance(node, ast.Call) and ast.unparse(node.func) in (
            "__import__",
            "importlib.import_module",
            "exec",
        ):
            raise AssertionError(f"{path.name} imports by another way")
    return names


@pytest.mark.parametrize("name", BLIND)
def test_imports_are_a_step_reader_and_sums(name):
    """By the source."""
    assert imported(HERE / f"{name}.py") <= ALLOWED
    assert not imported(HERE / f"{name}.py") & {"importlib", "subprocess", "runpy"}


def test_test_imports_are_no_more_than_the_comparison():
    """The test itself sees only files, through a fixture."""
    assert imported(HERE / "test_blind.py") <= {"json", "numpy", "pytest", *BLIND}


def test_nothing_of_the_program_is_loaded():
    """By a fresh interpreter in which the program cannot be imported."""
    script = "import sys; sys.modules['model'] = None; import comparison; print(sys.modules['model'])"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=HERE, capture_output=True, text=True, check=False
    )
    assert done.stdout.strip() == "None", done.stderr
