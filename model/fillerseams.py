"""Seams of the closed roof: what new metal leaves of the open seams, and its own.

Where a filler lies, the open stretch's bead is replaced by the filler's two
long edges: to the first piece, along the stretch of that piece's edge, and to
the second, along its.  A border that two fillers share is welded once.  An
end that lies at an opening is a free edge; one where the gap falls to what a
weld closes runs out into that bead, the mouth before its tip
(:mod:`model.fillertips`) being a seam by itself; one that lies beside a piece is welded to
it, and there that piece's edge needs no bead to anything else; one that is
welded up (:mod:`model.endwelds`) is a bead as long as it is wide.

Lengths follow :mod:`model.seams`: along the edge of the piece that stays,
less what lies over a post's own box on the body's side, where the box's bead
counts already.  A post between whose ends a piece is let in (:mod:`model.postpieces`),
or around whose hinge (:mod:`model.hingepieces`),
has the two beads of the piece instead of its own, further from the cut: beside
it the skin is welded by itself.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from .built import Built
from .cornerholes import KIND as CORNER_PATCH
from .cornerholes import WELDED_UP, nearest_along
from .edges import SAME_PLACE_MM, Edge, Edges, stretch
from .endwelds import SPACING_MM as END_SPACING_MM
from .endwelds import edges_near
from .fillerruns import CORNER, lines_of
from .fillers import Filler
from .fillers import least_radius_mm as least_radius_mm
from .fillertips import TIPS
from .fit import Facing, meetings, turn_deg
from .gauges import sheet_kg_m2
from .hingepieces import hinge_pieces
from .hingepieceseams import hinge_piece_facings
from .placing import PostKey
from .postpieces import closed_posts
from .postpieceseams import post_piece_facings
from .report import NewMetalEdge, NewMetalReport, SeamReport
from .seams import FILLER_SEAM, HINGE, TIP_SEAM, Seam, post_box_facings, reports_along, seam_edges, seams_of

_LEAST_MM = 0.05  # of a stretch that is left


def closed_seam_reports(built: Built, fillers: tuple[Filler, ...]) -> list[SeamReport]:
    """Return length, gap and step of every seam of the closed roof: skin, boxes of posts, new metal."""
    laid, pieced = [], _Pieced(closed_posts(built), hinge_pieces(built))
    at_ends = _end_seams(built, fillers)
    for seam in seams_of(built):
        own = [f for f in fillers if _is_same(f.seam, seam)]
        first, second = seam_edges(built, seam)
        faced = [facing for end, facings in at_ends if end.pieces[1] == seam.pieces[0] for facing in facings]
        patches = [f for f in fillers if f.seam.kind == CORNER_PATCH and f.seam.pieces[1] == seam.pieces[0]]
        is_whole = not (own or faced or patches)
        left = first if is_whole else _what_is_left(built, seam, own, faced, patches)
        if left:
            laid.append((_with_own_bead(seam, pieced), [Facing(tuple(left), tuple(second))]))
    laid += post_box_facings(built, pieced.at_cut, pieced.at_hinge)
    laid += post_piece_facings(built) + hinge_piece_facings(built)
    for filler in fillers:
        laid += [(_with_own_bead(seam, pieced), facings) for seam, facings in _long_seams(filler)]
    laid += _shared_borders(fillers)
    laid += at_ends
    return reports_along(built, laid)


class _Pieced(NamedTuple):
    """Posts between whose ends a piece is let in, at the cut and around the hinge."""

    at_cut: Container[PostKey]
    at_hinge: Container[PostKey]


def _with_own_bead(seam: Seam, pieced: _Pieced) -> Seam:
    """Return a seam as one that is welded beside its post's box too, where the box is cut back from it."""
    there = pieced.at_hinge if f", {HINGE}, " in seam.name else pieced.at_cut
    return replace(seam, post=None) if seam.post in there else seam


def _is_same(a: Seam, b: Seam):
    return (a.name, a.kind, a.side, a.pieces) == (b.name, b.kind, b.side, b.pieces)


def _what_is_left(built, seam, fillers: list[Filler], faced: list[Facing], patches) -> list[Edge]:
    """Return the stretches of a seam's first edges beside which lies no new metal, mouth or end of one."""
    lines = lines_of(built, seam)
    out = []
    for first in lines.firsts:
        own = [filler for filler in fillers if filler.run.first == first]
        taken = [pair for filler in own for pair in (filler.run.first_mm, *filler.mouths_mm)]
        taken += _taken_by_ends(lines.laid, first, faced, built.plan.root_gap_mm)
        taken += _taken_by_patches(lines.laid, first, patches, built.plan.root_gap_mm)
        taken.sort()
        ends = np.maximum.accumulate([0.0, *(end for _, end in taken)])
        starts = [*(start for start, _ in taken), float(lines.laid.length_mm[first])]
        for start, end in zip(ends, starts, strict=True):
            if end - start > _LEAST_MM:
                out.append(stretch(lines.laid, first, start, end))
    return out


