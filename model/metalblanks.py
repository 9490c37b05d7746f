"""The flat blanks of new metal: what to cut out, how much to crown it, whether it can simply be rolled.

A surface that bends tighter than the sheet is thick cannot be made of that
sheet (least inside radius of a bend in mild sheet about its thickness: common
practice, no source); it has no blank, and a finding says so.  Neither has a
surface whose folds lie so close that it cannot be laid flat surely: where half
as many spans would change a side or diagonal by more than
:data:`LARGEST_DOUBT_MM`, or where points and normals contradict each other.

Blanks take a quarter to one second each, so a slider does not wait for them.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import replace

import numpy as np

from .blanks import Blank, blank_work
from .built import Built
from .errors import MeasureError
from .fillers import Filler, fillers_of
from .report import NewMetalReport, Report
from .sheetpatch import Sheet
from .stepwise import in_steps
from .trapeziums import trapezium_of

LARGEST_DOUBT_MM = 0.8  # assumed: of a blank's sides and diagonals, the demo plans' root gap
SAMPLES = 41  # of the sheet each way; its least radius is then read to a tenth


def filler_blank(filler: Filler, trim_mm: float) -> Blank | None:
    """Return the blank of one filler, or None where it cannot be laid flat surely."""
    return blanking(filler, trim_mm).result()


@in_steps(maxsize=64)
def blanking(filler: Filler, trim_mm: float) -> Generator[None, None, Blank | None]:
    """Return the blank of one filler in steps, or None where it cannot be laid flat surely."""
    at = np.linspace(0.0, 1.0, SAMPLES)
    uv = np.stack(np.meshgrid(at, at, indexing="ij"), axis=-1)
    point, _, _, normal = filler.grid.frame(uv.reshape(-1, 2))
    sheet = Sheet(points_mm=point.reshape(*uv.shape[:2], 3), normals=normal.reshape(*uv.shape[:2], 3))
    try:
        blank = yield from blank_work(sheet, trim_mm=trim_mm, gauge_mm=filler.thickness_mm)
    except MeasureError:  # points and normals contradict: a fold between two lines of samples
        return None
    return blank if blank.doubt_mm <= LARGEST_DOUBT_MM else None


def with_blanks(report: Report, built: Built) -> Report:
    """Return the report with the blank of every filler that can be formed."""
    for filler in fillers_of(built):
        report = with_blank(report, built, filler.name)
    return report


def with_blank(report: Report, built: Built, name: str) -> Report:
    """Return the report with the blank of one filler, if it can be formed."""
    filler, trim_mm = _named(built, name), built.plan.new_metal.trim_mm
    metals = tuple(
        _with_blank(metal, filler, trim_mm) if metal.name == name and can_be_formed(metal) else metal
        for metal in report.new_metal
    )
    return replace(report, new_metal=metals)


def blank_steps(built: Built, metal: NewMetalReport) -> Iterator[None]:
    """Do what :func:`with_blank` waits for, in steps."""
    if can_be_formed(metal):
        yield from blanking(_named(built, metal.name), built.plan.new_metal.trim_mm).steps()


def _named(built, name) -> Filler:
    (filler,) = (each for each in fillers_of(built) if each.name == name)
    return filler


def can_be_formed(metal: NewMetalReport) -> bool:
    """Return whether a filler bends no tighter than its sheet is thick."""
    return metal.least_radius_mm >= metal.gauge_mm


def _with_blank(metal: NewMetalReport, filler: Filler, trim_mm: float) -> NewMetalReport:
    blank = filler_blank(filler, trim_mm)
    if blank is None:
        return metal
    return replace(
        metal,
        blank_mm=(blank.length_mm, blank.width_mm),
        crown_mm=blank.crown_mm,
        max_strain=blank.max_strain,
        doubt_strain=blank.doubt_strain,
        can_be_rolled=blank.can_be_rolled,
        trapezium=trapezium_of(blank),
    )
