"""Triangles for the picture: the uncut car's, split where the plan cuts.

:mod:`model.scene` triangulates every cell of a plan exactly.
A picture can be had faster: the car without a roof cut (and with the window
panel, if there is one) is triangulated once, and a plan's cuts only split
those triangles where the cut's value changes sign.  In a post's own zone the
cut is a plane, so the split lies in it exactly.

A slider is answered with the coarse triangles of :mod:`model.scene`; a picture
that is kept asks that no edge sags off the skin by more than ``sag_mm``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from .bodies import piece_mesh
from .built import Built
from .cuts import CentrePlane, GridCut, Station
from .fillers import fillers_of
from .fillersheets import filler_mesh
from .finermesh import finer_mesh
from .hingepieces import hinge_pieces, stubs_of
from .hinges import Flat
from .layingout import layout_of
from .layout import BODY, METAL, PANE, WASTE, Cell, Layout
from .leans import pane_piece
from .moves import IDENTITY, RigidMove
from .newpanes import new_panes, pane_mesh
from .numeric import dot
from .postpieces import closed_posts, stub_marks
from .posts import PostLine
from .roofparts import ROOF
from .scene import cell_mesh, keep_out_mesh, post_mesh
from .shape import CarShape
from .skin import Grid
from .trimmings import is_cut_off, piece_of

POST, KEEP_OUT = "post", "keep-out"
SLUGS = "slugs"
COARSE = float("inf")
POST_INSET_MM = 12.0  # posts are drawn this much thinner, so that they do not flicker through the skin


@dataclass(frozen=True, eq=False)
class Patch:
    """Triangles of the uncut car that move together.

    Attributes
    ----------
    carrier : str
        The piece they move with; waste stays where it was.
    role : str
        ``metal``, ``pane``, ``waste``, ``post`` or ``keep-out``.
    grid : Grid or None
        The part of the skin they lie on.
    point_mm, normal : (n, 3)
    triangles : (m, 3) int
    """

    carrier: str
    role: str
    grid: Grid | None
    point_mm: np.ndarray
    normal: np.ndarray
    triangles: np.ndarray
    own_name: str = ""
    part: str = ""  # of the layout of the uncut car

    @property
    def name(self) -> str:
        """Of the post or keep-out; of anything else, the piece it moves with."""
        return self.own_name or self.carrier

    def with_triangles(self, point_mm, normal, triangles, **changes) -> Patch:
        """Return a patch of other triangles, and of another carrier or role."""
        carrier, role = changes.get("carrier", self.carrier), changes.get("role", self.role)
        return Patch(carrier, role, self.grid, point_mm, normal, triangles, self.own_name, self.part)

    def moved(self, move: RigidMove) -> Patch:
        """Return the patch in its place."""
        if move is IDENTITY:
            return self
        return self.with_triangles(move.points(self.point_mm), move.vectors(self.normal), self.triangles)


@lru_cache(maxsize=2)
def patches_of(built: Built, sag_mm: float = COARSE) -> list[Patch]:
    """Return everything a picture of the plan shows, each patch on the uncut car; remembered."""
    panes = new_pane_patches(built)
    anew = {patch.part for patch in panes}
    below, rest = ([p for p in parts if p.part not in anew] for parts in _parted(built, sag_mm))
    if built.upper is not None:
        rest = [part for patch in rest for part in _cut(patch, built)]
    skin = _trimmed(built, [p for p in (*below, *rest) if len(p.triangles)], sag_mm)
    return skin + _fillers(built) + _posts(built) + panes + _keep_outs(built.shape)


def ghost_of(built: Built, sag_mm: float = COARSE) -> list[Patch]:
    """Return the skin and glass that the plan moves or removes, as it was on the uncut car."""
    _, rest = _parted(built, sag_mm)
    return [patch for patch in rest if len(patch.triangles)]


def stock_patches(shape: CarShape) -> list[Patch]:
    """Return the car as it stands: skin and glass."""
    return list(_uncut(shape, None, 0.0, COARSE))


@lru_cache(maxsize=16)
def _uncut(shape: CarShape, flange_mm, kerf_mm, sag_mm) -> tuple[Patch, ...]:
    layout = layout_of(shape, None, None, flange_mm, kerf_mm, ())
    return tuple(_cell_patch(cell, sag_mm) for cell in layout.cells)


def _parted(built: Built, sag_mm):
    """Return the patches that stay, and those that the plan moves or removes, before the upper cut."""
    plan, below, rest = built.plan, [], []
    flange_mm = None if plan.window is None else plan.window.flange_mm
    for patch in _uncut(built.shape, flange_mm, max(plan.kerf_mm, plan.root_gap_mm), sag_mm):
        if patch.carrier != BODY or patch.role == WASTE:
            rest.append(patch)
        elif built.lower is None:
            below.append(patch)
        else:
            low, high = _split_once(built.lower.on(patch.grid), patch)
            stays, loose = _leaned(built, low)
            below.append(stays)
            rest += [*loose, high]
    return below, rest


def _leaned(built: Built, patch: Patch):
    """Return what of a patch below the lower cut stays, and what leaned posts turn or have cut out."""
    loose = []
    if patch.role == PANE:
        opening = next(o for o in built.shape.openings if patch.part == f"pane {o.name}")
        piece = pane_piece(built.leans, opening)
        if piece is None:
            return patch, loose
        return _part(patch, patch.triangles[:0], patch.point_mm, patch.normal), [
            patch.with_triangles(patch.point_mm, patch.normal, patch.triangles, carrier=piece)
        ]
    for lean in built.leans:
        stretch = lean.stretch_on(patch.grid.name)
        if stretch is None:
            continue
        beyond, within = split(patch, -stretch.outside_mm(patch.point_mm))
        foot, above = split_by(lean.hinge.foot, within)
        wedge, stub = split_by(lean.hinge.loose, above)
        patch = joined([beyond, foot])
        loose += [
            wedge.with_triangles(wedge.point_mm, wedge.normal, wedge.triangles, carrier=SLUGS, role=WASTE),
            stub.with_triangles(stub.point_mm, stub.normal, stub.triangles, carrier=lean.piece),
        ]
    return patch, loose


@lru_cache(maxsize=128)
def _split_once(cut: GridCut, patch: Patch) -> tuple[Patch, Patch]:
    """The lower cut stays where it is while the roof comes down."""
    return split_by(cut, patch)


def _cell_patch(cell: Cell, sag_mm) -> Patch:
    mesh = cell_mesh(cell) if sag_mm == COARSE else finer_mesh(cell.grid, cell_mesh(cell), sag_mm)
    point, triangles = mesh.point_mm, mesh.triangles
    _, first, welded = np.unique(np.round(mesh.uv, 9), axis=0, return_index=True, return_inverse=True)
    triangles = welded.ravel()[triangles]  # so that neighbours share points
    a, b, c = triangles.T
    triangles = triangles[(a != b) & (b != c) & (c != a)]
    return Patch(
        cell.carrier, cell.role, cell.grid, point[first], mesh.normal[first], triangles, part=cell.part
    )


def _cut(patch: Patch, built: Built):
    """Split a patch above the lower cut by the upper cut and by the lines of shifted posts."""
    if patch.carrier != BODY or patch.role == WASTE:
        return [patch]
    slug, above = split_by(built.upper.on(patch.grid), patch)
    slug = slug.with_triangles(slug.point_mm, slug.normal, slug.triangles, carrier=SLUGS, role=WASTE)
    parts = [] if patch.role == PANE else [slug]
    above = above.with_triangles(above.point_mm, above.normal, above.triangles, carrier=ROOF)
    if patch.role == METAL:
        for shift in built.shifts:
            if patch.grid.name == f"side {shift.key[1]}":
                for low, high, what in shift.bounds:
                    ahead, middle = split_by(Station(low), above)
                    middle, behind = split_by(Station(high), middle)
                    above = joined([ahead, behind])
                    if what != "trimming":
                        name = f"{shift.name} {what}"
                        parts.append(
                            middle.with_triangles(
                                middle.point_mm, middle.normal, middle.triangles, carrier=name
                            )
                        )
    return [*parts, *_roof_parts(above, built.parts.lines)]


def _trimmed(built: Built, skin: list[Patch], sag_mm) -> list[Patch]:
    """Return the skin with the pieces that something was trimmed off as they are in the layout."""
    off = [cell for cell in built.layout.cells if is_cut_off(cell.part)]
    changed = {(piece_of(cell.part), cell.grid.name) for cell in off}
    cells = [c for c in built.layout.cells if c.role == METAL and (c.part, c.grid.name) in changed]
    kept = [p for p in skin if p.role != METAL or (p.carrier, p.grid.name) not in changed]
    waste = [_cell_patch(replace(cell, carrier=SLUGS), sag_mm) for cell in off]
    return [*kept, *(_cell_patch(cell, sag_mm) for cell in cells), *waste]


def _roof_parts(roof: Patch, lines):
    """Split a patch of the roof where the roof is split; every part of it moves with its own."""
    patches = [roof]
    for cut in lines.cuts:
        patches = [side for patch in patches for side in split_by(cut, patch)]
    out = []
    for patch in patches:
        if len(patch.triangles):
            middle = patch.point_mm[patch.triangles[0]].mean(axis=0)
            name = lines.part_at(middle)
            out.append(patch.with_triangles(patch.point_mm, patch.normal, patch.triangles, carrier=name))
    return out


@lru_cache(maxsize=256)
def split_by(cut: GridCut | Flat | Station | CentrePlane, patch: Patch) -> tuple[Patch, Patch]:
    """Split a patch by a cut, remembered; triangles it crosses are quartered first, as it may bend."""
    if not len(patch.triangles):
        return patch, patch
    value = cut.height_above(patch.point_mm)
    above = (value > 0)[patch.triangles].sum(axis=1)
    is_crossed = (above == 1) | (above == 2)
    if is_crossed.any() and isinstance(cut, GridCut):
        known = len(patch.point_mm)
        patch = _quartered(patch, is_crossed)
        value = np.concatenate([value, cut.height_above(patch.point_mm[known:])])
    return split(patch, value)


def _quartered(patch: Patch, which) -> Patch:
    """Return the patch with some triangles cut into four flat ones, new points after the old ones."""
    a, b, c = patch.triangles[which].T
    ends, (ab, bc, ca) = _edges(len(patch.point_mm), (a, b), (b, c), (c, a))
    point, normal = (
        np.concatenate([x, (x[ends[0]] + x[ends[1]]) / 2]) for x in (patch.point_mm, patch.normal)
    )
    quarters = [np.stack(t, 1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
    return patch.with_triangles(point, normal, np.concatenate([patch.triangles[~which], *quarters]))


def _edges(point_count, *pairs):
    """Return the distinct edges of pairs (ends (2, m)) and, for each pair, the number of its new point."""
    low = np.concatenate([np.minimum(a, b) for a, b in pairs])
    high = np.concatenate([np.maximum(a, b) for a, b in pairs])
    key, index = np.unique(low * point_count + high, return_inverse=True)
    return np.stack([key // point_count, key % point_count]), np.split(index + point_count, len(pairs))


def split(patch: Patch, value) -> tuple[Patch, Patch]:
    """Return the parts of a patch where ``value``, linear on every triangle, is below and above zero.

    Parameters
    ----------
    value : (n,)
        At every point of the patch.
    """
    is_above = np.asarray(value) > 0
    if not is_above.any():
        return patch, _part(patch, patch.triangles[:0], patch.point_mm, patch.normal)
    if is_above.all():
        return _part(patch, patch.triangles[:0], patch.point_mm, patch.normal), patch
    count = is_above[patch.triangles].sum(axis=1)
    crossed = (count == 1) | (count == 2)
    lone_above = count[crossed] == 1
    triangles = patch.triangles[crossed]
    lone = (is_above[triangles] == lone_above[:, None]).argmax(axis=1)
    a, b, c = (triangles[np.arange(len(triangles)), (lone + i) % 3] for i in range(3))
    (low, high), (ab, ac) = _edges(len(patch.point_mm), (a, b), (a, c))
    part = (value[low] / (value[low] - value[high]))[:, None]

    def between(values):
        return np.concatenate([values, values[low] * (1 - part) + values[high] * part])

    point, normal = between(patch.point_mm), between(patch.normal)
    tip = np.stack([a, ab, ac], 1)
    base = np.concatenate([np.stack([ab, b, c], 1), np.stack([ab, c, ac], 1)])
    twice = np.concatenate([lone_above, lone_above])
    below = np.concatenate([patch.triangles[count == 0], tip[~lone_above], base[twice]])
    above = np.concatenate([patch.triangles[count == 3], tip[lone_above], base[~twice]])
    return _part(patch, below, point, normal), _part(patch, above, point, normal)


def _part(patch, triangles, point, normal):
    """Return a patch with only the points that its triangles need."""
    used = np.zeros(len(point), bool)
    used[triangles] = True
    return patch.with_triangles(point[used], normal[used], (np.cumsum(used) - 1)[triangles])


def joined(patches) -> Patch:
    """Return patches as one; carrier, role and grid are the first one's."""
    starts = np.cumsum([0] + [len(p.point_mm) for p in patches[:-1]])
    return patches[0].with_triangles(
        np.concatenate([p.point_mm for p in patches]),
        np.concatenate([p.normal for p in patches]),
        np.concatenate([p.triangles + start for p, start in zip(patches, starts, strict=True)]),
    )


