"""What a fresh machine installs, and that README, CI and the files beside them agree."""

import importlib.metadata
import re
import stat
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest
import yaml
from packaging.requirements import Requirement

import model
from model.files import packaged_schema

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEMO_COMMAND = "pip install -e . && plumbdrop demo"
TEST_COMMAND = 'pip install -e ".[test]" && pytest'
TOP_LEVEL = {
    "model",
    "notebooks",
    "tests",
    "README.md",
    "DEVELOPERS.md",
    "environment.yml",
    "pyproject.toml",
    "LICENSE",
    "CHANGELOG.md",
}
MADE_HERE = {"build", "dist", "plumbdrop-demo.step", "plumbdrop-demo.json", "notebook.log"}


def test_environment_takes_its_dependencies_from_pyproject():
    environment = yaml.safe_load((ROOT / "environment.yml").read_text(encoding="utf-8"))
    *conda, pip = environment["dependencies"]
    assert environment["name"] == PROJECT["name"]
    assert conda == [f"python{PROJECT['requires-python']}", "pip"]
    assert pip == {"pip": ["-e ."]}


@pytest.mark.parametrize("line", PROJECT["dependencies"] + PROJECT["optional-dependencies"]["test"])
def test_what_is_installed_is_what_is_asked_for(line):
    requirement = Requirement(line)
    assert requirement.specifier, "say which version it was tried with"
    assert requirement.specifier.contains(importlib.metadata.version(requirement.name))


@pytest.mark.parametrize("line", PROJECT["dependencies"] + PROJECT["optional-dependencies"]["test"])
def test_every_dependency_has_its_reason_in_developers(line):
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert re.search(rf"^\| {re.escape(Requirement(line).name)} \|.+\|.+\|$", developers, re.MULTILINE)


def test_every_import_is_a_dependency():
    standard = {"model", *sys.stdlib_module_names}
    names_of = {"OCP": "cadquery", "IPython": "ipywidgets", "resvg_py": "resvg-py"}
    named = {Requirement(line).name for line in PROJECT["dependencies"]}
    for path in (ROOT / "model").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for name in re.findall(
            r"^ *(?:import|from) ([A-Za-z_]\w*)[\w.]*(?: import | as |$)", text, re.MULTILINE
        ):
            assert name in standard or names_of.get(name, name) in named, f"{path.name}: {name}"


def test_readme_opens_with_the_two_commands():
    first = README.index(DEMO_COMMAND)
    assert first < README.index(TEST_COMMAND) < 3000


def test_ci_runs_the_test_command_of_readme():
    script = ROOT / ".ci" / "run"
    assert f"readme_command '{TEST_COMMAND}'" in script.read_text(encoding="utf-8")
    assert script.stat().st_mode & stat.S_IXUSR
    assert README.splitlines().count(TEST_COMMAND) == 1  # a line of its own, ready to paste


def test_every_command_is_in_readme():
    from model.cli import command_parser

    (commands,) = [a for a in command_parser()._actions if hasattr(a, "choices") and a.choices]
    for name in commands.choices:
        assert f"plumbdrop {name}" in README, name


def test_every_setting_is_in_readme():
    from model.plansettings import SETTINGS

    for name in SETTINGS:
        assert f"`{name}`" in README, name


def test_every_link_and_picture_of_the_documents_exists():
    for document in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / document).read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#]+)[^)]*\)", text):
            if "://" not in target:
                assert (ROOT / target).exists(), f"{document}: {target}"


def test_nothing_else_lies_at_the_top():
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert found - MADE_HERE - {name for name in found if name.endswith(".egg-info")} <= TOP_LEVEL


def test_the_version_is_said_once():
    assert PROJECT["dynamic"] == ["version"]
    assert model.__version__ in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_the_plan_in_readme_is_a_plan(tmp_path):
    from model.carfile import demo_car_path, read_car
    from model.evaluate import build_checked
    from model.planfile import read_plan

    (text,) = [block for block in toml_blocks() if "[roof]" in block]
    car = read_car(demo_car_path("coupe"))
    (tmp_path / "plan.toml").write_text(text.replace("my coupe", car.name), encoding="utf-8")
    plan = read_plan(tmp_path / "plan.toml", car)
    assert plan.window and plan.cuts and plan.shifts
    build_checked(car, plan)


def test_the_car_in_readme_has_only_keys_that_a_car_may_have():
    (text,) = [block for block in toml_blocks() if "[[hoop]]" in block]
    validator = jsonschema.Draft202012Validator(packaged_schema("car"))
    problems = list(validator.iter_errors(tomllib.loads(text)))
    assert {problem.validator for problem in problems} <= {
        "minItems",
        "contains",
    }  # one of each stands for all


def toml_blocks():
    """Return the TOML examples of README."""
    return re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
