"""A blank as a trapezium: four lengths and two diagonals, for whoever marks out with a square and a tape.

The corners are those of the net flat (:mod:`model.blanks`), where its sides
meet: A, B at the start and the end of the side to the first piece, D, C of the
side to the second.  With straight sides AB, DC, AD, BC the two diagonals AC and
BD lay the shape out, and check it: four lengths alone leave a four-bar linkage.

A point P of the flat's edge strays from its straight side, of direction t from
its corner K, by

    off = |(P − K) − clip((P − K)·t, 0, length) t|,

convex in P, so that the greatest over an edge made of chords is at one of
their ends; the edge's chords lie within 0.003 mm of its curve.  On the flat of a cone frustum,
a ring's sector of radius R and angle ψ, the outer side strays by its sagitta
R (1 − cos(ψ/2)).

**When it is enough.**  off ≤ 1/32 in (0.8 mm), the finest that a scribed line
laid out by tape keeps (common practice, no source), and the blank is nearly
developable: strained by no more than 0.2 %, the plastic strain at which a
proof strength is read (R_p0.2; from memory), so that a pull over the form takes
it up.  Else the drawn blank is the word, and the trapezium no more than the
size of sheet to look for.
"""

from __future__ import annotations

import numpy as np

from .blankreport import Trapezium
from .blanks import Blank

OFF_MM = 25.4 / 32
NEARLY_STRAIN = 0.002


def trapezium_of(blank: Blank) -> Trapezium:
    """Return the four straight sides of a blank: first row the start, first column the first piece.

    Returns
    -------
    Trapezium
        All in mm.
    """
    start, end, first, second = blank.sides_mm
    a, b, d, c = first[0], first[-1], second[0], second[-1]
    off = max(_strays_mm(side) for side in blank.sides_mm)
    is_nearly = blank.is_settled and abs(blank.max_strain) <= NEARLY_STRAIN
    return Trapezium(
        along_mm=(_apart(a, b), _apart(d, c)),
        ends_mm=(_apart(start[0], start[-1]), _apart(end[0], end[-1])),
        diagonals_mm=(_apart(a, c), _apart(b, d)),
        off_mm=off,
        limit_mm=OFF_MM,
        is_enough=is_nearly and off <= OFF_MM,
    )


def _apart(a, b) -> float:
    return float(np.linalg.norm(a - b))


def _strays_mm(side) -> float:
    """Return how far a line of chords strays from the straight between its ends."""
    reach = side[-1] - side[0]
    length = float(np.linalg.norm(reach))
    away = side - side[0]
    if length > 0:
        way = reach / length
        away = away - np.clip(away @ way, 0.0, length)[:, None] * way
    return float(np.linalg.norm(away, axis=1).max())
