"""The unbroken runs of a seam, where each begins, and how it is tacked and welded.

A seam's stations say where it lies and how far along.  Where two
that follow each other lie further apart in space than along the seam, the
edge breaks off and goes on elsewhere: that is a new run.  A post has one run for each face of its box,
front and rear before inner and outer.  The part of a skin
seam that lies over its post's box is the box's bead, not the skin's: it parts
a run in two, and the runs' lengths add up to the seam's bead.
"""

from __future__ import annotations

import numpy as np

from .built import Built
from .cornerholes import WELDED_UP
from .fillers import fillers_of
from .fillerseams import end_seam_name, welded_up_edge
from .hingepieces import hinge_pieces
from .hingepieceseams import hinge_bead_names, hinge_rims_of
from .moves import IDENTITY
from .placing import PostKey
from .postpieces import closed_posts
from .postpieceseams import rims_of, seam_names
from .report import SeamReport
from .seams import FILLER_SEAM, HINGE, POST, hinge_edges, post_edges
from .skipweld import halving_order, skip_order, stretch_count
from .weldreport import Stretch, WeldRun

FACES = ("front", "inner", "rear", "outer")  # as :func:`.seams.post_edges` has them
_JUMP_MM = 5.0  # by which stations lie further apart than along the seam where the edge breaks off
_END_TACK_MM = 6.0  # assumed: how far from an end the first tack sits
_SHORTEST_MM = 1e-6  # a run shorter than this is none


def post_of(built: Built, seam) -> PostKey | None:
    """Return the post at whose cut or hinge a seam runs, that of new metal too."""
    name = seam.name.removeprefix(f"{FILLER_SEAM} ")
    return next((key for key in built.ends if name.startswith(" ".join(key) + ",")), None)


def is_box(seam) -> bool:
    """Return whether a seam runs around the box of a post, at its cut or its hinge."""
    return seam.kind == POST or (seam.kind == HINGE and ", hinge, post" in seam.name)


def parts_of(built, seam: SeamReport):
    """Return (part, mark, end, length) of every unbroken run; without stations one run of unknown place."""
    key = post_of(built, seam)
    if is_box(seam) and key is not None:
        return _faces(_box_edges(built, seam, key))
    if seam.kind == WELDED_UP:
        return [("", *_ends_of_hole(built, seam), seam.length_mm)]
    if not seam.stations:
        return [("", None, None, seam.length_mm)] if seam.length_mm > _SHORTEST_MM else []
    along = np.array([s.along_mm for s in seam.stations])
    at = np.array([s.at_mm for s in seam.stations])
    apart = np.linalg.norm(np.diff(at, axis=0), axis=1)
    breaks = np.nonzero(apart > np.diff(along) + _JUMP_MM)[0]
    limits = [0.0, *((along[breaks] + along[breaks + 1]) / 2).tolist(), seam.edge_mm]
    over = _over_post(built, seam, along, at)
    parts = []
    for low, high in zip(limits[:-1], limits[1:], strict=True):
        own = (along > low) & (along < high)
        for a, b in _outside(low, high, over):
            if b - a > _SHORTEST_MM:
                parts.append(("", _place(along[own], at[own], a), _place(along[own], at[own], b), b - a))
    return parts


def _ends_of_hole(built, seam):
    """Return the two corners between which a hole at the end of new metal is welded up."""
    ends = ((f, k) for f in fillers_of(built) for k in (0, 1) if f.ends[k] == WELDED_UP)
    border = next(welded_up_edge(f, k) for f, k in ends if end_seam_name(f, k) == seam.name)
    return tuple(border.point_mm[0].tolist()), tuple(border.point_mm[-1].tolist())


def _outside(low, high, over):
    """Return what an interval keeps outside another."""
    if over is None:
        return [(low, high)]
    return [(low, min(high, over[0])), (max(low, over[1]), high)]


def _box_edges(built, seam, key):
    """Return the first piece's edges around the box: at the post's cut, its hinge, or an end of its piece."""
    closed = closed_posts(built).get(key)
    if seam.kind == HINGE:
        piece = hinge_pieces(built).get(key)
        if piece is None:
            return hinge_edges(built.ends[key])[0]
        return hinge_rims_of(piece)[hinge_bead_names(piece).index(seam.name)][0]
    if closed is None:
        return post_edges(built.ends[key])[0]
    return rims_of(closed)[seam_names(closed).index(seam.name)][0]


def _faces(box_edges):
    """Return the four faces of a post's box, opposite ones one after the other."""
    edges = dict(zip(FACES, box_edges, strict=True))
    parts = []
    for face in ("front", "rear", "inner", "outer"):
        points = edges[face].point_mm
        length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
        parts.append((f"{face} face", tuple(points[0].tolist()), tuple(points[-1].tolist()), length))
    return parts


def _over_post(built, seam, along, at):
    """Return from where to where along its edge a skin seam lies over its post's box, or None."""
    key = post_of(built, seam)
    if key is None or seam.over_post_mm <= 0:
        return None
    place = beside_post(built, seam, key, at)
    nearest = int(np.abs(place).argmin())
    middle = float(along[nearest])
    goes_on = nearest == 0 or (nearest + 1 < len(place) and place[nearest] * place[nearest + 1] < 0)
    i = nearest + (1 if goes_on else -1)
    if i < len(place) and place[i] != place[nearest]:
        middle -= place[nearest] * (along[i] - along[nearest]) / (place[i] - place[nearest])
    half = seam.over_post_mm / 2
    middle = float(np.clip(middle, half, seam.edge_mm - half))
    return middle - half, middle + half


def beside_post(built: Built, seam: SeamReport, key: PostKey, at) -> np.ndarray:
    """Return how far places lie from a post's axis: along the car on a side, across it elsewhere. [mm]"""
    ends = built.ends[key]
    s, centre, turn = ends.s_lower[0], ends.plane_in_place.point_mm, ends.lower_move
    if seam.kind == HINGE or ", hinge, " in seam.name:
        s, centre, turn = ends.line.crossing(ends.hinge.foot)[0], np.array(ends.hinge.point_mm), IDENTITY
    _, _, w, d = ends.line.frame(s)
    return (at - centre) @ turn.vectors(w[0] if "side skin" in seam.name else d[0])


def _place(along, at, where):
    """Return the point at a length along a run, straight on past its first and last station."""
    if len(along) == 1:
        return tuple(at[0].tolist())
    k = int(np.clip(np.searchsorted(along, where) - 1, 0, len(along) - 2))
    share = (where - along[k]) / (along[k + 1] - along[k])
    return tuple((at[k] + share * (at[k + 1] - at[k])).tolist())


def run_of(part, mark, end, length, pitch) -> WeldRun:
    count = stretch_count(length, pitch)
    step = length / count
    inset = min(_END_TACK_MM, length / 4)
    places = [min(max(k * step, inset), length - inset) for k in range(count + 1)]
    if length < 2 * _END_TACK_MM:
        places = [length / 2]
    return WeldRun(
        part=part,
        mark_mm=mark,
        end_mm=end,
        length_mm=length,
        tacks_mm=tuple(places[k] for k in halving_order(len(places))),
        stretches=tuple(
            Stretch(turn=turn, from_mm=k * step, to_mm=(k + 1) * step)
            for turn, k in enumerate(skip_order(count), start=1)
        ),
    )
