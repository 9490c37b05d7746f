"""Line drawings of a car as SVG, straight from the model: side, front, rear, plan, three-quarter.

A drawing is parallel.  Skin that faces away is drawn first, then posts, then
skin that faces the viewer, so that nothing hidden shows except through glass.
Where a surface turns away its triangles are split at the very line on which it
does (normal · direction = 0): that line is the contour.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from html import escape

import numpy as np
import shapely

from .built import Built
from .display import (
    COARSE,
    POST,
    EdgeLine,
    Patch,
    edge_lines,
    ghost_of,
    patches_of,
    split,
    stock_edges,
    stock_patches,
)
from .layout import METAL, PANE
from .moves import IDENTITY
from .piececolours import GLASS_COLOUR, colour_of
from .placing import front_posts
from .report import Report
from .units import shop_inches

LETTER, LEAST_LETTER_MM = 0.026, 40.0  # of the car's length: words 13 px high in a picture 700 px wide
WIDE = 0.62  # of a letter for its height, on the mean: assumed, of the fonts without serifs
GLASS_BEHIND_MM = 80.0  # a pane counts as so much further away: sheet that comes to lie over glass hides it
INK, STOCK_INK, DIMENSION_INK = "#2b3036", "#7d8792", "#9a3412"


@dataclass(frozen=True)
class View:
    """A direction to look from: ``toward`` points from the car to the viewer."""

    name: str
    toward: tuple[float, float, float]
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)

    @cached_property
    def axes(self) -> np.ndarray:
        """Rows: to the right on paper, up on paper, toward the viewer."""
        toward = np.array(self.toward) / np.linalg.norm(self.toward)
        right = np.cross(self.up, toward)
        right /= np.linalg.norm(right)
        return np.array([right, np.cross(toward, right), toward])


VIEWS = {
    view.name: view
    for view in (
        View("three-quarter", (-0.62, -1.0, 0.42)),
        View("side", (0.0, -1.0, 0.0)),
        View("front", (-1.0, 0.0, 0.0)),
        View("rear", (1.0, 0.0, 0.0)),
        View("rear three-quarter", (0.78, -1.0, 0.5)),
        View("plan", (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)),
    )
}


@dataclass(frozen=True, eq=False)
class Drawing:
    """SVG elements on a paper in mm of the car, y down, with the box they lie in."""

    elements: tuple[str, ...]
    low: np.ndarray
    high: np.ndarray

    def svg(self, width_px: int = 640, margin_mm: float = 60.0, title: str = "") -> str:
        """Return the whole picture; it scales with the room it is given."""
        x, y = self.low - margin_mm
        w, h = self.high - self.low + 2 * margin_mm
        label = escape(title, quote=True)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{label}" '
            f'viewBox="{x:.0f} {y:.0f} {w:.0f} {h:.0f}" '
            f'style="width:100%;max-width:{width_px}px;height:auto;display:block">'
            f"<title>{label}</title>{''.join(self.elements)}</svg>"
        )


def drawing_of(
    built: Built, view: View, *, with_stock: bool = True, extra=(), sag_mm: float = COARSE
) -> Drawing:
    """Return the chopped car seen from one side, the stock outline dashed over it.

    Parameters
    ----------
    sag_mm : float
        How far an edge of a triangle may lie off the skin.
    extra : iterable of str
        SVG elements drawn last, in the same paper coordinates.
    """
    elements = _shell(patches_of(built, sag_mm), built.moves, edge_lines(built.layout, built.moves), view)
    if with_stock and (built.plan.roof or built.plan.window):
        elements += _stock_lines(built, view, sag_mm)
    return Drawing((*elements, *extra), *_extent(built.shape, view))


@lru_cache(maxsize=32)
def _extent(shape, view):
    """Return the corners of the stock car on the paper."""
    corners = _paper(np.concatenate([p.point_mm for p in stock_patches(shape)]), view)
    return corners.min(axis=0), corners.max(axis=0)


def side_drawing(built: Built, report: Report, sag_mm: float = COARSE) -> Drawing:
    """Return the side view with the dimensions that the plan changed."""
    view = VIEWS["side"]
    drawing = drawing_of(built, view, sag_mm=sag_mm)
    low, high = drawing.low.copy(), drawing.high.copy()
    extra, unit, totals = [], report.car["unit"], report.totals
    letter_mm = max(LETTER * (high[0] - low[0]), LEAST_LETTER_MM)
    room, level = np.array([0.0, letter_mm]), []
    if built.plan.roof is not None:
        landing = np.mean([built.ends[k].plane.point_mm for k in front_posts(built.shape.car)], axis=0)
        unmoved = built.parts.whole.inverse().points(landing)
        landing = built.parts.points(unmoved)
        rear = np.array(built.shape.car.rear_point_mm)
        lowered = built.parts.points(rear)
        for name, before, after, side in (("front", unmoved, landing, -1), ("rear", rear, lowered, 1)):
            at = low[0] - 90 if side < 0 else high[0] + 90
            words = (name, f"{_length(before[2] - after[2], unit)} down")
            extra += _upright(at, -before[2], -after[2], before[0], after[0], words, side, letter_mm)
            room[0] = max(room[0], 150.0 + max(_wide(word, letter_mm) for word in words))
        top = -totals.height_before_mm, -totals.height_after_mm
        words = f"top {_length(totals.height_before_mm - totals.height_after_mm, unit)} lower"
        extra.append(_text((low[0] + high[0]) / 2, top[0] - 45, words, "middle", letter_mm))
        level.append((unmoved[0], landing[0], "roof"))
    if built.plan.window is not None:
        pivot = built.window.pivot_mm
        moved = built.window.move.points(pivot)
        level.append((pivot[0], moved[0], "window"))
    levels, depth = _levels(high[1] + 70, level, unit, letter_mm)
    room[0] = max(room[0], *(_overhang(low[0], high[0], *each, unit, letter_mm) for each in level), 100.0)
    top, foot = room + (0.0, 80.0), np.array([room[0], depth])
    return Drawing((*drawing.elements, *extra, *levels), low - top, high + foot)


def _wide(words, letter_mm):
    """Return about how wide words are on the paper. [mm]"""
    return WIDE * letter_mm * len(words)


def _said(before, after, word, unit):
    way = "forward" if after < before else "rearward"
    return f"{word} {_length(abs(after - before), unit)} {way}"


def _overhang(low, high, before, after, word, unit, letter_mm):
    """Return how far the words of a level dimension reach past the car. [mm]"""
    middle, half = (before + after) / 2, _wide(_said(before, after, word, unit), letter_mm) / 2
    return max(low - (middle - half), middle + half - high) + 20.0


def _levels(at, dimensions, unit, letter_mm):
    """Return level dimensions under the car and the room for them; words that would meet go below another."""
    elements, taken, lines, step = [], [], 0, 108.0 + letter_mm
    for before, after, word in dimensions:
        if abs(before - after) < 0.8:
            continue
        middle, half = (before + after) / 2, _wide(_said(before, after, word, unit), letter_mm) / 2
        line = sum(abs(middle - other) < half + wide for other, wide in taken)
        taken.append((middle, half + letter_mm / 2))
        lines = max(lines, line + 1)
        elements += _level(at + step * line, before, after, word, unit, letter_mm)
    return elements, 80.0 + step * lines


def _length(mm, unit):
    return shop_inches(mm) if unit == "in" else f"{mm:.0f} mm"


def _upright(at, top, bottom, top_from, bottom_from, words, side, letter_mm):
    """Return an upright dimension beside the car, with lines back to where it is taken."""
    thin = f'stroke="{DIMENSION_INK}" stroke-width="1.6" stroke-opacity="0.45"'
    return [
        f'<path d="M{top_from:.0f} {top:.0f}L{at + side * 12:.0f} {top:.0f}" {thin}/>',
        f'<path d="M{bottom_from:.0f} {bottom:.0f}L{at + side * 12:.0f} {bottom:.0f}" {thin}/>',
        f'<path d="M{at:.0f} {top - 60:.0f}v60M{at:.0f} {bottom:.0f}v60" {_DIMENSION}/>',
        *(_tip(at, y, 0, way) for y, way in ((top, 1), (bottom, -1))),
        *(
            _text(at + side * 30, (top + bottom) / 2 + dy, word, "end" if side < 0 else "start", letter_mm)
            for word, dy in zip(words, (-0.2 * letter_mm, 0.85 * letter_mm), strict=True)
        ),
    ]


def _level(at, before, after, word, unit, letter_mm):
    """Return a level dimension under the car: how far something went forward."""
    left, right = sorted((before, after))
    return [
        f'<path d="M{left - 60:.0f} {at:.0f}H{left:.0f}M{right:.0f} {at:.0f}H{right + 60:.0f}'
        f'M{left:.0f} {at - 22:.0f}v44M{right:.0f} {at - 22:.0f}v44" {_DIMENSION}/>',
        _tip(left, at, 1, 0),
        _tip(right, at, -1, 0),
        _text((left + right) / 2, at + 30 + letter_mm, _said(before, after, word, unit), "middle", letter_mm),
    ]


_DIMENSION = f'fill="none" stroke="{DIMENSION_INK}" stroke-width="3"'


def _tip(x, y, dx, dy):
    """Return an arrow head at (x, y) that points along (dx, dy)."""
    ax, ay = x - 22 * dx, y - 22 * dy
    wide = (9 * dy, 9 * dx)
    return (
        f'<path d="M{x:.0f} {y:.0f}L{ax + wide[0]:.0f} {ay + wide[1]:.0f}'
        f'L{ax - wide[0]:.0f} {ay - wide[1]:.0f}Z" fill="{DIMENSION_INK}"/>'
    )


def _text(x, y, words, anchor, letter_mm):
    return (
        f'<text x="{x:.0f}" y="{y:.0f}" font-size="{letter_mm:.1f}" font-family="system-ui, sans-serif" '
        f'text-anchor="{anchor}" fill="{DIMENSION_INK}">{escape(words)}</text>'
    )


def _shell(patches, moves, edges, view):
    """Return elements for skin, glass and posts, from the back to the front."""
    toward = view.axes[2]
    back, posts, front = [], [], []
    for patch in patches:
        if patch.role not in (METAL, PANE, POST):
            continue
        move, colour = moves.get(patch.carrier, IDENTITY), colour_of(patch.carrier)
        if patch.role == POST:
            placed = patch.moved(move)
            posts.append((_depth(placed, toward), _fill(patch, move, view, shaded(colour, 0.55))))
            continue
        away, facing = halves(patch, tuple(move.rotation.T @ toward))
        if len(away.triangles) and patch.role == METAL:
            fill = _fill(away, move, view, shaded(colour, 0.62))
            back.append((_depth(away.moved(move), toward), fill))
        if len(facing.triangles):
            depth = _depth(facing.moved(move), toward) - (GLASS_BEHIND_MM if patch.role == PANE else 0.0)
            front.append((depth, _front(facing, move, view)))
    layers = [element for layer in (back, posts, front) for _, element in sorted(layer)]
    return [*layers, _strokes(edges, view, INK, 2.4)]


@lru_cache(maxsize=512)
def halves(patch: Patch, toward) -> tuple[Patch, Patch]:
    """Return what of a patch faces away from a viewer and what faces him, remembered."""
    return split(patch, patch.normal @ np.array(toward))


def _front(patch, move, view):
    if patch.role == PANE:
        return _fill(patch, move, view, GLASS_COLOUR, opacity=0.45)
    contour = _contour(patch, move, view)
    tone = 0.80 + 0.2 * float(np.clip(move.vectors(patch.normal) @ _LIGHT, 0, 1).mean())
    fill = _fill(patch, move, view, shaded(colour_of(patch.carrier), tone))
    return fill + (f'<path d="{contour}" fill="none" stroke="{INK}" stroke-width="3"/>' if contour else "")


_LIGHT = np.array([-0.3, -0.5, 0.8]) / np.linalg.norm([-0.3, -0.5, 0.8])


def _stock_lines(built, view, sag_mm):
    """Return the outline of what moved, as it stood."""
    moved = ghost_of(built, sag_mm)
    contours = []
    for patch in moved:
        if patch.role != PANE:
            _, facing = halves(patch, tuple(view.axes[2]))
            contours.append(_contour(facing, IDENTITY, view))
    edges = [_above(edge, built.lower) for edge in stock_edges(built.shape)]
    style = f'fill="none" stroke="{STOCK_INK}" stroke-width="2.4" stroke-dasharray="14 9"'
    return [f'<path d="{"".join(contours)}" {style}/>', _strokes(edges, view, STOCK_INK, 2.0, "14 9")]


def _above(edge: EdgeLine, lower):
    """Return the part of a stock edge above the lower cut's lowest plane."""
    if lower is None:
        return edge
    height = min(offset / lower.normals[key][2] for key, offset in lower.offsets_mm.items())
    keep = edge.point_mm[:, 2] > height
    return EdgeLine(edge.carrier, edge.point_mm[keep], edge.normal[keep])


