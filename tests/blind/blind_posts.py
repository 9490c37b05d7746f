"""What the exported posts say of themselves: lean, take-out, marks, misses.

Imports :mod:`blind_reader`, numpy and scipy only.  A post is four faces; where
two of them meet runs a corner edge.  Its axis is not in the file: it is the
middle of the sections square to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from blind_reader import Move, dot, move_between, unit

X, Y = np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
CENTRE_NAMES = {"outer": "right", "inner": "left"}


@dataclass(frozen=True)
class Plane:
    """A plane by a point and its upward normal."""

    point: np.ndarray
    normal: np.ndarray

    def above_mm(self, points):
        """Return distances above it."""
        return (points - self.point) @ self.normal

    def carried(self, move):
        """Return where a rigid move takes it."""
        return Plane(move.points(self.point), move.vectors(self.normal))

    def carried_back(self, move):
        """Return what a rigid move takes to it."""
        return Plane(move.back(self.point), self.normal @ move.rotation)


def plane_of(edges):
    """Return the plane through edges, and how far they stray from it."""
    points = np.concatenate([e.points(np.linspace(e.start, e.end, 5)) for e in edges])
    middle = points.mean(axis=0)
    normal = np.linalg.svd(points - middle)[2][2]
    normal = normal if normal[2] > 0 else -normal
    return Plane(middle, normal), float(np.abs((points - middle) @ normal).max())


class Corner:
    """One corner edge of a post's box, lower end, slug and upper end in a row."""

    def __init__(self, edges):
        self.edges = sorted(edges, key=lambda e: e.ends_mm[:, 2].mean())

    def across(self, plane):
        """Return point and length from the lowest end where it, run on straight, meets a plane."""
        done = 0.0
        for e in self.edges:
            is_up = e.ends_mm[1, 2] > e.ends_mm[0, 2]
            heights = plane.above_mm(e.ends_mm)
            low, high = heights if is_up else heights[::-1]
            if low <= 1e-7 and high >= -1e-7:
                at = np.interp(0.0, [low, high], [e.start, e.end] if is_up else [e.end, e.start])
                for _ in range(6):  # Newton: a corner edge is nearly straight
                    at -= plane.above_mm(e.points(at)) / (e.slope(at) @ plane.normal)
                assert abs(plane.above_mm(e.points(at))) < 1e-9
                along = float(e.along_mm(at))
                return e.points(at), done + (along if is_up else e.length_mm - along)
            done += e.length_mm
        return self._run_on(plane, done)

    def _run_on(self, plane, length):
        bottom, top = self.edges[0], self.edges[-1]
        ends = []
        for e, is_low in ((bottom, True), (top, False)):
            k = int(np.argmin(e.ends_mm[:, 2])) if is_low else int(np.argmax(e.ends_mm[:, 2]))
            tangent = unit(e.slope(e.start if k == 0 else e.end))
            tangent = tangent if tangent[2] > 0 else -tangent
            ends.append((e.ends_mm[k], tangent, 0.0 if is_low else length))
        p, t, at = min(ends, key=lambda q: abs(plane.above_mm(q[0])))
        s = -plane.above_mm(p) / (plane.normal @ t)
        return p + s * t, at + s


