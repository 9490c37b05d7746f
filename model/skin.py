"""The skin: B-spline surfaces through every measured point.

A skin is up to five grids that share edges::

              roof (gutter right … crown … gutter left)
      front  ─────────────────────────────────────────  back
              side right, side left (belt … gutter)

``u`` runs from the first hoop to the last, ``v`` from the belt to the gutter
(sides) or from the right gutter over the crown to the left one (roof).  A
front or back panel has ``u`` from the right hoop to the left one and ``v``
from the belt up.  All run over [0, 1].

**Interpolation.**  Each grid is the tensor-product spline of degree
min(3, points − 1) in either direction with not-a-knot ends, through *every*
point: first along the hoops, then across them.  Parameters are chord lengths
averaged over all rows (for ``u``) and over all hoops (for ``v``), so that
evenly drawn lines stay evenly drawn between unevenly spaced hoops.  The
averages are taken once for the whole car: two grids that share a row of
points share parameters, knots and degree there, hence the very same curve.
The gutter is a border of three grids, so it may be a corner.

**Derivatives** come from the same polynomial pieces: each knot cell (i, j)
holds coefficients a[p, q] with S = Σ a[p, q] (u − u_i)^p (v − v_j)^q.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.interpolate import make_interp_spline
from scipy.spatial import cKDTree

from .errors import MeasureError
from .measured import VIEWS, Car
from .numeric import cross, dot, horner, power_pieces, splines_over, unit

_ENDS = (slice(1, None), slice(None, -1))
_VIEW_AXIS_SIGN = {"front": (0, -1.0), "rear": (0, 1.0), "plan": (2, 1.0)}  # outward direction seen


@dataclass(frozen=True, eq=False)
class Jet:
    """Points of a grid with their first and second derivatives; each (n, 3). [mm]"""

    point: np.ndarray
    du: np.ndarray
    dv: np.ndarray
    duu: np.ndarray
    duv: np.ndarray
    dvv: np.ndarray


@dataclass(frozen=True, eq=False)
class Foot:
    """Nearest points of a grid.

    Attributes
    ----------
    uv : (n, 2)
        Parameters, held inside [0, 1]².
    point, normal : (n, 3)
        On the surface [mm], and out of the car there.
    distance_mm : (n,)
        Signed, positive outside the car.
    is_square : (n,) bool
        Whether the line to the foot is square to the surface, that is, the
        foot is not just the nearest point of the grid's border.
    """

    uv: np.ndarray
    point: np.ndarray
    normal: np.ndarray
    distance_mm: np.ndarray
    is_square: np.ndarray


@dataclass(frozen=True, eq=False)
class Grid:
    """One B-spline surface of the skin.

    Attributes
    ----------
    name : str
        ``side right``, ``roof``, ``side left``, ``front`` or ``back``.
    kind : str
        ``side``, ``roof``, ``front`` or ``back``.
    knots_u, knots_v : arrays
        Full knot vectors on [0, 1].
    degree_u, degree_v : int
    poles_mm : array, shape (nu, nv, 3)
    outward : float
        +1 where S_u × S_v points out of the car, −1 where it points in.
    """

    name: str
    kind: str
    knots_u: np.ndarray
    knots_v: np.ndarray
    degree_u: int
    degree_v: int
    poles_mm: np.ndarray
    outward: float

    @property
    def side(self) -> str:
        """``right`` or ``left`` for a side grid, ``centre`` for the others."""
        return self.name.split()[1] if self.kind == "side" else "centre"

    @cached_property
    def _cells(self):
        """Polynomial coefficients a[p, q, :, cell] of every knot cell, row by row, and the breaks.

        Cells come last, so that many points are worked out in long runs of numbers.
        """
        pu, breaks_u = power_pieces(self.knots_u, self.degree_u)  # (mu, ku+1, nu)
        pv, breaks_v = power_pieces(self.knots_v, self.degree_v)
        near_u, near_v = splines_over(self.knots_u, self.degree_u), splines_over(self.knots_v, self.degree_v)
        pu, pv = (np.take_along_axis(p, n[:, None], 2) for p, n in ((pu, near_u), (pv, near_v)))
        poles = self.poles_mm[near_u[:, None, :, None], near_v[None, :, None, :]]
        cells = np.einsum("apn,bqm,abnmk->pqkab", pu, pv, poles)
        return np.ascontiguousarray(cells.reshape(*cells.shape[:3], -1)), breaks_u, breaks_v

    @property
    def cell_terms(self) -> np.ndarray:
        """Coefficients a[p, q, :, cell] of every knot cell, lowest powers first, cells row by row."""
        return self._cells[0]

    @property
    def breaks_u(self) -> np.ndarray:
        """Distinct knots in u."""
        return self._cells[1]

    @property
    def breaks_v(self) -> np.ndarray:
        """Distinct knots in v."""
        return self._cells[2]

    def _terms(self, uv):
        cells, breaks_u, breaks_v = self._cells
        u, v = np.asarray(uv, float).reshape(-1, 2).T
        i = breaks_u[1:-1].searchsorted(u, side="right")
        j = breaks_v[1:-1].searchsorted(v, side="right")
        return cells.take(i * (len(breaks_v) - 1) + j, axis=3), u - breaks_u[i], v - breaks_v[j]

    def point(self, uv) -> np.ndarray:
        """Return points, shape (n, 3), of parameters of shape (n, 2). [mm]"""
        a, x, y = self._terms(uv)
        (along,) = horner(a, x)
        return _rows(*horner(along, y))[0]

    def jet(self, uv) -> Jet:
        """Return points with first and second derivatives."""
        return Jet(*_rows(*self._jet_columns(uv)))

    def _jet_columns(self, uv):
        """Return points, S_u, S_v, S_uu, S_uv and S_vv, each (3, n)."""
        a, x, y = self._terms(uv)
        s, su, suu = horner(a, x, 2)
        (point, dv, dvv), (du, duv), (duu,) = horner(s, y, 2), horner(su, y, 1), horner(suu, y)
        return point, du, dv, duu, duv, dvv

    def tangents(self, uv):
        """Return points, S_u and S_v, each (n, 3)."""
        a, x, y = self._terms(uv)
        s, su = horner(a, x, 1)
        (point, dv), (du,) = horner(s, y, 1), horner(su, y)
        return _rows(point, du, dv)

    def frame(self, uv):
        """Return points, S_u, S_v and the unit normal out of the car, each (n, 3)."""
        point, du, dv = self.tangents(uv)
        return point, du, dv, self.outward * unit(cross(du, dv))

    def normal(self, uv) -> np.ndarray:
        """Return unit normals out of the car, shape (n, 3)."""
        return self.frame(uv)[3]

    @cached_property
    def lattice_uv(self) -> np.ndarray:
        """Ten places to every knot span, shape (nu, nv, 2): where searches start."""
        u, v = (_refined(breaks, 10) for breaks in (self.breaks_u, self.breaks_v))
        return np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1)

    @cached_property
    def lattice_mm(self) -> np.ndarray:
        """Points of :attr:`lattice_uv`, shape (nu, nv, 3)."""
        shape = self.lattice_uv.shape
        return self.point(self.lattice_uv.reshape(-1, 2)).reshape(*shape[:2], 3)

    @cached_property
    def _tree(self):
        return cKDTree(self.lattice_mm.reshape(-1, 3))

    @cached_property
    def lattice_reach_mm(self) -> float:
        """No point of the grid is further than this from the nearest lattice point. [mm]"""
        p = self.lattice_mm
        diagonals = (p[1:, 1:] - p[:-1, :-1], p[1:, :-1] - p[:-1, 1:])
        return float(max(np.linalg.norm(d, axis=2).max() for d in diagonals))

    @cached_property
    def _lattice_normal(self):
        return self.normal(self.lattice_uv.reshape(-1, 2))

    @cached_property
    def _sag_mm(self):
        """How far the surface strays from the plane at the nearest lattice point, twice what is seen. [mm]"""
        uv, n = self.lattice_uv, self._lattice_normal.reshape(self.lattice_mm.shape)
        middle = (uv[1:, 1:] + uv[:-1, :-1]).reshape(-1, 2) / 2
        off = self.point(middle).reshape(*uv[1:, 1:].shape[:2], 3)
        ends = ((off - self.lattice_mm[a, b], n[a, b]) for a in _ENDS for b in _ENDS)
        return 2 * float(max(np.abs(np.einsum("ijk,ijk->ij", d, m)).max() for d, m in ends))

    def is_near(self, points_mm, distance_mm) -> np.ndarray:
        """Return which points may be within a distance of the grid."""
        return self.near(points_mm, distance_mm)[0]

    def near(self, points_mm, distance_mm) -> tuple[np.ndarray, np.ndarray]:
        """Return which points may be within a distance of the grid, and where a search of feet starts."""
        apart, nearest = self._tree.query(points_mm)
        off = points_mm - self.lattice_mm.reshape(-1, 3)[nearest]
        above = np.abs(dot(off, self._lattice_normal[nearest]))
        is_near = (apart <= distance_mm + self.lattice_reach_mm) & (above <= distance_mm + self._sag_mm)
        return is_near, self.lattice_uv.reshape(-1, 2)[nearest]

    def clear_mm(self, points_mm) -> np.ndarray:
        """Return how far points are out of the grid at least, or in where below zero; zero near it. [mm]

        From the plane at the nearest lattice point: the surface strays from it by ``_sag_mm``
        at most, and its normal turns between lattice points by far less than the tenth that is taken off.
        """
        nearest = self._tree.query(points_mm)[1]
        out = dot(points_mm - self.lattice_mm.reshape(-1, 3)[nearest], self._lattice_normal[nearest])
        return np.sign(out) * np.maximum(0.9 * np.abs(out) - self._sag_mm, 0.0)

    def uv_from_view(self, view: str, across_up_mm, what: str) -> np.ndarray:
        """Carry points of a view along the line of sight onto this grid.

        Newton's method on the two coordinates seen in the view, started from
        the nearest lattice point that faces the viewer.

        Parameters
        ----------
        view : str
            ``side``, ``front``, ``rear`` or ``plan``.
        across_up_mm : array, shape (n, 2)
        what : str
            What is carried, for the message.

        Raises
        ------
        MeasureError
            Where a point misses the grid, by how much and on which side.
        """
        axes = list(VIEWS[view])
        target = np.asarray(across_up_mm, float)
        flat_uv, tree = _seen_lattice(self, view)
        if tree is None:
            raise MeasureError(
                f"{what} lies on the {self.name}, which cannot be seen in {view} view.",
                "Measure it in a view that faces it.",
            )
        uv = flat_uv[tree.query(target)[1]]
        for _ in range(30):
            point, du, dv, _ = self.frame(uv)
            residual = target - point[:, axes]
            a, b, c, d = du[:, axes[0]], dv[:, axes[0]], du[:, axes[1]], dv[:, axes[1]]
            det = a * d - b * c
            det = np.where(np.abs(det) < 1e-9, 1e-9, det)
            step = np.stack(
                [d * residual[:, 0] - b * residual[:, 1], a * residual[:, 1] - c * residual[:, 0]], axis=1
            )
            step = np.clip(step / det[:, None], -0.1, 0.1)
            uv = np.clip(uv + step, -0.05, 1.05)
            if np.abs(residual).max() < 1e-10:
                break
        missed = np.linalg.norm(target - self.point(np.clip(uv, 0, 1))[:, axes], axis=1)
        worst = int(np.argmax(missed))
        if missed[worst] > 1e-6:
            where = ", ".join(f"{'xyz'[k]} = {target[worst, i]:.1f} mm" for i, k in enumerate(axes))
            off = np.linalg.norm(self.point(_border_uv(500))[:, axes] - target[worst], axis=1).min()
            raise MeasureError(
                f"{what} runs {off:.1f} mm off the measured skin ({self.name}) near {where}.",
                "An opening must lie on its part of the skin: re-measure that corner, or the hoop beside it.",
            )
        return np.clip(uv, 0, 1)

    def foot(self, points_mm, start_uv=None) -> Foot:
        """Return the nearest point of this grid for each of (n, 3) points.

        Newton's method on S_u·(S − P) = S_v·(S − P) = 0 from the nearest
        lattice point, held inside the grid.
        """
        points = np.asarray(points_mm, float).reshape(-1, 3)
        uv = (
            self.lattice_uv.reshape(-1, 2)[self._tree.query(points)[1]]
            if start_uv is None
            else start_uv.copy()
        )
        moving = np.arange(len(points))
        for _ in range(16):
            step = self._step_to_foot(uv[moving], points[moving])
            new = np.clip(uv[moving] + step, 0.0, 1.0)
            moved = np.abs(new - uv[moving]).max(axis=1)
            uv[moving] = new
            moving = moving[moved > 1e-8]  # the next step would move by its square
            if not len(moving):
                break
        point, du, dv, normal = self.frame(uv)
        r = points - point
        across = r - dot(r, normal)[:, None] * normal
        return Foot(uv, point, normal, dot(r, normal), np.linalg.norm(across, axis=1) < 1e-6)

    def _step_to_foot(self, uv, points):
        """One Newton step; on a border with the pull outward, along the border only."""
        point, du, dv, duu, duv, dvv = self._jet_columns(uv)
        r = point - points.T
        gu, gv, e, f, g = (_down(a * b) for a, b in ((du, r), (dv, r), (du, du), (du, dv), (dv, dv)))
        huu, huv, hvv = (first + _down(second * r) for first, second in ((e, duu), (f, duv), (g, dvv)))
        det = huu * hvv - huv**2
        not_convex = (det <= 1e-9 * e * g) | (huu <= 0)
        if not_convex.any():  # a Gauss-Newton step there
            huu, hvv = np.where(not_convex, e, huu), np.where(not_convex, g, hvv)
            huv = np.where(not_convex, f, huv)
            det = huu * hvv - huv**2
        step_u = -(hvv * gu - huv * gv) / det
        step_v = -(huu * gv - huv * gu) / det
        held_u = ((uv[:, 0] <= 0) & (step_u < 0)) | ((uv[:, 0] >= 1) & (step_u > 0))
        held_v = ((uv[:, 1] <= 0) & (step_v < 0)) | ((uv[:, 1] >= 1) & (step_v > 0))
        step_v = np.where(held_u, -gv / hvv, step_v)
        step_u = np.where(held_v, -gu / huu, step_u)
        step = np.stack([np.where(held_u, 0.0, step_u), np.where(held_v, 0.0, step_v)], axis=1)
        return np.clip(step, -0.1, 0.1)

    def area_mm2(self) -> float:
        """Return the area of the whole grid by 6 × 6 Gauss points in every knot cell. [mm²]"""
        x, w = np.polynomial.legendre.leggauss(6)
        u, wu = _gauss_over(self.breaks_u, x, w)
        v, wv = _gauss_over(self.breaks_v, x, w)
        uv = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
        _, du, dv, _ = self.frame(uv)
        return float(np.outer(wu, wv).ravel() @ np.linalg.norm(cross(du, dv), axis=1))


@dataclass(frozen=True, eq=False)
class Skin:
    """All grids of one car, by name.

    ``parameters`` are those of its points in u, in v on the sides and in v on the roof.
    """

    grids: dict[str, Grid]
    parameters: tuple[np.ndarray, np.ndarray, np.ndarray]

    @cached_property
    def area_mm2(self) -> float:
        """Area of the whole measured skin, openings not yet cut. [mm²]"""
        return sum(grid.area_mm2() for grid in self.grids.values())

    def grid_of(self, kind: str, side: str) -> Grid:
        """Return the grid of a kind; of the sides, the right or the left one."""
        return self.grids[f"side {side}" if kind == "side" else kind]


def skin_of(car: Car, like: Skin | None = None) -> Skin:
    """Return the B-spline skin through every measured point of ``car``.

    With ``like``, the skin of a car that differs a little: its parameters are
    taken over, and so is every grid that is the same.
    """
    g = car.gutter_index
    right = np.array([hoop.side_mm("right") for hoop in car.hoops])  # (hoops, rows, 3)
    left = np.array([hoop.side_mm("left") for hoop in car.hoops])
    over = np.concatenate([right[:, g:], left[:, g:-1][:, ::-1]], axis=1)  # gutter … crown … gutter
    u, v_side, v_roof = parameters = (
        like.parameters
        if like is not None
        else (
            _averaged_parameters(np.concatenate([right, left[:, :-1]], axis=1)),
            _averaged_parameters(np.concatenate([right[:, : g + 1], left[:, : g + 1]]).swapaxes(0, 1)),
            _averaged_parameters(over.swapaxes(0, 1)),
        )
    )
    grids = [
        _grid("side right", "side", u, v_side, right[:, : g + 1], (0, 1, 0)),
        _grid("roof", "roof", u, v_roof, over, (0, 0, 1)),
        _grid("side left", "side", u, v_side, left[:, : g + 1], (0, -1, 0)),
    ]
    for name, hoop, outward in (("front", 0, (-1, 0, 0)), ("back", -1, (1, 0, 0))):
        panel = car.panel(name)
        if panel is None:
            continue
        inner_right = np.array(panel.side_mm("right"), float).reshape(g, -1, 3)
        inner_left = np.array(panel.side_mm("left"), float).reshape(g, -1, 3)
        lines = [
            np.concatenate(
                [right[hoop, i][None], inner_right[i], inner_left[i, :-1][::-1], left[hoop, i][None]]
            )
            for i in range(g)
        ]
        points = np.array([*lines, over[hoop]]).swapaxes(0, 1)  # (across, up, 3)
        grids.append(_grid(name, name, v_roof, v_side, points, outward))
    if like is not None:
        grids = [_same_or_new(like.grids[grid.name], grid) for grid in grids]
    return Skin({grid.name: grid for grid in grids}, parameters)


def _same_or_new(old: Grid, new: Grid) -> Grid:
    return old if np.array_equal(old.poles_mm, new.poles_mm) else new


def _grid(name, kind, u, v, points, outward_hint) -> Grid:
    degree_u, degree_v = min(3, len(u) - 1), min(3, len(v) - 1)
    along = make_interp_spline(u, points, k=degree_u)
    both = make_interp_spline(v, along.c.swapaxes(0, 1), k=degree_v)
    poles = both.c.swapaxes(0, 1)
    grid = Grid(name, kind, along.t, both.t, degree_u, degree_v, _frozen(poles), 1.0)
    middle = np.array([[0.5, 0.5]])
    sign = 1.0 if grid.normal(middle)[0] @ np.array(outward_hint, float) > 0 else -1.0
    return Grid(name, kind, _frozen(along.t), _frozen(both.t), degree_u, degree_v, grid.poles_mm, sign)


def _down(products):
    """Return the sums over the three coordinates of (3, n)."""
    x, y, z = products
    return x + y + z


def _rows(*arrays):
    """Return arrays (3, n) as rows (n, 3)."""
    return [np.ascontiguousarray(x.T) for x in arrays]


def _averaged_parameters(points):
    """Chord-length parameters on [0, 1] along axis 0, averaged over axis 1.

    Each line is weighed by its length, so a line that shrinks to a point
    counts for nothing.
    """
    chords = np.linalg.norm(np.diff(points, axis=0), axis=2).sum(axis=1)
    along = np.cumsum(chords)
    return np.concatenate([[0.0], along / along[-1]])  # ends at 1 to the last bit, where borders are


@lru_cache(maxsize=32)
def _seen_lattice(grid, view):
    """Return the (u, v) of the lattice points that face the viewer, and a tree of where they are seen."""
    flat_uv = grid.lattice_uv.reshape(-1, 2)
    axis, sign = _VIEW_AXIS_SIGN.get(view, (1, -1.0 if grid.side == "left" else 1.0))
    facing = grid.normal(flat_uv)[:, axis] * sign > 0.02
    seen = grid.lattice_mm.reshape(-1, 3)[facing][:, list(VIEWS[view])]
    return flat_uv[facing], cKDTree(seen) if facing.any() else None


def _border_uv(count):
    """Return points all along the four borders of a grid, shape (4 count, 2)."""
    t, low, high = np.linspace(0, 1, count), np.zeros(count), np.ones(count)
    return np.concatenate([np.stack(pair, axis=1) for pair in ((t, low), (t, high), (low, t), (high, t))])


def _refined(breaks, per_span):
    inner = [
        np.linspace(a, b, per_span, endpoint=False) for a, b in zip(breaks[:-1], breaks[1:], strict=True)
    ]
    return np.append(np.concatenate(inner), breaks[-1])


def _gauss_over(breaks, x, w):
    half = np.diff(breaks) / 2
    middle = (breaks[:-1] + breaks[1:]) / 2
    return (middle[:, None] + half[:, None] * x).ravel(), (half[:, None] * w).ravel()


def _frozen(array):
    array = np.array(array, float)
    array.setflags(write=False)
    return array
