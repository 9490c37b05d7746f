"""The roof in one piece, or cut into two or four parts that are moved apart.

**Parts.**  Lengthwise the roof is cut in the plane y = 0 into a right and a
left half, across in the plane x = ``across_at`` of the uncut car into a front
and a rear part.  With M the roof's own move, a part's is

    P' = M P + (−f or +r, +s/2 or −s/2, 0):

the front part f forward and the rear part r rearward, the halves s/2 out on
either side.  So heights, pitch and rake are those of the roof in one piece.
Given lengths: s = spread, f = r = lengthen / 2.  ``meet`` asks

    spread:    the mean of the side posts' misses across is zero,
    lengthen:  the mean miss fore-and-aft is zero at the first posts of both
               sides, carried by the front part, and at the last, by the rear;

lengthen is then f + r.  Misses are read in the posts' own cut planes, before
any shift.  For straight posts, level cuts and no pitch each miss is linear in
one unknown: s = 2 d tan b, f + r = d (tan a_first − tan a_last).  Else the
unknowns are solved together by Newton's method.

**Cuts.**  A split has no width: the saw's dust is made good by a strip that
much wider.  The opening between two parts is the spread, or the lengthening.

**Posts.**  A side post goes with the part it stands under.  A post on the
centreline stands under neither half once the roof is cut lengthwise: its
upper end goes with the front or the rear part fore-and-aft and stays on the
centreline, to be held by the strip.  So does any point of the centreline.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from .cuts import CentrePlane, Station
from .errors import PlanError
from .measured import Car
from .moves import IDENTITY, RigidMove, translation
from .placing import PostKey, front_posts, rear_posts
from .plan import MEET, RoofSplit
from .postlines import PostLine
from .posts import CutPlane, inverse_image, landing_point, miss_in_plane
from .units import shown

ROOF = "roof"
FRONT, REAR, RIGHT, LEFT, CENTRE = "front", "rear", "right", "left", "centre"
NAMES = frozenset(
    " ".join(filter(None, (ROOF, along, across)))
    for along in ("", FRONT, REAR)
    for across in ("", RIGHT, LEFT)
)
ON_CENTRELINE_MM = 1e-6
_NEWTON_STEPS, _SAME_MM = 30, 1e-11
_PLACES = np.linspace(0, 1, 9)[:, None]  # along the upper end of a post


def is_roof(piece: str) -> bool:
    """Return whether a piece is the roof or one of its parts."""
    return piece in NAMES


@dataclass(frozen=True)
class SplitLines:
    """Where the roof is cut into parts."""

    is_halved: bool = False
    across_at_mm: float | None = None

    @property
    def cuts(self) -> tuple[CentrePlane | Station, ...]:
        """The planes in which it is cut."""
        halves = (CentrePlane(),) if self.is_halved else ()
        return halves if self.across_at_mm is None else (*halves, Station(self.across_at_mm))

    def part_at(self, point_mm) -> str:
        """Return the part that a point of the uncut roof belongs to; the centreline goes with the right."""
        x, y, _ = point_mm
        along = "" if self.across_at_mm is None else FRONT if x < self.across_at_mm else REAR
        across = "" if not self.is_halved else RIGHT if y > -ON_CENTRELINE_MM else LEFT
        return " ".join(filter(None, (ROOF, along, across)))

    def bounds(self, part: str, points_mm) -> list[np.ndarray]:
        """Return how far points of the uncut car lie past a part's borders; each (n,). [mm]"""
        words, out = part.split()[1:], []
        if self.is_halved:
            out.append(-points_mm[:, 1] if RIGHT in words else points_mm[:, 1])
        if self.across_at_mm is not None:
            past = points_mm[:, 0] - self.across_at_mm
            out.append(past if FRONT in words else -past)
        return out


