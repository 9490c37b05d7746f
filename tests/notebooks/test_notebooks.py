"""Every notebook runs from top to bottom, is kept without outputs, and holds no logic."""

import ast
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
MOST_LINES = 10


@pytest.fixture(params=NOTEBOOKS, ids=lambda path: path.name)
def notebook(request):
    return nbformat.read(request.param, as_version=4)


def code_cells(notebook):
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


@pytest.fixture
def private_jupyter(tmp_path, monkeypatch):
    names = ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR")
    for name in names:
        (tmp_path / name).mkdir()
        monkeypatch.setenv(name, str(tmp_path / name))
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    return tmp_path


def test_there_are_notebooks():
    assert {path.name for path in NOTEBOOKS} >= {"chop.ipynb", "rear_window.ipynb"}


def test_it_is_stripped_and_thin(notebook):
    nbformat.validate(notebook)
    for cell in code_cells(notebook):
        assert cell.outputs == [] and cell.execution_count is None
        tree = ast.parse(cell.source)
        kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda)
        assert not any(isinstance(node, kinds) for node in ast.walk(tree))
        assert len(cell.source.splitlines()) < MOST_LINES


def test_it_asks_one_question_and_warns(notebook):
    first, *_, last = notebook.cells
    assert first.source.startswith("# ") and first.source.splitlines()[0].endswith("?")
    for word in ("fire watch", "codes", "Tempered"):
        assert word in last.source


def test_it_runs_from_top_to_bottom(notebook, private_jupyter):
    NotebookClient(notebook, timeout=120, resources={"metadata": {"path": str(private_jupyter)}}).execute()
    for cell in code_cells(notebook):
        assert cell.outputs, cell.source
        text = " ".join(str(output.get("data", output)) for output in cell.outputs)
        assert "fault in Plumbdrop" not in text