def _fillers(built: Built) -> list[Patch]:
    out = []
    for filler in fillers_of(built):
        mesh = filler_mesh(filler)
        out.append(Patch(filler.name, METAL, filler.grid, mesh.point_mm, mesh.normal, mesh.triangles))
    return out


def new_pane_patches(built: Built) -> list[Patch]:
    """Return the new side panes in place, one flat patch each, in the stock pane's stead."""
    out = []
    for pane in new_panes(built):
        name = f"pane {pane.name}"
        out.append(Patch(name, PANE, None, *pane_mesh(pane), part=name))
    return out


def _posts(built: Built) -> list[Patch]:
    out, pieces = [], closed_posts(built)
    for key, line in built.shape.lines.items():
        ends = built.ends.get(key)
        stretches = [(BODY, POST, np.zeros(5), np.ones(5))]
        if ends is not None:
            marks = stub_marks(ends, pieces.get(key))
            stretches = [
                *_lower_stretches(built, key, marks[0]),
                (SLUGS, WASTE, *marks),
                (built.upper_piece(key), POST, marks[1], np.ones(5)),
            ]
        for carrier, role, low, high in stretches:
            out.append(
                _stretch(line, tuple(low.tolist()), tuple(high.tolist()), carrier, role, " ".join(key))
            )
    for closed in (*pieces.values(), *hinge_pieces(built).values()):
        point, normal, triangles = piece_mesh(closed.box)
        out.append(Patch(closed.name, POST, None, point - POST_INSET_MM * normal, normal, triangles))
    return out


