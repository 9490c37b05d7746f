"""New sheet across what stands open: a smooth surface between two pieces' edges.

Along a run (:mod:`model.fillerruns`) let x in [0, 1] run over the first edge
in proportion to its length, A(x) be its point and B(x) the facing point of
the second edge, drawn along that edge near a corner so that x = 0 and 1 end at
the run's own ends (:func:`_partners`).  T is an edge's direction with the
metal on the left, N the normal out of the car, and D = T × N the direction out
of the metal within the skin's tangent plane.  With root gap g the filler's two
long edges are

    P0 = A + g D_A,        P3 = B + g D_B,

a full root gap from each piece, straight on from its skin.  Between them, for
every x, runs the cubic with end derivatives m_A D_A and −m_B D_B, in Bézier's
form with P1 = P0 + m_A D_A / 3 and P2 = P3 + m_B D_B / 3.  So the filler's
tangent plane along each edge is the neighbour's: no break.

**Length of the end derivatives.**  An arc of a circle whose chord c makes the
angle θ with its tangent is met to sixth order by a cubic with m = c / cos²(θ/2)
= 2 c / (1 + cos θ).  Each end takes the θ that it sees, held at 90° at most.
Across a slot of ± φ in a cylinder of radius R the filler is then an arc of
radius R − g cot φ: without a root gap the cylinder again, with one it stands
g tan(φ/2) proud of it in the middle.

**One surface for both tiers.**  P0 to P3 are taken at even x and interpolated
along x by cubic splines with not-a-knot ends: a B-spline surface of degree 3
× 3 (:class:`model.skin.Grid`, u = x, v across), which the CAD kernel takes
over pole for pole; knots are put in across it for what samples between knots.
Its S_v × S_u points out of the car.

At corners that lie on a crease the cross lines are turned (:mod:`model.fillercorners`).
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from math import comb

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline

from .built import Built
from .cornerholes import WELDED_UP, CornerHole, corner_holes
from .crossings import crossings_of
from .edges import Edge
from .endwelds import end_welds
from .fillercorners import corners_of, is_alone
from .fillerruns import Run, is_closed_by_metal, runs_of
from .fillerruns import closes_from_mm as closes_from_mm
from .fillerruns import widest_weld_mm as widest_weld_mm
from .fillertips import is_welded_up, made_from_to, shortened
from .fit import faced_places
from .foursides import Border, surface_inside
from .numeric import cross, dot, power_pieces, unit
from .numeric import refined as refined
from .seams import Seam, seams_of
from .skin import Grid
from .skinlines import curvatures
from .stepwise import in_steps

KIND = "filler"
_STATION_MM = 5.0  # greatest length along an edge between two interpolated cross lines
_LEAST_STATIONS = 9
_RAMP = 3.0  # of a shift along the second edge: over how much of the run it is spread; above 1.5 it runs on
_LEAST_SLOPE = 0.1  # of one edge's length against the other's; less crowds the cross lines
_SPANS = 8  # across, of the one cubic
FLAT_MM = 1e6  # a greater radius is told as this


@dataclass(frozen=True, eq=False)
class FillerGrid(Grid):
    """A grid with many knots one way: its polynomial pieces are worked out along, then across."""

    @cached_property
    def _cells(self):
        along, breaks_u = power_pieces(self.knots_u, self.degree_u)
        across, breaks_v = power_pieces(self.knots_v, self.degree_v)
        half = np.tensordot(along, self.poles_mm, (2, 0))  # (spans u, p, poles v, 3)
        cells = np.tensordot(half, across, (2, 2))  # (spans u, p, 3, spans v, q)
        cells = cells.transpose(1, 4, 2, 0, 3)
        return np.ascontiguousarray(cells.reshape(*cells.shape[:3], -1)), breaks_u, breaks_v


@dataclass(frozen=True, eq=False)
class Filler:
    """One piece of new sheet, in place.

    Attributes
    ----------
    name : str
        ``filler`` and the seam it closes; numbered where a seam has several.
    run : Run
    grid : Grid
        Its outside; u along the run, v from the first piece to the second.
    thickness_mm : float
    ends : (start, end)
        ``opening``, ``bead``, ``corner``, ``welded up``, or the name of the filler or piece it is joined to.
    mouths_mm : ((from, to), …)
        Lengths along the run's first edge of what is welded up before its tips.
    """

    name: str
    run: Run
    grid: Grid
    thickness_mm: float
    ends: tuple[str, str]
    mouths_mm: tuple[tuple[float, float], ...] = ()

    @property
    def seam(self) -> Seam:
        """The seam it closes."""
        return self.run.seam

    def border(self, which: str) -> Edge:
        """Return one border as an edge with the metal on its left: ``v0``, ``v1`` long, ``u0``, ``u1`` short.

        Four samples to every span of the spline.
        """
        t = refined(self.grid.breaks_u if which[0] == "v" else np.linspace(0, 1, 5), 4)
        if which in ("v0", "u1"):
            t = t[::-1]
        fixed = np.full(len(t), float(which[1]))
        uv = np.stack((t, fixed) if which[0] == "v" else (fixed, t), axis=1)
        point, _, _, normal = self.grid.frame(uv)
        return Edge(point, normal)


def fillers_of(built: Built) -> tuple[Filler, ...]:
    """Return the new metal of a plan; none where the plan has no ``new_metal``."""
    return filling(built).result()


@in_steps(maxsize=8)
def filling(built: Built) -> Generator[None, None, tuple[Filler, ...]]:
    """Do :func:`fillers_of` seam by seam."""
    if built.plan.new_metal is None:
        return ()
    limit_mm = closes_from_mm(built)
    runs = []
    for seam in seams_of(built):
        if is_closed_by_metal(seam):
            runs += runs_of(built, seam, limit_mm)
            yield
    gauge_mm = built.plan.new_metal.gauge_mm or built.shape.car.gauge_mm
    root_gap_mm = built.plan.root_gap_mm
    made = fillers_from_runs(runs, root_gap_mm, gauge_mm)
    yield
    crossed = with_crossings(made, root_gap_mm)
    yield
    out = list(with_corner_patches(crossed, root_gap_mm, limit_mm))
    yield
    for weld in end_welds(built, out, limit_mm):
        out[weld.filler] = _with_end(out[weld.filler], weld.end, weld.to)
    return tuple(out)


def fillers_from_runs(runs: list[Run], root_gap_mm: float, gauge_mm: float) -> tuple[Filler, ...]:
    """Return a filler for every run but those welded up; a border where they come to the same corners."""
    names = _names(runs)
    shared = corners_of(runs, root_gap_mm)
    out = []
    for k, run in enumerate(runs):
        corners = [shared.get((k, end)) for end in (0, 1)]
        made = _as_made(names[k], run, root_gap_mm, gauge_mm, corners)
        if made is None:
            continue
        own, grid = made
        ends = tuple(
            kind if is_alone(corner) else names[corner.other]
            for kind, corner in zip(own.ends, corners, strict=True)
        )
        limits = zip(run.first_mm[:1] + own.first_mm[1:], own.first_mm[:1] + run.first_mm[1:], strict=True)
        mouths = tuple((a, b) for a, b in limits if a < b)
        out.append(Filler(names[k], own, grid, gauge_mm, ends, mouths))
    return tuple(out)


def _as_made(name, run: Run, root_gap_mm, gauge_mm, corners):
    """Return the run as far as its filler reaches, and the filler's surface; None if it is welded up."""
    is_free = tuple(map(is_alone, corners))
    while True:
        grid = _surface(name, run, root_gap_mm, corners)
        made = made_from_to(grid, root_gap_mm, gauge_mm, is_free)
        if made is None:
            return None if is_welded_up(run, grid, root_gap_mm) and all(is_free) else (run, grid)
        if made == (0.0, 1.0):
            return run, grid
        run = shortened(run, _partners, made)


