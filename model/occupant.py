"""The driver: headroom above the seat, eye points and the top of the head.

**Effective headroom** (H61 of SAE J1100, from memory): from the seat reference
point R along a line 8° rearward of plumb to the inside of the roof, plus 102 mm.

**Eye points** of UN Regulation 125 from R, for a seat back 25° from plumb, in
the car frame with y outboard of the seat (towards the driver's own side):

    V1 (68, 5, 665), V2 (68, 5, 589)           the highest and the lowest eye
    P1 (35, 20, 627), P2 (63, −47, 627)        where the neck turns
    Pm (43.36, 0, 627)

V1 and V2 as printed in GOST 5727-88, appendix, table 1; P1, P2, Pm (¶5.3), the
eyes 65 mm apart and each 104 mm from P (¶5.5), and the corrections for other
back angles (¶5.4) are from memory.

**Stature.**  A grown person's sitting eye height is 0.457 of the stature, and
the crown of the head 0.070 of it higher: means of the 50th percentile man and
woman, R. L. Huston, *Principles of Biomechanics*, CRC Press 2009, table of
standing and sitting dimensions.  The published points stand for a half-and-half
mix of men and women (SAE J941, foreword), whose mean stature in that table is
1688.5 mm; so a driver of stature S has eyes 0.457 (S − 1688.5) above Pm.  The
crown lies 90.6 mm behind the eyes (SAE J1052, from memory).  The seat stays
where R was measured.

Under a split roof the part over the line counts; over the opening between
two parts, that part, carried on, which comes nearest.
"""

from __future__ import annotations

import numpy as np

from .gridplaces import derivatives_at, outward_at
from .measured import Driver
from .moves import IDENTITY, RigidMove
from .numeric import norms
from .roofparts import RoofParts
from .skin import Grid

AS_IT_STANDS = RoofParts(IDENTITY)
LINE_DEG = 8.0
ADDED_MM = 102.0
MEAN_STATURE_MM = 1688.5
EYE_SHARE, CROWN_SHARE = 0.457, 0.0702  # of stature: eye above the seat, crown above the eye
CROWN_BEHIND_EYE_MM = 90.6
EYE_POINTS_MM = {
    "V1": (68.0, 5.0, 665.0),
    "V2": (68.0, 5.0, 589.0),
    "P1": (35.0, 20.0, 627.0),
    "P2": (63.0, -47.0, 627.0),
    "Pm": (43.36, 0.0, 627.0),
}
_BACK_DEG = (5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0)
_BACK_DX_MM = (-186.0, -137.0, -90.0, -44.0, 0.0, 43.0, 84.0, 123.0)
_BACK_DZ_MM = (28.0, 25.0, 20.0, 11.0, 0.0, -14.0, -32.0, -52.0)


def outboard(seat_mm) -> float:
    """Return the sign of y on the driver's own side; a seat on the centreline counts as a left one."""
    return 1.0 if seat_mm[1] > 0 else -1.0


def eye_points_mm(seat_mm, back_deg: float = 25.0) -> dict[str, np.ndarray]:
    """Return V1, V2, P1, P2 and Pm in the car frame, each (3,), for a back 5° to 40° from plumb. [mm]"""
    leaned = np.array(
        [np.interp(back_deg, _BACK_DEG, _BACK_DX_MM), 0.0, np.interp(back_deg, _BACK_DEG, _BACK_DZ_MM)]
    )
    own_side = np.array([1.0, outboard(seat_mm), 1.0])
    return {name: np.asarray(seat_mm, float) + leaned + own_side * p for name, p in EYE_POINTS_MM.items()}


def own_eye_mm(seat_mm, driver: Driver) -> np.ndarray:
    """Return the middle between a driver's eyes, who must have given a stature; (3,). [mm]"""
    rise = EYE_SHARE * (driver.stature_mm - MEAN_STATURE_MM)
    return eye_points_mm(seat_mm, driver.back_deg)["Pm"] + [0.0, 0.0, rise]


def driver_eye_mm(seat_mm, driver: Driver) -> np.ndarray:
    """Return where the driver looks from: the owner's own eyes, without a stature the average ones. [mm]"""
    if driver.stature_mm is not None:
        return own_eye_mm(seat_mm, driver)
    return eye_points_mm(seat_mm, driver.back_deg)["Pm"]


def crown_mm(seat_mm, driver: Driver) -> np.ndarray:
    """Return the top of a driver's head; (3,). [mm]"""
    return own_eye_mm(seat_mm, driver) + [CROWN_BEHIND_EYE_MM, 0.0, CROWN_SHARE * driver.stature_mm]


def effective_headroom_mm(
    roof: Grid, gauge_mm: float, seat_mm, parts: RoofParts = AS_IT_STANDS
) -> float | None:
    """Return effective headroom under the roof as its parts move; None where the line misses it. [mm]"""
    lean = np.radians(LINE_DEG)
    length = length_to_roof_mm(roof, gauge_mm, seat_mm, (np.sin(lean), 0.0, np.cos(lean)), parts)
    return None if length is None else length + ADDED_MM


def head_clearance_mm(
    roof: Grid, gauge_mm: float, seat_mm, driver: Driver, parts: RoofParts = AS_IT_STANDS
) -> float | None:
    """Return plumb room between a driver's head and the roof's inside, below zero where they meet. [mm]

    None where the roof does not reach over the head.
    """
    x, y, z = crown_mm(seat_mm, driver)
    length = length_to_roof_mm(roof, gauge_mm, (x, y, seat_mm[2]), (0.0, 0.0, 1.0), parts)
    return None if length is None else float(length - (z - seat_mm[2]))


def length_to_roof_mm(roof: Grid, gauge_mm: float, start_mm, direction, parts: RoofParts) -> float | None:
    """Return the length along a unit vector to the inside of the roof as its parts move, or None. [mm]"""
    own, carried_on = [], []
    for part, move in parts.moves.items():
        found = _to_part(roof, gauge_mm, start_mm, direction, move)
        if found is not None:
            length, foot = found
            (own if parts.lines.part_at(foot) == part else carried_on).append(length)
    return min(own or carried_on, default=None)


def _to_part(roof, gauge_mm, start_mm, direction, move: RigidMove):
    """Return the length to the inside of one part, carried on, and where that is on the uncut roof, or None.

    Newton's method on S(u, v) = start + L d for (u, v, L), in the roof's own
    place; the skin's gauge is taken off square to it.
    """
    back = move.inverse()
    start = back.points(np.asarray(start_mm, float))
    direction = back.vectors(np.asarray(direction))
    lattice = roof.lattice_mm.reshape(-1, 3) - start
    off_line = norms(lattice - (lattice @ direction)[:, None] * direction)
    uv = roof.lattice_uv.reshape(-1, 2)[off_line.argmin()]
    length = 0.0
    for _ in range(30):
        found = derivatives_at(roof, *uv.tolist())
        off = start + length * direction - found[0, 0]
        step = np.linalg.solve(np.stack([found[1, 0], found[0, 1], -direction], axis=1), off)
        uv = np.clip(uv + np.clip(step[:2], -0.1, 0.1), -0.01, 1.01)
        length += step[2]
        if np.abs(step).max() < 1e-9:  # the next step would be its square
            break
    if uv.min() < 0 or uv.max() > 1 or length <= 0:
        return None
    square = float(outward_at(roof, found) @ direction)
    return float(length - gauge_mm / square), derivatives_at(roof, *uv.tolist())[0, 0]