def _paper(points_mm, view):
    """Return points on the paper, y down."""
    return points_mm @ view.axes[:2].T * (1.0, -1.0)


def _depth(patch, toward):
    return float((patch.point_mm @ toward).mean())


def shaded(colour: str, factor: float) -> str:
    """Return a colour darker, or lighter where the factor is above 1."""
    parts = (round(int(colour[i : i + 2], 16) * factor) for i in (1, 3, 5))
    return "#" + "".join(f"{min(255, part):02x}" for part in parts)


def _fill(patch, move, view, colour, opacity=1.0):
    paper = _paper(move.points(patch.point_mm), view)
    path = path_data([paper[loop] for loop in boundary_loops(patch)], close=True)
    clear = f' fill-opacity="{opacity:g}"' if opacity < 1 else ""
    hair = f' stroke="{colour}" stroke-width="1"' if opacity == 1 else ""  # no light between neighbours
    return f'<path d="{path}" fill="{colour}"{clear}{hair}/>'


def _strokes(edges, view, ink, width, dashes=""):
    """Return one path with the parts of the edges that face the viewer."""
    toward, out = view.axes[2], []
    for edge in edges:
        faces = edge.normal @ toward > -0.02
        limits = np.nonzero(np.diff(np.concatenate([[False], faces, [False]])))[0]
        paper = _paper(edge.point_mm, view)
        out += [paper[a:b] for a, b in zip(limits[::2], limits[1::2], strict=True) if b - a > 1]
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<path d="{path_data(out)}" fill="none" stroke="{ink}" stroke-width="{width}" '
        f'stroke-linejoin="round"{dashed}/>'
    )