def _taken_by_ends(laid: Edges, edge: int, faced: list[Facing], root_gap_mm) -> list[tuple[float, float]]:
    """Return the stretches of an edge, a root gap beyond either side, beside which ends of fillers lie."""
    out = []
    for met in meetings(faced, END_SPACING_MM):
        places = [nearest_along(laid, edge, point) for point in met.facing_mm[met.faces]]
        on_it = [along for along, off in places if off < SAME_PLACE_MM]
        if on_it:
            beyond = root_gap_mm + END_SPACING_MM / 2
            length = float(laid.length_mm[edge])
            out.append((max(min(on_it) - beyond, 0.0), min(max(on_it) + beyond, length)))
    return out


def _taken_by_patches(laid: Edges, edge: int, patches, root_gap_mm) -> list[tuple[float, float]]:
    """Return the stretches of an edge beside which corner patches lie, and what is welded up beyond them."""
    out = []
    for patch in patches:
        run = patch.run
        third = stretch(run.laid, run.second, *run.second_mm[::-1])
        on_it = [nearest_along(laid, edge, point) for point in third.point_mm]
        if max(off for _, off in on_it) > SAME_PLACE_MM:
            continue
        places = [along for along, _ in on_it]
        base = run.laid.at(np.full(2, run.first), np.array([0.0, run.laid.length_mm[run.first]]))[0]
        places += [
            nearest_along(laid, edge, base[k])[0] for k, to in enumerate(patch.ends) if to == WELDED_UP
        ]
        beyond = 2 * root_gap_mm
        length = float(laid.length_mm[edge])
        out.append((max(min(places) - beyond, 0.0), min(max(places) + beyond, length)))
    return out


def _end_seams(built: Built, fillers) -> list[tuple[Seam, list[Facing]]]:
    """Return the seams of ends that are welded to a piece, or welded up: see :mod:`model.endwelds`."""
    out = []
    for filler in fillers:
        for k, to in enumerate(filler.ends):
            if to != WELDED_UP and to not in built.layout.parts:
                continue
            border = welded_up_edge(filler, k) if to == WELDED_UP else filler.border(f"u{k}")
            beside = () if to == WELDED_UP else edges_near(built, to, border)
            own = replace(
                filler.seam,
                name=end_seam_name(filler, k),
                kind=WELDED_UP if to == WELDED_UP else FILLER_SEAM,
                pieces=(filler.name, filler.name if to == WELDED_UP else to),
                first=(),
                post=None,
            )
            out.append((own, [Facing((border,), beside)]))
    return out


def welded_up_edge(filler: Filler, end: int) -> Edge:
    """Return the edge along which a hole is welded up: an open end, or the tip beyond a corner patch."""
    run = filler.run
    if filler.seam.kind != CORNER_PATCH:
        return filler.border(f"u{end}")
    low, high = ((0.0, run.first_mm[0]), (run.first_mm[1], float(run.laid.length_mm[run.first])))[end]
    return stretch(run.laid, run.first, low, high)


def end_seam_name(filler: Filler, end: int) -> str:
    """Return the name of the seam at an end that is welded to a piece, or welded up."""
    to = filler.ends[end]
    return f"{filler.name}, end, {to if to == WELDED_UP else f'to {to}'}"


def piece_edges(filler: Filler) -> tuple[Edge, Edge]:
    """Return the stretches of both pieces' edges along which a filler lies."""
    run = filler.run
    return (
        stretch(run.laid, run.first, *run.first_mm),
        stretch(run.laid, run.second, *run.second_mm[::-1]),
    )


def long_seam_names(filler: Filler) -> tuple[str, str]:
    """Return the names of the seams to the first and to the second piece."""
    return tuple(f"{filler.name} to {piece}" for piece in filler.seam.pieces)


def _long_seams(filler: Filler):
    seam = filler.seam
    borders = filler.border("v0"), filler.border("v1")
    out = []
    for k, (name, edge, border) in enumerate(
        zip(long_seam_names(filler), piece_edges(filler), borders, strict=True)
    ):
        own = replace(
            seam,
            name=name,
            kind=FILLER_SEAM,
            pieces=(seam.pieces[k], filler.name),
            post=seam.post if k == 0 else None,  # the box's own bead is counted on the body's side
        )
        out.append((own, [Facing((edge,), (border,))]))
    return out + _mouths(filler)


