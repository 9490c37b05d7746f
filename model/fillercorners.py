"""How the cross lines of new sheet leave two corners of the pieces that lie on a crease.

The end of a filler runs from a corner of one piece to a corner of the other.
T is an edge's direction there with the metal on the left, N the normal out of
the car, D = T × N the direction out of the metal within the skin's tangent plane.

**Shared.**  Where two fillers come to the same two corners of the same two
pieces, across a crease or not, both leave there along the crease itself,
± N × N' (it lies in both tangent planes), turned back to D over the width of
the opening.  Their common border is then one curve.

**Alone.**  Where both corners lie on a crease and the filler beyond it ends
short of one of them, a patch goes into the wedge between that filler's end,
this one and the piece (:mod:`model.cornerholes`).  Left along two creases that
run side by side, at β to the straight way of length L between the corners, the
border would swing out to both sides of it by

    L tan(β/2) / 3√3       (m sin β t (1 − t)(1 − 2t), m = 2 L / (1 + cos β), at t = (3 ± √3) / 6)

and the wedge is often no wider.  So this end is drawn straight from corner to
corner: there the filler breaks from the skins by the angle between their
tangent planes and the straight way, turned back to D over the width of the
opening too; told as a break.

The cross lines begin a root gap g from the edges, so g / (D · way) along a
direction that is turned; alone at a corner with D' out of the metal beyond the crease,
at g (D + D') / (1 + D · D'), a root gap from both edges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .fillerruns import CORNER
from .numeric import unit

_CREASE_DEG = 3.0  # of the normals at a corner; less is no crease
SAME_CORNER_MM = 1e-3  # corners nearer than this are one
_LEAST_MITRE = 0.5  # 1 + the cosine between two edges' directions out: less is a spike


@dataclass(frozen=True, eq=False)
class Corner:
    """How a filler leaves the two corners at one end.

    ``other``, the number of the run whose filler shares them, or None; unit directions ``out`` at the first
    and second piece's; ``off``, from the pieces' corners to the filler's, in root gaps.
    """

    other: int | None
    out: tuple[np.ndarray, np.ndarray]
    off: tuple[np.ndarray, np.ndarray]


def corners_of(runs, root_gap_mm: float) -> dict[tuple[int, int], Corner]:
    """Return the corners that are turned, by (number of the run, end 0 or 1)."""
    ends = [(k, end) for k, run in enumerate(runs) for end in (0, 1) if run.ends[end] == CORNER]
    found: dict[tuple[int, int], Corner] = {}
    frames = {at: _end_frames(runs[at[0]], at[1]) for at in ends}
    for i, a in enumerate(ends):
        for b in ends[i + 1 :]:
            if a in found or b in found or a[0] == b[0]:
                continue
            if runs[a[0]].seam.pieces != runs[b[0]].seam.pieces:
                continue
            pairs = list(zip(frames[a], frames[b], strict=True))
            if max(np.linalg.norm(p[0] - q[0]) for p, q in pairs) > SAME_CORNER_MM:
                continue
            out, off = zip(*(_crease(p, q) for p, q in pairs), strict=True)
            found[a], found[b] = Corner(b[0], out, off), Corner(a[0], out, off)
    for at in ends:
        if at not in found:
            corner = _lone_corner(runs, at, frames[at], root_gap_mm)
            if corner is not None:
                found[at] = corner
    return found


def is_alone(corner: Corner | None) -> bool:
    """Return whether no other filler shares an end."""
    return corner is None or corner.other is None


def _lone_corner(runs, at, frames, root_gap_mm) -> Corner | None:
    """Return how a filler leaves two corners on a crease that no other comes to; None if not on one."""
    own = [np.cross(tangent, normal) for _, tangent, normal in frames]
    beyond = [_out_beyond(runs, runs[at[0]], which, frame) for which, frame in enumerate(frames)]
    if any(each is None for each in beyond):
        return None
    off = tuple((a + b) / max(1.0 + a @ b, _LEAST_MITRE) for a, b in zip(own, beyond, strict=True))
    ends = [frame[0] + root_gap_mm * each for frame, each in zip(frames, off, strict=True)]
    (straight,) = unit((ends[1] - ends[0])[None])
    return Corner(None, (straight, -straight), off)


def _out_beyond(runs, own, which, frame):
    """Return the direction out of the same piece's metal along the edge beyond a crease, if it is at one."""
    at, _, normal = frame
    for run in runs:
        if run is own or run.seam.pieces != own.seam.pieces:
            continue
        edge = np.array([(run.first, run.second)[which]] * 2)
        ends = run.laid.at(edge, np.array([0.0, run.laid.length_mm[edge[0]]]))
        for point, tangent, beyond in zip(*ends, strict=True):
            is_crease = np.linalg.norm(np.cross(normal, beyond)) > np.sin(np.radians(_CREASE_DEG))
            if is_crease and np.linalg.norm(point - at) < SAME_CORNER_MM:
                return np.cross(tangent, beyond)
    return None


def _end_frames(run, end):
    """Return (point, T, N) of both edges at one end of a run."""
    at = run.laid.at(np.array([run.first, run.second]), np.array([run.first_mm[end], run.second_mm[end]]))
    return [tuple(values[k] for values in at) for k in (0, 1)]


def _crease(a, b):
    """Return the direction out of the metal along the crease at a corner, and how far off is the filler's."""
    outs = [np.cross(t, n) for _, t, n in (a, b)]
    along = np.cross(a[2], b[2])
    if np.linalg.norm(along) < np.sin(np.radians(_CREASE_DEG)):
        normal = a[2] + b[2]
        normal /= np.linalg.norm(normal)
        along = outs[0] + outs[1]
        along -= (along @ normal) * normal
    along /= np.linalg.norm(along)
    if along @ (outs[0] + outs[1]) < 0:
        along = -along
    return along, along * (2.0 / max(along @ outs[0] + along @ outs[1], 0.5))
