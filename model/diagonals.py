"""Openings whose diagonals disagree.

A windshield or rear window across the centreline is its own mirror image, and an opening measured on both
sides has one on the other side: their diagonals are equal.  They are compared in the view in which the
corners were measured, where a diagonal hangs on these readings alone; on the skin it would carry the hoops'
errors too.  With a unit vector e along a diagonal, an end that is misread by δ changes it by ±e·δ, so the
difference of two diagonals has the standard deviation σ √Σ|g|², g the sum of ±e at each corner.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from .fairing import LIMIT_SD
from .measured import VIEWS, Car, Opening
from .report import Finding
from .units import shown

SOURCE = (
    "geometry: diagonals of mirror images are equal, in the view they were measured in; "
    f"each reading by its standard deviation, limit {LIMIT_SD} of the difference's"
)


def diagonal_findings(car: Car, scatter_mm: float) -> list[Finding]:
    """Return a finding for each opening, or pair, whose diagonals differ by more than the tape explains."""
    lefts = {o.name: o for o in car.openings if o.side == "left"}
    found = []
    for opening in car.openings:
        if opening.side == "centre":
            found.append(_finding(opening, opening, car, scatter_mm))
        elif opening.side == "right" and opening.name in lefts:
            found.append(_finding(opening, lefts[opening.name], car, scatter_mm))
    return [f for f in found if f is not None]


def _finding(opening, other, car, scatter_mm):
    here, mirrored = _corners(opening), _corners(other) * _mirror_signs(opening)
    if len(here) != len(mirrored) or len(here) < 4:
        return None
    partner = np.linalg.norm(here[:, None] - mirrored[None], axis=2).argmin(axis=1)
    if len(set(partner.tolist())) < len(here):
        return None  # corners that have no partner of their own are no mirror image, and not meant as one
    worst = None
    for i, j in combinations(range(len(here)), 2):
        a, b = int(partner[i]), int(partner[j])
        is_side = (j - i) in (1, len(here) - 1)
        if is_side or (opening is other and {a, b} == {i, j}):
            continue
        lengths = np.linalg.norm(here[j] - here[i]), np.linalg.norm(mirrored[b] - mirrored[a])
        pull = np.zeros((2, len(here), 2))
        pull[0, j] += (here[j] - here[i]) / lengths[0]
        pull[0, i] -= (here[j] - here[i]) / lengths[0]
        second = 0 if opening is other else 1
        along = _mirror_signs(opening) * (mirrored[b] - mirrored[a]) / lengths[1]
        pull[second, b] -= along
        pull[second, a] += along
        limit = LIMIT_SD * scatter_mm * float(np.linalg.norm(pull))
        differ = abs(float(lengths[0] - lengths[1]))
        if worst is None or differ / limit > worst[0]:
            worst = (differ / limit, differ, limit, (i, j), (a, b), lengths)
    if worst is None or worst[0] <= 1:
        return None
    _, differ, limit, (i, j), (a, b), lengths = worst
    names, others = _corner_names(opening), _corner_names(other)
    across = list(VIEWS[opening.view])
    off = here - mirrored[partner]
    if 1 in across:  # a centreline that is off moves all alike; no more of that than most corners ask for
        y = np.sort(off[:, across.index(1)])
        off[:, across.index(1)] -= np.clip(0.0, y[(len(y) - 1) // 2], y[len(y) // 2])
    corner = int(np.linalg.norm(off, axis=1).argmax())
    sides = ("", "") if opening is other else ("right ", "left ")
    unit = car.unit
    return Finding(
        kind="diagonals disagree",
        where=opening.name if opening is other else f"{opening.name}, right and left",
        message=f"{sides[0]}{names[i]} to {names[j]} is {shown(lengths[0], unit)}, "
        f"{sides[1]}{others[a]} to {others[b]} {shown(lengths[1], unit)}. "
        f"Measure the {sides[0]}{names[corner]} and the {sides[1]}{others[partner[corner]]} corner again: "
        f"they are {shown(float(np.linalg.norm(off[corner])), unit)} from being mirror images.",
        measured=differ,
        limit=limit,
        unit="mm",
        source=SOURCE,
    )


def _corners(opening: Opening):
    return np.array([(c.across_mm, c.up_mm) for c in opening.corners], float)


def _mirror_signs(opening):
    return np.array([-1.0 if axis == 1 else 1.0 for axis in VIEWS[opening.view]])


def _corner_names(opening):
    """Return "lower right" and the like; corners of one name are numbered as they are listed."""
    words = {0: ("front", "rear"), 1: ("left", "right"), 2: ("lower", "upper")}
    axes = VIEWS[opening.view]
    corners = _corners(opening)
    is_far = corners > (corners.min(axis=0) + corners.max(axis=0)) / 2
    names = [" ".join(words[axes[k]][int(far[k])] for k in (1, 0)) for far in is_far]
    return [
        name if names.count(name) == 1 else f"{name} ({number})" for number, name in enumerate(names, start=1)
    ]