def with_crossings(fillers: tuple[Filler, ...], root_gap_mm: float) -> tuple[Filler, ...]:
    """Return fillers with the holes closed where four of them come to a crossing; :mod:`model.crossings`."""
    out, crossings = list(fillers), crossings_of(fillers)
    names = _names([crossing.run for crossing in crossings])
    for name, crossing in zip(names, crossings, strict=True):
        beside = [fillers[k].name for k, _ in crossing.around]
        for k, end in crossing.around:
            out[k] = _with_end(out[k], end, name)
        grid = _surface(name, crossing.run, root_gap_mm, [None, None])
        gauge_mm = min(fillers[k].thickness_mm for k, _ in crossing.around)
        out.append(Filler(name, crossing.run, grid, gauge_mm, tuple(beside[2:])))
    return tuple(out)


def with_corner_patches(
    fillers: tuple[Filler, ...], root_gap_mm: float, closes_from_mm: float
) -> tuple[Filler, ...]:
    """Return fillers with the holes closed at which their ends lie around a corner; :mod:`model.cornerholes`.

    The sheet is tangent on all sides; where it would bend tighter than its gauge it is ruled from the base
    to what faces it, then not tangent to the narrower side either; where no sheet can be formed the hole
    stays open.
    """
    out, laid = list(fillers), []
    for hole in corner_holes(fillers, root_gap_mm, closes_from_mm):
        grid = _formable(hole, fillers[hole.base.filler].thickness_mm)
        if grid is not None:
            laid.append((hole, grid))
    names = _names([hole.run for hole, _ in laid])
    for name, (hole, grid) in zip(names, laid, strict=True):
        for around in (hole.base, *filter(None, hole.sides)):
            out[around.filler] = _with_end(out[around.filler], around.end, name)
        gauge_mm = fillers[hole.base.filler].thickness_mm
        ends = tuple(WELDED_UP if side is None else side.name for side in hole.sides)
        out.append(Filler(name, hole.run, grid, gauge_mm, ends))
    return tuple(out)


