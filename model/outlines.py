"""Openings on the skin, and lines at a true distance around them.

An opening is drawn in its view with straight edges and rounded corners, and
carried onto the skin along the line of sight.  It is kept as *parts*, one for
every straight edge or arc, so that no smooth curve is ever fitted across the
place where an edge runs into an arc.

A flange line is the set of points at a given distance *on the surface* from
the opening's edge: the ends of the surface's straightest lines (geodesics)
that leave the edge at a right angle.  With arc length s as parameter they
obey, for w = (u, v),

    S_u u'' + S_v v'' = −(S_uu u'² + 2 S_uv u' v' + S_vv v'²)   (tangential part),

integrated here by Runge-Kutta steps of at most 5 mm.  By Gauss's lemma the
ends form a curve that crosses every one of them at a right angle, so it is
the line at that distance as long as the lines do not cross.  At a corner
without a radius the lines fan out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from .errors import MeasureError, PlanError
from .measured import Opening
from .numeric import cross, dot, unit
from .skin import Grid

CHORD_MM = 0.008  # how far a chord of an arc may stray from it
LEAST_SAMPLES = 7  # along a straight edge, which is seldom straight on the skin
STEP_MM = 9.0  # greatest spacing of samples along an edge
_FAN_RAD = np.radians(4.0)
_GEODESIC_STEP_MM = 5.0
_WIDEST_WITHIN_MM = 1e-4  # how far short of the grid the widest flange that is stated may end


@dataclass(frozen=True, eq=False)
class Outline:
    """A closed line on one grid, counter-clockwise in (u, v), in smooth parts.

    ``parts[i]`` has shape (n, 2); it ends where the next one begins.
    """

    name: str
    grid: Grid
    parts: tuple[np.ndarray, ...]

    @property
    def loop_uv(self) -> np.ndarray:
        """All points once around, shape (n, 2), the first not repeated."""
        return np.concatenate([part[:-1] for part in self.parts])

    @cached_property
    def polygon(self) -> shapely.Polygon:
        """The region inside, prepared for questions."""
        polygon = shapely.Polygon(self.loop_uv)
        shapely.prepare(polygon)
        return polygon


def outline_in_view(opening: Opening) -> list[np.ndarray]:
    """Return the opening's edge in its view as straight and round parts, each (n, 2). [mm]

    A corner of radius r between edges that turn by φ is cut off at
    r tan(φ / 2) from the corner.
    """
    corners = np.array([(c.across_mm, c.up_mm) for c in opening.corners], float)
    radii = [c.radius_mm for c in opening.corners]
    starts, ends, arcs = [], [], []
    for i, corner in enumerate(corners):
        to_last = corners[i - 1] - corner
        to_next = corners[(i + 1) % len(corners)] - corner
        to_last, to_next = to_last / np.linalg.norm(to_last), to_next / np.linalg.norm(to_next)
        turn = np.arctan2(-to_last[0] * to_next[1] + to_last[1] * to_next[0], -to_last @ to_next)
        setback = radii[i] * np.tan(abs(turn) / 2)
        starts.append(corner + setback * to_last)
        ends.append(corner + setback * to_next)
        arcs.append(_arc(starts[-1], -to_last, radii[i], turn) if radii[i] > 0 and turn else None)
    parts = []
    for i in range(len(corners)):
        if arcs[i] is not None:
            parts.append(arcs[i])
        j = (i + 1) % len(corners)
        length = np.linalg.norm(starts[j] - ends[i])
        if length > 1e-9:
            n = max(LEAST_SAMPLES, int(np.ceil(length / STEP_MM)) + 1)
            parts.append(ends[i] + np.linspace(0, 1, n)[:, None] * (starts[j] - ends[i]))
    return parts


def _arc(start, direction, radius, turn):
    step = np.sqrt(8 * CHORD_MM / (radius + 25.0))  # fine enough for a flange around it too
    n = max(4, int(np.ceil(abs(turn) / step)) + 1)
    angle = np.linspace(0, abs(turn), n)
    left = np.array([-direction[1], direction[0]]) * np.sign(turn)
    return start + radius * (np.sin(angle)[:, None] * direction + (1 - np.cos(angle))[:, None] * left)


def outline_on_skin(opening: Opening, grid: Grid) -> Outline:
    """Carry an opening onto its grid.

    Raises
    ------
    MeasureError
        If any of it misses the grid.
    """
    name = f"{opening.name} {opening.side}" if opening.side != "centre" else opening.name
    parts = outline_in_view(opening)
    cuts = np.cumsum([len(part) for part in parts])[:-1]
    uv = grid.uv_from_view(opening.view, np.concatenate(parts), f"opening {name!r}")
    uv_parts = np.split(uv, cuts)
    for i, part in enumerate(uv_parts):  # shared ends, to the last bit
        part[-1] = uv_parts[(i + 1) % len(uv_parts)][0]
    if _signed_area(uv) < 0:
        uv_parts = [part[::-1] for part in uv_parts[::-1]]
    if np.concatenate(uv_parts).min() <= 0 or np.concatenate(uv_parts).max() >= 1:
        raise MeasureError(
            f"opening {name!r} reaches the border of the measured skin ({grid.name}).",
            "Move the corner inward, or measure the skin further out.",
        )
    return Outline(name, grid, tuple(uv_parts))


def line_at_distance(outline: Outline, distance_mm: float, name: str) -> Outline:
    """Return the line around ``outline`` at a true distance on the surface.

    Raises
    ------
    PlanError
        If it leaves the grid: the flange is too wide for this car.
    """
    starts, directions, cuts = _leaving_lines(outline)
    uv = _geodesic_ends(outline.grid, starts, directions, distance_mm)
    if not _is_on(uv):
        raise PlanError(
            "flange",
            f"is too wide: at {distance_mm:.1f} mm from the {outline.name} it runs off the "
            f"{outline.grid.name} skin.",
            f"On this car keep it below {widest_line_mm(outline):.1f} mm, kerf included.",
            value_mm=distance_mm,
            limit_mm=widest_line_mm(outline),
        )
    parts = [uv[a : b + 1].copy() for a, b in zip(cuts[:-1], cuts[1:], strict=True)]
    parts[-1][-1] = parts[0][0]
    return Outline(name, outline.grid, tuple(parts))


def widest_line_mm(outline: Outline) -> float:
    """Return the distance at which a line around ``outline`` runs off its grid. [mm]"""
    starts, directions, _ = _leaving_lines(outline)
    grid, reached = outline.grid, 0.0
    state = _leaving_state(grid, starts, directions)
    step = _GEODESIC_STEP_MM
    while step > _WIDEST_WITHIN_MM:
        further = _geodesic_step(grid, state, step)
        if _is_on(further):
            state, reached = further, reached + step
        else:
            step /= 2
    return reached


def _leaving_lines(outline: Outline):
    """Return start points (n, 2), unit directions (n, 3) out of the opening, and part limits."""
    grid = outline.grid
    tangents = [_tangents(grid, part) for part in outline.parts]
    starts, directions, cuts = [], [], [0]
    for i, part in enumerate(outline.parts):
        _, _, _, normal = grid.frame(part)
        away = unit(cross(tangents[i], normal)) * grid.outward
        before = unit(cross(tangents[i - 1][-1:], normal[:1]))[0] * grid.outward
        corner = np.arccos(np.clip(before @ away[0], -1, 1))
        turns_out = np.cross(tangents[i - 1][-1], tangents[i][0]) @ normal[0] * grid.outward > 0
        if corner > _FAN_RAD and turns_out:
            n = int(np.ceil(corner / _FAN_RAD)) + 1
            angle = np.linspace(0, 1, n)[:-1, None]
            fan = (np.sin((1 - angle) * corner) * before + np.sin(angle * corner) * away[0]) / np.sin(corner)
            starts.append(np.repeat(part[:1], n - 1, axis=0))
            directions.append(fan)
            cuts.append(cuts[-1] + n - 1)
        else:  # an edge running into an arc: one common direction
            away[0] = unit((before + away[0])[None])[0]
        starts.append(part[:-1])
        directions.append(away[:-1])
        cuts.append(cuts[-1] + len(part) - 1)
    starts.append(starts[0][:1])
    directions.append(directions[0][:1])
    return np.concatenate(starts), np.concatenate(directions), cuts


def _tangents(grid, part):
    """Unit tangents in space along one smooth part, from a parabola through three points."""
    point, du, dv, _ = grid.frame(part)
    chord = np.linalg.norm(np.diff(point, axis=0), axis=1)
    s = np.concatenate([[0.0], np.cumsum(chord)])
    duv = np.gradient(part, s, axis=0, edge_order=2 if len(part) > 2 else 1)
    return unit(du * duv[:, :1] + dv * duv[:, 1:])


def _geodesic_ends(grid: Grid, uv, direction, length_mm):
    """Return where the lines end; as soon as one is off the grid, all where they are then.

    Beyond its grid a surface means nothing, and a line may even come back.
    """
    n = max(1, int(np.ceil(length_mm / _GEODESIC_STEP_MM)))
    state = _leaving_state(grid, uv, direction)
    for _ in range(n):
        state = _geodesic_step(grid, state, length_mm / n)
        if not _is_on(state):
            break
    return state[:, :2]


def _is_on(state):
    """Whether all lines are still on their grid."""
    return bool(0 < state[:, :2].min() and state[:, :2].max() < 1)


def _leaving_state(grid, uv, direction):
    """Return (u, v, u', v') for lines that leave along unit directions in space."""
    _, du, dv, _ = grid.frame(uv)
    return np.concatenate([uv, _in_parameters(du, dv, direction)], axis=1)


def _geodesic_step(grid, state, h):
    """One Runge-Kutta step of length h of the geodesic equation."""

    def rate(state):
        j = grid.jet(state[:, :2])
        p, q = state[:, 2:3], state[:, 3:4]
        bend = j.duu * p**2 + 2 * j.duv * p * q + j.dvv * q**2
        return np.concatenate([state[:, 2:], -_in_parameters(j.du, j.dv, bend)], axis=1)

    k1 = rate(state)
    k2 = rate(state + h / 2 * k1)
    k3 = rate(state + h / 2 * k2)
    k4 = rate(state + h * k3)
    return state + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)


def _in_parameters(du, dv, vector):
    """Return (a, b) with a S_u + b S_v the tangential part of ``vector``; shape (n, 2)."""
    e, f, g = dot(du, du), dot(du, dv), dot(dv, dv)
    p, q = dot(du, vector), dot(dv, vector)
    det = e * g - f * f
    return np.stack([(g * p - f * q) / det, (e * q - f * p) / det], axis=1)


def _signed_area(loop):
    x, y = loop.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
