"""The last plan of every car, kept on this machine without being asked for it.

A tab that was closed or a kernel that died loses nothing: the plan lies as a
plan file like any other in the user's own state folder, one for each car.
"""

from __future__ import annotations

import re
from datetime import datetime
from hashlib import sha256
from pathlib import Path

import platformdirs

from .measured import Car
from .plan import Plan
from .planfile import read_plan, write_plan


def kept_path(car: Car) -> Path:
    """Return where the last plan of a car is kept: by its name, and by all its measures.

    A car measured anew is another car: a plan of the old one may not fit it.
    """
    stem = re.sub(r"[^a-z0-9]+", "-", car.name.lower()).strip("-") or "car"
    return (
        platformdirs.user_state_path("plumbdrop")
        / f"{stem}-{sha256(repr(car).encode()).hexdigest()[:8]}.toml"
    )


def keep_plan(plan: Plan, car: Car) -> None:
    """Keep a plan as the last one of its car.

    Raises
    ------
    FileRefused
        If it cannot be written.
    """
    path = kept_path(car)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_plan(plan, car, path)


def kept_since(car: Car) -> datetime | None:
    """Return when the last plan of a car was kept, in local time; None if there is none."""
    path = kept_path(car)
    return datetime.fromtimestamp(path.stat().st_mtime) if path.is_file() else None


def kept_plan(car: Car) -> Plan:
    """Return the last plan of a car.

    Raises
    ------
    FileRefused, PlanError
        If it cannot be read.
    """
    return read_plan(kept_path(car), car)