def _formable(hole: CornerHole, gauge_mm: float) -> FillerGrid | None:
    *long, start, end = hole.borders
    ruled = [*map(_creased, long), start, end]
    narrow = 2 if start.length_mm < end.length_mm else 3
    with_wall = [_creased(border) if k == narrow else border for k, border in enumerate(ruled)]
    for borders in (hole.borders, ruled, with_wall):
        knots_u, knots_v, poles = surface_inside(*borders)
        grid = FillerGrid(hole.run.seam.name, KIND, knots_u, knots_v, 3, 3, poles, -1.0)
        if least_radius_mm(grid) >= gauge_mm:
            return grid
    return None


def _creased(border: Border) -> Border:
    return replace(border, frames=None)


def _with_end(filler: Filler, end: int, to: str) -> Filler:
    return replace(filler, ends=tuple(to if e == end else other for e, other in enumerate(filler.ends)))


def least_radius_mm(grid: Grid) -> float:
    """Return the least radius of curvature of a surface, on a lattice of four to each knot span. [mm]"""
    uv = np.stack(np.meshgrid(refined(grid.breaks_u, 4), refined(grid.breaks_v, 4), indexing="ij"), axis=-1)
    uv = uv.reshape(-1, 2)
    mean, gauss = curvatures(grid, uv)
    sharpest = float((np.abs(mean) + np.sqrt(np.maximum(mean**2 - gauss, 0.0))).max())
    return 1.0 / max(sharpest, 1.0 / FLAT_MM)


def _names(runs):
    plain = [f"{KIND} {run.seam.name}" for run in runs]
    return [
        f"{name}, {plain[: k + 1].count(name)}" if plain.count(name) > 1 else name
        for k, name in enumerate(plain)
    ]


def _surface(name, run: Run, root_gap_mm, corners) -> Grid:
    lengths = [abs(b - a) for a, b in (run.first_mm, run.second_mm)]
    count = max(_LEAST_STATIONS, int(np.ceil(max(lengths) / _STATION_MM)) + 1)
    x = np.linspace(0.0, 1.0, count)
    sides = []
    s = run.first_mm[0] + (run.first_mm[1] - run.first_mm[0]) * x
    for which, (edge, along) in enumerate(((run.first, s), (run.second, _partners(run, s)))):
        point, tangent, normal = run.laid.at(np.full(count, edge), along)
        sides.append((point, tangent, unit(normal - dot(normal, tangent)[:, None] * tangent), along, which))
    width = np.linalg.norm(sides[0][0] - sides[1][0], axis=1)
    leaving = [_leaving(*side, width, corners) for side in sides]
    (p0, out_a), (p3, out_b) = (
        (side[0] + root_gap_mm * off, way) for side, (way, off) in zip(sides, leaving, strict=True)
    )
    r = p3 - p0
    chord = np.sqrt(dot(r, r))
    pull = [
        2 * chord / (1 + np.maximum(dot(way, out) / chord, 0.0)) for way, out in ((r, out_a), (-r, out_b))
    ]
    p1, p2 = p0 + pull[0][:, None] / 3 * out_a, p3 + pull[1][:, None] / 3 * out_b
    spline = make_interp_spline(x, np.stack([p0, p1, p2, p3], axis=1), k=3)
    knots, finer = _refined_cubic()
    return FillerGrid(name, KIND, spline.t, knots, 3, 3, np.einsum("pk,nkc->npc", finer, spline.c), -1.0)