class BlindPost:
    """One post of one side: ``lower``, ``upper``, ``slug`` in stock place; the upper end's move."""

    def __init__(self, name, stock, chopped):
        self.name = name
        self.lower, self.upper, self.slug = (
            stock[f"post {name} {part}"] for part in ("lower", "upper", "slug")
        )
        self.move: Move = move_between(self.upper.sample_mm(), chopped[self.upper.name].sample_mm())
        self.side = name.rsplit(" ", 1)[1]
        self.inward = 1.0 if self.side == "left" else -1.0  # the divider counts as a right post

    # -- faces and corners

    @cached_property
    def faces(self):
        """Faces of lower end, upper end and slug by the way they look: front, rear, outer, inner."""
        return {part: self._sorted(getattr(self, part).faces) for part in ("lower", "upper", "slug")}

    def _sorted(self, faces):
        assert len(faces) == 4, f"post {self.name} has {len(faces)} faces"
        normals = np.array([f.mean_outward for f in faces])
        fore_aft = np.abs(normals[:, 0])
        pair = np.argsort(fore_aft)[-2:]
        front, rear = sorted(pair, key=lambda k: normals[k, 0])
        others = [k for k in range(4) if k not in (front, rear)]
        towards = -1.0 if self.side == "left" else 1.0  # the centre divider's "outer" is its right
        inner, outer = sorted(others, key=lambda k: normals[k, 1] * towards)
        return {"front": faces[front], "rear": faces[rear], "inner": faces[inner], "outer": faces[outer]}

    @cached_property
    def corners(self):
        """Corner edges by ``front outer`` …"""
        found = {}
        for a in ("front", "rear"):
            for b in ("outer", "inner"):
                found[f"{a} {b}"] = Corner([self._shared(part, a, b) for part in ("lower", "slug", "upper")])
        return found

    def _shared(self, part, a, b):
        one, other = self.faces[part][a].edges, self.faces[part][b].edges
        return min(
            ((p, q) for p in one for q in other),
            key=lambda pair: min(np.abs(pair[0].ends_mm - pair[1].ends_mm[::way]).max() for way in (1, -1)),
        )[0]

    # -- cuts

    def cut_edges(self, part):
        """Return the cut face's outline by face: the top of the lower end, the bottom of the upper."""
        pick = max if part == "lower" else min
        return {
            name: pick(face.edges, key=lambda e: e.ends_mm[:, 2].mean())
            for name, face in self.faces[part].items()
        }

    @cached_property
    def lower_cut(self):
        """Plane of the lower cut."""
        plane, off = plane_of(self.cut_edges("lower").values())
        assert off < 1e-6, f"the lower cut of {self.name} strays {off} from a plane"
        return plane

    @cached_property
    def upper_cut(self):
        """Plane of the upper cut, on the uncut post."""
        plane, off = plane_of(self.cut_edges("upper").values())
        assert off < 1e-6, f"the upper cut of {self.name} strays {off} from a plane"
        return plane

    @cached_property
    def lands_on_lower(self):
        """What of the uncut post lands on the lower cut."""
        return self.lower_cut.carried_back(self.move)

    # -- axis

    def axis_at(self, plane, reach_mm=12.0):
        """Return point and direction of the axis where it crosses a plane.

        Sections square to the axis at five heights; the axis runs through
        their middles, and square to them: repeated until both hold.
        """
        middle = np.mean([c.across(plane)[0] for c in self.corners.values()], axis=0)
        ends = [
            e.ends_mm[np.argsort(e.ends_mm[:, 2])]
            for c in self.corners.values()
            for e in (c.edges[0], c.edges[-1])
        ]
        direction = unit(np.mean([e[1] - e[0] for e in ends], axis=0))
        at = np.arange(-2, 3) * reach_mm
        middles = middle + at[:, None] * direction
        directions = np.repeat(direction[None], 5, axis=0)
        for _ in range(6):
            middles = np.array(
                [
                    np.mean([c.across(Plane(m, d))[0] for c in self.corners.values()], axis=0)
                    for m, d in zip(middles, directions, strict=True)
                ]
            )
            along = (middles - middles[2]) @ directions[2]
            fit = np.polynomial.polynomial.polyfit(along, middles, 4)
            slopes = np.polynomial.polynomial.polyder(fit)
            directions = unit(np.polynomial.polynomial.polyval(along, slopes).T)
        # Down or up the fitted curve to the plane.
        s = 0.0
        for _ in range(8):
            p = np.polynomial.polynomial.polyval(s, fit)
            d = np.polynomial.polynomial.polyval(s, slopes)
            s -= plane.above_mm(p) / (plane.normal @ d)
        return np.polynomial.polynomial.polyval(s, fit), unit(np.polynomial.polynomial.polyval(s, slopes))

    @cached_property
    def at_lower(self):
        """Axis point and direction at the lower cut."""
        return self.axis_at(self.lower_cut)

    @cached_property
    def at_landing(self):
        """Axis point and direction of the point that lands on the lower cut."""
        return self.axis_at(self.lands_on_lower)

    @cached_property
    def at_upper(self):
        """Axis point and direction at the upper cut."""
        return self.axis_at(self.upper_cut)

    @cached_property
    def frame(self):
        """Fore-and-aft (to the rear) and across, both square to the axis at the lower cut."""
        t = self.at_lower[1]
        w = unit(X - (X @ t) * t)
        return w, np.cross(t, w)

    @cached_property
    def section_mm(self):
        """Width and depth of the section square to the axis at the lower cut."""
        plane = Plane(*self.at_lower)
        p = {name: c.across(plane)[0] for name, c in self.corners.items()}
        width = np.linalg.norm(p["rear outer"] - p["front outer"])
        depth = np.linalg.norm(p["rear outer"] - p["rear inner"])
        return float(width), float(depth)

    # -- numbers

    @cached_property
    def numbers(self):
        """Everything that a report says of a post, in its words."""
        p, t = self.at_lower
        u, tu = self.at_landing
        landed, n = self.move.points(u), self.lower_cut.normal
        fore_aft = unit(X - (X @ n) * n)
        across = np.cross(n, fore_aft) * self.inward
        miss = landed - p
        cosine = float(np.clip(t @ self.move.vectors(tu), -1, 1))
        tilt = np.degrees(np.arctan2(np.linalg.norm(np.cross(t, self.move.vectors(tu))), cosine))
        return {
            "cut_height_mm": float(p[2]),
            "lean_side_deg": float(np.degrees(np.arctan2(t[0], t[2]))),
            "lean_front_deg": float(np.degrees(np.arctan2(self.inward * t[1], t[2]))),
            "drop_mm": float(u[2] - landed[2]),
            "take_out_mm": float(self._along_axis(p, t, u, tu)),
            "removed_mm": float(self._along_axis(p, t, *self.at_upper)),
            "miss_fore_aft_mm": float(miss @ fore_aft),
            "miss_across_mm": float(miss @ across),
            "tilt_deg": float(tilt),
            "bead_mm": float(sum(e.length_mm for e in self.cut_edges("lower").values())),
        }

    @staticmethod
    def _along_axis(p, tp, q, tq):
        """Length of the gentle arc from p to q with these directions at its ends, upwards positive."""
        chord = q - p
        length = np.linalg.norm(chord)
        # The cubic with these ends and directions; its length by Gauss's rule.
        s = (np.polynomial.legendre.leggauss(8)[0] + 1) / 2
        weight = np.polynomial.legendre.leggauss(8)[1] / 2
        sign = 1.0 if chord @ tp >= 0 else -1.0
        a, b = sign * tp * length, sign * tq * length
        slope = (
            (6 * s**2 - 6 * s)[:, None] * (p - q)
            + (3 * s**2 - 4 * s + 1)[:, None] * a
            + (3 * s**2 - 2 * s)[:, None] * b
        )
        return sign * float(np.linalg.norm(slope, axis=1) @ weight)

    @cached_property
    def edge_marks(self):
        """The marks on the four corner edges and the axis, in the report's words."""
        marks = {}
        for name, corner in self.corners.items():
            low, at_low = corner.across(self.lower_cut)
            up, at_up = corner.across(self.upper_cut)
            _, at_landing = corner.across(self.lands_on_lower)
            if self.side == "centre":
                a, b = name.split()
                name = f"{a} {CENTRE_NAMES[b]}"
            marks[name] = {
                "lower_mm": low,
                "upper_mm": up,
                "take_out_mm": at_landing - at_low,
                "removed_mm": at_up - at_low,
            }
        marks["axis"] = {
            "lower_mm": self.at_lower[0],
            "upper_mm": self.at_upper[0],
            "take_out_mm": self._along_axis(*self.at_lower, *self.at_landing),
            "removed_mm": self._along_axis(*self.at_lower, *self.at_upper),
        }
        return marks

    def opening_mm(self):
        """Return the least and the greatest opening between lower cut and landed upper cut."""
        heights = [
            self.lower_cut.above_mm(self.move.points(e.ends_mm)) for e in self.cut_edges("upper").values()
        ]
        return float(np.min(heights)), float(np.max(heights))


__all__ = ["BlindPost", "Plane", "dot"]
