"""Left against right: what was measured on both sides, point by point.

A difference is left − right with y counted outward, so a car that is the same on both sides has none.  A
centreline stretched c too far left makes every y of the right c larger and of the left c smaller: −2c all
over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .fairing import LIMIT_SD, FairCheck
from .measured import CROWN, Car
from .report import Finding
from .units import shown

SOURCE = f"two readings of the tape differ by no more than {LIMIT_SD} √2 of their standard deviation"
_NAMES = {"x": "fore-and-aft (x)", "y": "across (y)", "z": "height (z)"}
_WORDS = {
    "x": ("further rearward", "further forward"),
    "y": ("further out", "further in"),
    "z": ("higher", "lower"),
}
_CAUSES = {
    "x": "see that the origin's cross line is square to the centreline",
    "y": "see that the roof's crown hangs over the centreline, and measure both half widths from it again",
    "z": "see that the car stands level across",
}
STEADY_SHARE = 0.75  # assumed: so many points must differ the same way to call the whole side so
_UNEVEN = "It comes and goes along the car, but fairly: the body is lopsided, not one reading wrong"


@dataclass(frozen=True, kw_only=True)
class SideDifference:
    """How much further a point lies on the left than on the right: rearward, outward, up. [mm]"""

    place: str
    row: str
    x_mm: float
    y_mm: float
    z_mm: float


def side_differences(car: Car) -> tuple[SideDifference, ...]:
    """Return the differences of every point measured on both sides, hoops first; the crown is one point."""
    pairs = []
    for hoop in car.hoops:
        points = zip(car.rows, hoop.right_mm, hoop.left_mm or (), strict=False)
        pairs += [(hoop.name, *point) for point in points]
    for panel in car.panels:
        for height, rights, lefts in zip(car.rows, panel.right_mm, panel.left_mm or (), strict=False):
            points = zip(car.rows[car.gutter_index + 1 :], rights, lefts, strict=False)
            pairs += [(f"{panel.name} panel", f"{height}/{column}", *point) for column, *point in points]
    return tuple(
        SideDifference(
            place=place,
            row=row,
            x_mm=left[0] - right[0],
            y_mm=abs(left[1]) - abs(right[1]),
            z_mm=left[2] - right[2],
        )
        for place, row, right, left in pairs
        if row.split("/")[-1] != CROWN
    )


def side_findings(car: Car, fair: FairCheck) -> list[Finding]:
    """Return, for each of x, y, z in which the sides differ by more than the tape explains, one finding.

    A single point that breaks the run of its hoop is a finding of :mod:`model.fairing` and is left out here,
    where it is said whether the car as a whole is lopsided.
    """
    limit = float(LIMIT_SD * np.sqrt(2) * fair.scatter_mm)
    off = {(r.place, r.row, r.axis) for r in fair.off}
    found = []
    for axis in _WORDS:
        sizes = {
            (d.place, d.row): getattr(d, f"{axis}_mm")
            for d in side_differences(car)
            if (d.place, d.row, axis) not in off
        }
        place, row = max(sizes, key=lambda key: abs(sizes[key]), default=("", ""))
        if sizes and abs(sizes[place, row]) > limit:
            found.append(
                Finding(
                    kind="left and right differ",
                    where=f"{_NAMES[axis]}, {place}, {row}",
                    message=_words_on(car, axis, sizes[place, row], np.array(list(sizes.values()))),
                    measured=abs(sizes[place, row]),
                    limit=limit,
                    unit="mm",
                    source=SOURCE,
                )
            )
    return found


def _words_on(car, axis, worst_mm, sizes_mm):
    """Say how the sides differ, what could make them, and what to measure."""
    way = _WORDS[axis][worst_mm < 0]
    text = f"Left lies up to {shown(abs(worst_mm), car.unit)} {way} than right. "
    if (np.sign(sizes_mm) == np.sign(worst_mm)).mean() >= STEADY_SHARE:
        mean = shown(abs(float(sizes_mm.mean())), car.unit)
        text += f"The whole side does, {mean} on the mean of {len(sizes_mm)} points: {_CAUSES[axis]}."
    else:
        text += f"{_UNEVEN}. {_CAUSES[axis][0].upper()}{_CAUSES[axis][1:]}."
    mirrored = [hoop.name for hoop in car.hoops if not hoop.left_mm]
    if mirrored:
        text += f" Measure the left of {', '.join(mirrored)} too: it is now the right's mirror image."
    return text