@lru_cache(maxsize=128)
def _stretch(line: PostLine, low, high, carrier, role, name) -> Patch:
    """Return a post from one place to another, remembered: below its cut it is the same in every plan."""
    point, normal, triangles = post_mesh(line, np.array(low), np.array(high))
    return Patch(carrier, role, None, point - POST_INSET_MM * normal, normal, triangles, name)


def _lower_stretches(built: Built, key, s_lower):
    ends = stubs_of(built)[key]
    if ends.hinge is None:
        return [(built.lower_piece(key), POST, np.zeros(5), s_lower)]
    foot, loose = ends.line.crossing(ends.hinge.foot), ends.line.crossing(ends.hinge.loose)
    return [
        (BODY, POST, np.zeros(5), foot),
        (SLUGS, WASTE, foot, loose),
        (built.lower_piece(key), POST, loose, s_lower),
    ]


@lru_cache(maxsize=8)
def _keep_outs_of(bodies) -> tuple[Patch, ...]:
    return tuple(Patch(BODY, KEEP_OUT, None, *keep_out_mesh(body), body.name) for body in bodies)


def _keep_outs(shape: CarShape) -> list[Patch]:
    return list(_keep_outs_of(shape.car.keep_outs))


@dataclass(frozen=True, eq=False)
class EdgeLine:
    """An edge of a metal piece in place, with the skin's normals along it; (n, 3)."""

    carrier: str
    point_mm: np.ndarray
    normal: np.ndarray


