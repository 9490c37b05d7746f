"""Plans kept by name on this machine, each as a plan file like any other, one folder for each car.

A name is the file's name with everything but letters and digits written as
%XX, so that any name can be told from its file without reading it.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from urllib.parse import quote, unquote

from .errors import FileRefused, PlanError
from .fields import choice_hint
from .keptplan import kept_path
from .measured import Car
from .plan import Plan
from .planfile import read_plan, write_plan

LONGEST_NAME = 60  # letters: longer would not fit a column, nor some systems' file names
_PREFIX = "plan "  # some systems keep words such as "con" for themselves


def named_plans(car: Car) -> list[str]:
    """Return the names of a car's plans, in the order of the alphabet."""
    files = _folder(car).glob(f"{_PREFIX}*.toml")
    return sorted((unquote(file.stem.removeprefix(_PREFIX)) for file in files), key=str.casefold)


def keep_named(plan: Plan, car: Car, name: str) -> Plan:
    """Keep a plan under a name, in place of an older one of that name; return it with its name.

    Raises
    ------
    PlanError
        If the name is empty, too long, or another's but for capitals.
    FileRefused
        If the file cannot be written.
    """
    name = " ".join(name.split())
    if not 0 < len(name) <= LONGEST_NAME:
        raise PlanError(
            "name",
            f"must be text of 1 to {LONGEST_NAME} letters; got {len(name)} letters.",
            "Type a short name, such as: two and a quarter.",
        )
    near = [other for other in named_plans(car) if other != name and other.casefold() == name.casefold()]
    if near:
        raise PlanError(
            "name",
            f'must differ from "{near[0]}" by more than capitals; got "{name}".',
            "Some systems take the two for one file.",
        )
    named = replace(plan, name=name)
    path = _path(car, name)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_plan(named, car, path)
    return named


def named_plan(car: Car, name: str) -> Plan:
    """Return a plan that was kept under a name.

    Raises
    ------
    PlanError
        If there is none, or it is not for this car.
    FileRefused
        If its file cannot be read.
    """
    return read_plan(_existing(car, name), car)


def forget_named(car: Car, name: str) -> None:
    """Delete a plan that was kept under a name.

    Raises
    ------
    PlanError
        If there is none.
    FileRefused
        If its file cannot be deleted.
    """
    path = _existing(car, name)
    try:
        path.unlink()
    except OSError as problem:
        raise FileRefused(
            path, f"cannot be deleted: {problem.strerror}.", "Close whatever has it open."
        ) from problem


def _existing(car, name) -> Path:
    names = named_plans(car)
    if name not in names:
        raise PlanError("name", f'must be a plan that was kept; got "{name}".', choice_hint(name, names))
    return _path(car, name)


def _path(car: Car, name: str) -> Path:
    return _folder(car) / f"{_PREFIX}{quote(name, safe=' ')}.toml"


def _folder(car: Car) -> Path:
    return kept_path(car).with_suffix("")
