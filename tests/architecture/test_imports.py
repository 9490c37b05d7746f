"""Who imports whom, and what a plain ``import model`` costs."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HEAVY = ("cadquery", "OCP", "scipy", "ipywidgets", "anywidget", "matplotlib", "shapely", "numpy")
MAY_BE_HEAVY = ("solids", "exact", "preview", "roofview", "controls")  # how their names begin


def fresh(code):
    """Run code in a fresh interpreter and return what it prints."""
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert ran.returncode == 0, ran.stderr
    return ran.stdout


def test_the_contracts_in_pyproject_hold():
    command = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    ran = subprocess.run(
        [sys.executable, "-c", command, "--no-cache"], cwd=ROOT, capture_output=True, text=True, timeout=120
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr


@pytest.mark.parametrize(
    "code",
    [
        "import model",
        "import model.carfile, model.planfile, model.plansettings, model.report",
        "import model.output.text",
        *(
            f"from model.cli import command_parser; command_parser().parse_args({words})"
            for words in (
                ["report", "coupe"],
                ["step", "coupe", "-o", "a.step"],
                ["glb", "coupe", "-o", "a.glb"],
                ["review", "coupe", "a", "-o", "a.html"],
                ["demo"],
            )
        ),
    ],
)
def test_nothing_heavy_is_imported_before_it_is_needed(code):
    loaded = fresh(f"{code}\nimport sys; print(*[name for name in {HEAVY} if name in sys.modules])")
    assert loaded.split() == []


def test_help_loads_nothing_heavy():
    ran = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "model.cli", "--help"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert ran.returncode == 0 and "COMMAND" in ran.stdout
    loaded = {line.rsplit("|", 1)[-1].strip() for line in ran.stderr.splitlines()}
    assert loaded & set(HEAVY) == set()
    assert "argparse" in loaded  # so the names are read from the right column


def test_no_light_module_loads_what_is_heavy():
    """That none needs another to come first follows from the layers, which know no cycle."""
    stems = [path.stem for path in sorted((ROOT / "model").glob("*.py"))]
    names = [f"model.{stem}" for stem in stems if not stem.startswith(("__", *MAY_BE_HEAVY))]
    code = (
        "import importlib, sys\n"
        f"for name in {names}:\n"
        "    importlib.import_module(name)\n"
        "print('OCP' in sys.modules or 'ipywidgets' in sys.modules)\n"
    )
    assert fresh(code).strip() == "False"


def test_planning_loads_no_cad_kernel():
    pytest.importorskip("model.evaluate")
    loaded = fresh(
        "from model.carfile import demo_car_path, read_car\n"
        "from model.evaluate import evaluate\n"
        "from model.plan import Plan\n"
        "import sys; evaluate(read_car(demo_car_path('coupe')), Plan())\n"
        "print(*[name for name in ('OCP', 'cadquery') if name in sys.modules])"
    )
    assert loaded.split() == []