def edge_lines(layout: Layout, moves: dict[str, RigidMove]) -> list[EdgeLine]:
    """Return the edges of every metal piece where the moves put them."""
    out = []
    for chain in layout.chains:
        sides = [cell for cell in (chain.left, chain.right) if cell is not None and cell.role == METAL]
        if len(sides) == 2 and sides[0].part == sides[1].part:
            continue
        for cell in sides:
            move = moves[cell.carrier]
            out.append(EdgeLine(cell.carrier, move.points(chain.point_mm), move.vectors(chain.normal)))
    return out


def thinned(edges: list[EdgeLine], sag_mm: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return edges with as few samples as a picture needs: points, normals, and how many each edge has.

    On a curve of curvature κ a chord c sags by κ c² / 8, so the samples kept
    are those at which ∫ √(κ / (8 sag)) ds passes a whole number; and both ends.
    """
    point = np.concatenate([edge.point_mm for edge in edges])
    normal = np.concatenate([edge.normal for edge in edges])
    counts = np.array([len(edge.point_mm) for edge in edges])
    step = np.diff(point, axis=0)
    length = np.maximum(np.sqrt(dot(step, step)), 1e-9)
    turn = np.sqrt(np.maximum(2 - 2 * dot(step[:-1], step[1:]) / (length[:-1] * length[1:]), 0.0))
    needed = np.concatenate([[0.0], np.sqrt(turn * (length[:-1] + length[1:]) / (16 * sag_mm)), [0.0]])
    first = np.cumsum(counts) - counts
    needed[first] = needed[first + counts - 1] = 0.0
    passed = np.floor(np.cumsum(needed))
    keep = np.diff(passed, prepend=-1.0) > 0
    keep[first] = keep[first + counts - 1] = True
    return point[keep], normal[keep], np.add.reduceat(keep.astype(int), first)


@lru_cache(maxsize=8)
def stock_edges(shape: CarShape) -> tuple[EdgeLine, ...]:
    """Return the edges of the car as it stands."""
    return tuple(edge_lines(layout_of(shape, None, None, None, 0.0, ()), {BODY: IDENTITY}))