@dataclass(frozen=True, eq=False)
class RoofParts:
    """Every part of the roof with its move; a roof that is not split is one part.

    Attributes
    ----------
    whole : RigidMove
        The roof's move before its parts go apart.
    forward_mm, rearward_mm : float
        How far the front and the rear part go apart from it.
    """

    whole: RigidMove
    lines: SplitLines = SplitLines()
    spread_mm: float = 0.0
    forward_mm: float = 0.0
    rearward_mm: float = 0.0
    moves: Mapping[str, RigidMove] = field(init=False)

    def __post_init__(self):
        halves = ((RIGHT, 0.5), (LEFT, -0.5)) if self.lines.is_halved else (("", 0.0),)
        ends = ((FRONT, -self.forward_mm), (REAR, self.rearward_mm))
        if self.lines.across_at_mm is None:
            ends = (("", 0.0),)
        moves = {
            " ".join(filter(None, (ROOF, along, across))): self._apart(x_mm, share)
            for along, x_mm in ends
            for across, share in halves
        }
        object.__setattr__(self, "moves", moves)

    def _apart(self, x_mm, share):
        if not x_mm and not (share and self.spread_mm):
            return self.whole
        return translation(x_mm, share * self.spread_mm) @ self.whole

    @property
    def lengthen_mm(self) -> float:
        """How far the front and the rear part go apart."""
        return self.forward_mm + self.rearward_mm

    def part_of_post(self, line: PostLine) -> str:
        """Return the part over a post's upper end, whose own half may be none; see :meth:`move_of_post`."""
        x = line.ends_mm[1, 0, 0]
        return self.lines.part_at((x, -line.inboard if line.post.side != CENTRE else 0.0, 0.0))

    def move_of_post(self, line: PostLine) -> RigidMove:
        """Return the move of a post's upper end before it is shifted."""
        part = self.part_of_post(line)
        if line.post.side == CENTRE:
            return self.move_on_centreline(line.ends_mm[1, 0, 0])
        return self.moves[part]

    def move_on_centreline(self, x_mm: float) -> RigidMove:
        """Return the move of the uncut roof's centreline at x."""
        return self._apart(self.along_mm(self.lines.part_at((x_mm, 0.0, 0.0))), 0.0)

    def along_mm(self, part: str) -> float:
        """Return how far a part goes to the rear of where the roof in one piece would be. [mm]"""
        words = part.split()
        return -self.forward_mm if FRONT in words else self.rearward_mm if REAR in words else 0.0

    def points(self, points_mm) -> np.ndarray:
        """Return points of the uncut roof, (..., 3), each where its own part puts it. [mm]"""
        points = np.asarray(points_mm, float)
        apart = np.zeros(points.shape)
        if self.lines.across_at_mm is not None:
            is_front = points[..., 0] < self.lines.across_at_mm
            apart[..., 0] = np.where(is_front, -self.forward_mm, self.rearward_mm)
        if self.lines.is_halved:
            y = points[..., 1]
            apart[..., 1] = np.where(np.abs(y) < ON_CENTRELINE_MM, 0.0, np.sign(y)) * self.spread_mm / 2
        return self.whole.points(points) + apart

    def y_before_mm(self, y_mm: float) -> float:
        """Return which y of the uncut roof comes to ``y_mm``; over the opening, the centreline. [mm]"""
        half = self.spread_mm / 2 if self.lines.is_halved else 0.0
        return float(np.sign(y_mm) * max(abs(y_mm) - half, 0.0))


def roof_parts(
    car: Car,
    split: RoofSplit | None,
    roof: RigidMove,
    lines: dict[PostKey, PostLine],
    planes: dict[PostKey, CutPlane],
) -> RoofParts:
    """Return the parts of a roof that makes the move ``roof`` and is then split.

    Raises
    ------
    PlanError
        If the roof would be cut across where a post's upper end stands, or
        not between the first and the last posts, or nothing can meet.
    """
    if split is None:
        return RoofParts(roof)
    across_at = None
    if split.lengthen_mm is not None:
        across_at = _across_at_mm(car, split.across_at_mm, lines, planes)
    where = SplitLines(split.spread_mm is not None, across_at)
    given = {name: getattr(split, f"{name}_mm") for name in ("spread", "lengthen")}
    spread, half = (0.0 if value in (None, MEET) else float(value) for value in given.values())
    parts = RoofParts(roof, where, spread, half / 2, half / 2)
    wanted = {name for name, value in given.items() if value == MEET}
    return _meeting(car, parts, wanted, lines, planes) if wanted else parts