def _contour(patch, move, view):
    """Return path data of the edges along which a patch turns away from the viewer."""
    paper = _paper(move.points(patch.point_mm), view)
    return path_data([paper[line] for line in _contour_lines(patch, tuple(move.rotation.T @ view.axes[2]))])


@lru_cache(maxsize=256)
def _contour_lines(patch, toward):
    on_line = np.abs(patch.normal @ np.array(toward)) < 1e-9
    start, end = _boundary(patch.triangles)
    keep = on_line[start] & on_line[end]
    return _chained(start[keep], end[keep])


@lru_cache(maxsize=512)
def boundary_loops(patch: Patch) -> list[np.ndarray]:
    """Return the closed lines around a patch as point numbers, remembered."""
    return _chained(*_boundary(patch.triangles))


def _boundary(triangles):
    """Return starts and ends of the directed edges that have no neighbour."""
    start, end = triangles.ravel(), triangles[:, [1, 2, 0]].ravel()
    size = int(triangles.max(initial=0)) + 1
    lone = ~np.isin(start * size + end, end * size + start)
    return start[lone], end[lone]


def _chained(start, end):
    """Return directed edges joined into lines of point numbers."""
    following: dict[int, list[int]] = {}
    for a, b in zip(start.tolist(), end.tolist(), strict=True):
        following.setdefault(a, []).append(b)
    ends = set(end.tolist())
    firsts = [a for a in following if a not in ends] + list(following)
    lines = []
    for first in firsts:
        while following.get(first):
            line = [first]
            while following.get(line[-1]):
                line.append(following[line[-1]].pop())
                if line[-1] == first:
                    break
            lines.append(np.array(line))
    return lines


def path_data(lines, close=False, tolerance_mm=0.5):
    """Return path data through lines of points, those that lie on a straight run left out."""
    lines = [line for line in lines if len(line) > 1]
    if not lines:
        return ""
    counts = [len(line) for line in lines]
    owner = np.repeat(np.arange(len(lines)), counts)
    strings = shapely.linestrings(np.concatenate(lines), indices=owner)
    thinned = shapely.simplify(strings, tolerance_mm, preserve_topology=False)
    points, owner = shapely.get_coordinates(thinned, return_index=True)
    ends = np.cumsum(np.bincount(owner, minlength=len(lines)))
    words = [f"{x:.1f} {y:.1f}" for x, y in points.tolist()]
    end = "Z" if close else ""
    return "".join(
        f"M{'L'.join(words[a:b])}{end}" for a, b in zip([0, *ends[:-1]], ends, strict=True) if b > a
    )