def _mouths(filler: Filler):
    """Return the seam that is welded up in the mouths before a filler's tips, if it has any."""
    if not filler.mouths_mm:
        return []
    run = filler.run
    second = stretch(run.laid, run.second, 0.0, float(run.laid.length_mm[run.second]))
    facings = [Facing((stretch(run.laid, run.first, *pair),), (second,)) for pair in filler.mouths_mm]
    return [(replace(run.seam, name=filler.name + TIPS, kind=TIP_SEAM), facings)]


def shared_borders(fillers: tuple[Filler, ...]) -> list[tuple[Filler, str, Filler, str]]:
    """Return every end at which two fillers meet, once: filler, border, other filler, its border.

    The edges of a crossing are not among them: those are its long seams.
    """
    named = {filler.name: filler for filler in fillers}
    out = []
    for k, filler in enumerate(fillers):
        for border, end in zip(("u0", "u1"), filler.ends, strict=True):
            other = named.get(end)
            if other is not None and other in fillers[k + 1 :] and filler.name in other.ends:
                out.append((filler, border, other, f"u{other.ends.index(filler.name)}"))
    return out


def _shared_borders(fillers):
    out = []
    for filler, border, other, other_border in shared_borders(fillers):
        own = replace(
            filler.seam,
            name=f"{filler.name} to {other.name}",
            kind=FILLER_SEAM,
            pieces=(filler.name, other.name),
            first=(),
            post=None,
        )
        out.append((own, [Facing((filler.border(border),), (other.border(other_border),))]))
    return out


def new_metal_reports(
    fillers: tuple[Filler, ...], seams: list[SeamReport], root_gap_mm: float
) -> tuple[NewMetalReport, ...]:
    """Return what every filler is, and how it sits: from the seams that :func:`closed_seam_reports` gave."""
    by_name = {seam.name: seam for seam in seams}
    out = []
    for filler in fillers:
        edges = [by_name[name] for name in long_seam_names(filler)]
        if filler.seam.kind == CORNER_PATCH:  # laid from its ends too
            names = [f"{end} to {filler.name}" for end in filler.ends]
            edges += [by_name[name] for name in names if name in by_name]
        out.append(new_metal_report(filler, edges, root_gap_mm))
    return tuple(out)


def new_metal_report(filler: Filler, edges, root_gap_mm: float) -> NewMetalReport:
    """Return the report of one filler, with its edges along both pieces, first piece first, and others."""
    run, grid = filler.run, filler.grid
    area_mm2 = grid.area_mm2()
    long = [
        NewMetalEdge(
            piece=seam.pieces[0],
            length_mm=seam.edge_mm,
            tangent_break_deg=tangent_break_deg(seam),
            off_root_gap_mm=max(
                (abs(x - root_gap_mm) for x in (seam.gap_mm.min, seam.gap_mm.max)), default=0.0
            )
            if seam.gap_mm
            else 0.0,
        )
        for seam in edges
    ]
    uv = np.stack(np.meshgrid(grid.breaks_u, [0.0, 1.0], indexing="ij"), axis=-1)
    a, b = grid.point(uv.reshape(-1, 2)).reshape(-1, 2, 3).swapaxes(0, 1)
    across = np.linalg.norm(b - a, axis=1)
    return NewMetalReport(
        name=filler.name,
        kind=filler.seam.kind,
        side=filler.seam.side,
        pieces=filler.seam.pieces,
        gauge_mm=filler.thickness_mm,
        area_mm2=area_mm2,
        mass_kg=area_mm2 / 1e6 * sheet_kg_m2(filler.thickness_mm),
        width_min_mm=float(across.min()),
        width_max_mm=float(across.max()),
        closes_gap_mm=run.gap_mm,
        closes_step_mm=run.step_mm,
        ends=filler.ends,
        open_corner_mm=float(
            max(
                (across[k] for k, end in ((0, filler.ends[0]), (-1, filler.ends[1])) if end == CORNER),
                default=0.0,
            )
        ),
        edges=tuple(long),
        least_radius_mm=least_radius_mm(grid),
    )


def tangent_break_deg(seam: SeamReport) -> float:
    """Return the greatest break between two skins along a seam: the sum of both angles across it. [deg]"""
    return max(
        (abs(float(turn_deg(s.angle_first_deg, s.angle_second_deg))) for s in seam.stations), default=0.0
    )