@lru_cache(maxsize=1)
def _refined_cubic():
    """Return a knot vector over [0, 1] and the poles on it of Bézier's four cubics, (poles, 4)."""
    knots = np.concatenate([np.zeros(3), np.linspace(0, 1, _SPANS + 1), np.ones(3)])
    places = np.array([knots[i + 1 : i + 4].mean() for i in range(_SPANS + 3)])
    basis = BSpline(knots, np.eye(_SPANS + 3), 3)(places)
    cubics = np.stack([comb(3, k) * places**k * (1 - places) ** (3 - k) for k in range(4)], axis=1)
    return knots, np.linalg.solve(basis, cubics)


def _partners(run: Run, s):
    """Return the lengths along the second edge across from lengths along the first.

    The facing places, shifted along the second edge so that the ends come to
    the run's own, the shift fading over :data:`_RAMP` times itself.  Where
    that would make them turn back, both edges are divided in proportion.
    """
    point, tangent, _ = run.laid.at(np.full(len(s), run.first), s)
    edge, t = faced_places(run.laid, np.array([run.second]), point, tangent)
    known = np.nonzero(edge >= 0)[0]
    start, end = run.second_mm
    proportional = start + (end - start) * (s - s[0]) / (s[-1] - s[0])
    if not len(known):
        return proportional
    inside = np.interp(s, s[known], t[known])
    inside -= np.minimum(s - s[known[0]], 0.0) + np.maximum(s - s[known[-1]], 0.0)  # they run side by side
    shifted = inside.copy()
    for at, wanted in ((0, start), (-1, end)):
        shift = wanted - inside[at]
        if shift:
            part = np.clip(1 - np.abs(s - s[at]) / (_RAMP * abs(shift)), 0.0, 1.0)
            shifted += shift * part**2 * (3 - 2 * part)
    slope = np.diff(shifted) / np.diff(s)
    runs_on = abs(shifted[0] - start) + abs(shifted[-1] - end) < 1e-9 and slope.max() < -_LEAST_SLOPE
    return shifted if runs_on else proportional


def _leaving(point, tangent, normal, along, which, width, corners):
    """Return along one edge the directions in which cross lines leave, and from how many root gaps off it."""
    turn, tilt, gap = np.zeros(len(along)), np.zeros(len(along)), np.ones(len(along))
    across, alone = cross(tangent, normal), []
    for end, corner in zip((0, -1), corners, strict=True):
        if corner is None:
            continue
        far = abs(along[-1] - along[0])
        part = np.clip(1 - np.abs(along - along[end]) / min(width[end], far / 2), 0.0, 1.0)
        part = part**2 * (3 - 2 * part)
        out, off = corner.out[which], corner.off[which]
        turn += np.arctan2(out @ tangent[end], out @ across[end]) * part
        tilt += np.arcsin(np.clip(out @ normal[end], -1.0, 1.0)) * part
        gap += (off @ across[end] - 1) * part
        if is_alone(corner):
            alone.append((part, off @ tangent[end] * tangent + off @ normal[end] * normal))
    within = np.cos(turn)[:, None] * across + np.sin(turn)[:, None] * tangent
    way = np.cos(tilt)[:, None] * within + np.sin(tilt)[:, None] * normal
    off = gap[:, None] * way / dot(way, across)[:, None]
    for part, aside in alone:
        off = np.where((part > 0)[:, None], gap[:, None] * across + part[:, None] * aside, off)
    return way, off