def _upper_reach_mm(line, plane):
    """Return the least and greatest x of a post's upper end, from its lower cut to its top. [mm]"""
    cut = inverse_image(line, plane, IDENTITY)
    x = line.lines(cut + _PLACES * (1 - cut))[..., 0]
    return float(x.min()), float(x.max())


def _across_at_mm(car, asked_mm, lines, planes):
    """Return where the roof is cut across: clear of all upper ends, between first and last. [mm]"""
    reach = {key: _upper_reach_mm(line, planes[key]) for key, line in lines.items()}
    ahead, behind = [], []
    for side in (RIGHT, LEFT):
        on_side = sorted((r for (_, s), r in reach.items() if s == side), key=sum)
        if len(on_side) < 2:
            raise PlanError(
                "lengthen",
                f"needs a front and a rear post on either side; on the {side} side there is one.",
                "Leave the roof in one piece fore-and-aft.",
            )
        ahead.append(on_side[-2][1])
        behind.append(on_side[-1][0])
    if asked_mm is None:
        if max(ahead) >= min(behind):
            raise PlanError(
                "across_at",
                "must be given on this car: between the last two posts there is no clear station.",
                "Give the x at which the roof is cut across.",
            )
        return (max(ahead) + min(behind)) / 2
    for key, (low, high) in reach.items():
        if low < asked_mm < high:
            raise PlanError(
                "across_at",
                f"must be clear of the upper end of post {' '.join(key)}, which reaches from x = "
                f"{shown(low, car.unit)} to {shown(high, car.unit)}; got {shown(asked_mm, car.unit)}.",
                "Cut across ahead of it or behind it.",
                value_mm=asked_mm,
                limit_mm=low if asked_mm - low < high - asked_mm else high,
            )
    first = max(reach[key][1] for key in front_posts(car))
    last = min(reach[key][0] for key in rear_posts(car))
    if not first <= asked_mm <= last:
        raise PlanError(
            "across_at",
            f"must be between the first and the last posts, from x = {shown(first, car.unit)} to "
            f"{shown(last, car.unit)} on this car; got {shown(asked_mm, car.unit)}.",
            "Choose a station between the two.",
            value_mm=asked_mm,
            limit_mm=first if asked_mm < first else last,
        )
    return float(asked_mm)


def _meeting(car, parts, wanted, lines, planes):
    """Return the parts as far apart as makes the posts meet, in the directions that are wanted."""
    sides = [key for key in lines if key[1] != CENTRE]
    asked = [(1, sides)] if "spread" in wanted else []
    if "lengthen" in wanted:
        asked += [(0, front_posts(car)), (0, rear_posts(car))]

    def apart(unknowns):
        values = list(unknowns)
        spread = values.pop(0) if "spread" in wanted else parts.spread_mm
        forward, rearward = values or (parts.forward_mm, parts.rearward_mm)
        return RoofParts(parts.whole, parts.lines, spread, forward, rearward)

    def miss(key, found):
        line, plane = lines[key], planes[key]
        return miss_in_plane(line, plane, landing_point(line, plane, found.move_of_post(line)))

    def misses(unknowns):
        found = apart(unknowns)
        return np.array([np.mean([miss(key, found)[which] for key in keys]) for which, keys in asked])

    unknowns, step = np.zeros(len(asked)), np.inf
    for _ in range(_NEWTON_STEPS):
        now = misses(unknowns)
        slope = np.stack([misses(unknowns + unit) - now for unit in np.eye(len(asked))], axis=1)
        step = np.linalg.solve(slope, -now)
        unknowns = unknowns + step
        if np.abs(step).max() < _SAME_MM * max(1.0, np.abs(unknowns).max()):
            break
    if not np.abs(misses(unknowns)).max() < 1e-6:
        raise PlanError(
            "split", "finds no place where the posts meet.", "Give spread and lengthen as lengths."
        )
    return apart(unknowns.tolist())
