"""What to measure again before any plan: things on the car that cannot quite be so."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import lru_cache

import numpy as np

from .bothsides import SideDifference, side_differences, side_findings
from .cutroom import cut_room_findings
from .diagonals import diagonal_findings
from .fairing import LIMIT_SD, FairCheck, FairReading, fair_check
from .numeric import dot
from .report import Finding
from .shape import CarShape
from .units import shown

FAIR_SOURCE = (
    "each reading against the fair surface through all others (data snooping, Baarda 1968, from memory): "
    f"{LIMIT_SD} standard deviations of what tape and shape explain"
)
_TOO = {"x": ("far rearward", "far forward"), "y": ("far out", "far in"), "z": ("high", "low")}


@dataclass(frozen=True, kw_only=True)
class CarCheck:
    """What a measured car says about its own measures."""

    car: dict
    fair: FairCheck
    sides: tuple[SideDifference, ...]
    findings: tuple[Finding, ...]

    def to_json(self) -> dict:
        """Return plain lists, dicts, numbers and strings, as ``schemas/check.schema.json`` says."""
        readings = [
            {
                **asdict(r),
                "explained_mm": r.explained_mm,
                "found_from_mm": r.found_from_mm,
                "is_off": r.is_off,
            }
            for r in self.fair.readings
        ]
        unjudged = [
            dict(zip(("place", "row", "side", "axis"), key, strict=True)) for key in self.fair.unjudged
        ]
        return {
            "car": self.car,
            "scatter_mm": self.fair.scatter_mm,
            "readings": readings,
            "unjudged": unjudged,
            "left_less_right": [asdict(d) for d in self.sides],
            "findings": [asdict(f) for f in self.findings],
        }


@lru_cache(maxsize=8)
def car_check(shape: CarShape) -> CarCheck:
    """Return the check of a measured car, worked out once; findings worst first by measured / limit."""
    car, fair = shape.car, fair_check(shape.car)
    found = [
        *(f for key in shape.lines if (f := _post_outside(shape, key)) is not None),
        *cut_room_findings(shape, fair.scatter_mm),
        *(_off_fair(reading, car.unit) for reading in fair.off),
        *diagonal_findings(car, fair.scatter_mm),
        *side_findings(car, fair),
    ]
    return CarCheck(
        car={"name": car.name, "unit": car.unit, "tape_mm": car.tape_mm},
        fair=fair,
        sides=side_differences(car),
        findings=tuple(sorted(found, key=_gravity, reverse=True)),
    )


def car_findings(shape: CarShape) -> tuple[Finding, ...]:
    """Return findings about the measured car itself, worst first."""
    return car_check(shape).findings


def _gravity(finding):
    """Return how many times past its limit a finding is; where less is worse, by how much it falls short."""
    ratio = finding.measured / finding.limit
    return ratio if ratio >= 1 else 2 - ratio


def _off_fair(reading: FairReading, unit) -> Finding:
    r = reading
    sign = -1 if r.axis == "y" and r.side == "left" else 1
    has, fair = (shown(sign * mm, unit) for mm in (r.reading_mm, r.reading_mm - r.off_mm))
    text = (
        f"{r.axis} reads {shown(abs(r.off_mm), unit)} too {_TOO[r.axis][r.off_mm < 0]}: {has}, where the "
        f"fair surface through the other points has {fair}. Measure {r.axis} of this point again"
    )
    inches = round(abs(r.off_mm) / 25.4)
    if unit == "in" and inches and abs(abs(r.off_mm) - 25.4 * inches) <= r.explained_mm / 2:
        text += f"; it is near a whole {inches} in: was the inch misread?"
    side = "" if r.side == "centre" else f" {r.side}"
    return Finding(
        kind="off the fair surface",
        where=f"{r.place}, {r.row}{side}, {r.axis}",
        message=text if text.endswith("?") else text + ".",
        measured=abs(r.off_mm),
        limit=r.explained_mm,
        unit="mm",
        source=FAIR_SOURCE,
    )


def post_depth_mm(shape: CarShape, key) -> tuple[float, float]:
    """Return how deep a post's outer corners lie under the skin at the least, and at what height.

    The nearest skin square above each of 4 × 9 places along the corner edges
    counts. [mm]
    """
    line = shape.lines[key]
    corners = line.lines(np.linspace(0, 1, 9)[:, None] + np.zeros(5))[:, 1:].reshape(-1, 3)
    depth = np.full(len(corners), np.inf)
    for grid in shape.skin.grids.values():
        near = grid.is_near(corners, 200.0)
        if near.any():
            foot = grid.foot(corners[near])
            off = corners[near] - foot.point
            reach = np.sqrt(dot(off, off))
            depth[near] = np.where(
                foot.is_square & (reach < 200.0), np.minimum(depth[near], -foot.distance_mm), depth[near]
            )
    least = int(depth.argmin())
    return float(depth[least]), float(corners[least, 2])


def _post_outside(shape, key):
    gauge, unit = shape.car.gauge_mm, shape.car.unit
    depth, height = post_depth_mm(shape, key)
    if depth >= gauge - 1e-6:
        return None
    how = f"{shown(-depth, unit)} outside the skin" if depth < 0 else f"only {shown(depth, unit)} under it"
    return Finding(
        kind="post outside skin",
        where=" ".join(key),
        message=f"A corner of the box lies {how} at height {shown(height, unit)}: "
        "re-measure the middle of the section there, its width and its depth.",
        measured=depth,
        limit=gauge,
        unit="mm",
        source="geometry: a post lies inside the skin by at least the sheet's gauge",
    )
