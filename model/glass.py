"""Glass before and after: rakes, heights, and that the rear opening kept its shape.

Rake is the lean of a pane from plumb in side view, from its bottom to its top
edge at the middle of the pane: atan2(Δx, Δz), + leaning rearward going up.
A point of an opening's edge moves with the metal it belongs to: the window
panel, the roof if it lies above the cut, the lower end of a leaned post
above its hinge, the body elsewhere below.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .built import Built
from .layout import BODY, WINDOW
from .measured import VIEWS
from .outlines import Outline, outline_in_view
from .report import WindowReport
from .roofparts import is_roof
from .shape import GlassOpening


@dataclass(frozen=True, eq=False)
class PaneHeight:
    """A pane at its middle, bottom and top edge, before and after. [mm]"""

    bottom_before: np.ndarray
    top_before: np.ndarray
    bottom_after: np.ndarray
    top_after: np.ndarray

    @staticmethod
    def _rake(bottom, top):
        return float(np.degrees(np.arctan2(top[0] - bottom[0], top[2] - bottom[2])))

    @property
    def rake_deg(self) -> tuple[float, float]:
        """Rake before and after."""
        return self._rake(self.bottom_before, self.top_before), self._rake(self.bottom_after, self.top_after)

    @property
    def height_mm(self) -> tuple[float, float]:
        """Straight height along the glass, before and after."""
        return (
            float(np.linalg.norm(self.top_before - self.bottom_before)),
            float(np.linalg.norm(self.top_after - self.bottom_after)),
        )

    @property
    def plumb_mm(self) -> tuple[float, float]:
        """Plumb height, before and after."""
        return (
            float(self.top_before[2] - self.bottom_before[2]),
            float(self.top_after[2] - self.bottom_after[2]),
        )


def carrier_of(built: Built, opening: GlassOpening, points_mm) -> list[str]:
    """Return the piece that carries each point of an opening's edge."""
    if opening is built.shape.rear_window and built.plan.window is not None:
        return [WINDOW] * len(points_mm)
    if built.upper is None:
        return [BODY] * len(points_mm)
    above = built.lower.height_above(opening.outline.grid, points_mm) > 0
    part_at = built.parts.lines.part_at
    carriers = [part_at(p) if a else BODY for p, a in zip(points_mm, above, strict=True)]
    grid_name = opening.outline.grid.name
    for lean in built.leans:
        for i in np.nonzero(lean.is_loose(grid_name, np.asarray(points_mm)) & ~above)[0]:
            carriers[i] = lean.piece
    return carriers


def moved_outline(built: Built, opening: GlassOpening, points_mm) -> np.ndarray:
    """Return points of an opening's edge where the plan puts them, shape (n, 3). [mm]"""
    carriers = carrier_of(built, opening, points_mm)
    return np.array(
        [
            built.parts.points(p) if is_roof(c) else built.moves[c].points(p)
            for c, p in zip(carriers, points_mm, strict=True)
        ]
    )


def pane_height(built: Built, opening: GlassOpening) -> PaneHeight:
    """Return a pane's bottom and top at its middle, before and after.

    An end of the pane that lies between the cuts is cut out with them: the
    pane then ends where the cut crosses its middle.
    """
    return pane_between(built, opening, *middle_of(opening.outline))


def pane_between(built: Built, opening: GlassOpening, bottom, top) -> PaneHeight:
    """Return a pane between two points of its edge, one above the other, before and after.

    See :func:`pane_height`.
    """
    ends = np.array([bottom, top])
    is_panel = opening is built.shape.rear_window and built.plan.window is not None
    if built.upper is not None and not is_panel:
        grid = opening.outline.grid
        is_above = built.lower.height_above(grid, ends) > 0
        is_cut_out = is_above & (built.upper.height_above(grid, ends) < 0)
        if is_cut_out[0] and not is_cut_out[1]:
            ends[0] = _where_cut(opening, bottom, top, built.upper)
        elif is_cut_out[1] and not is_above[0]:
            ends[1] = _where_cut(opening, bottom, top, built.lower)
            return PaneHeight(bottom, top, bottom, ends[1])
    moved = moved_outline(built, opening, ends)
    return PaneHeight(bottom, top, moved[0], moved[1])


def _where_cut(opening, bottom, top, cut):
    """Return where a cut crosses the line from a pane's bottom to its top, as seen in its view."""
    axes = list(VIEWS[opening.opening.view])
    share = np.linspace(0, 1, 201)[:, None]
    line = bottom[axes] + share * (top - bottom)[axes]
    grid = opening.outline.grid
    point = grid.point(grid.uv_from_view(opening.opening.view, line, f"opening {opening.name!r}"))
    height = cut.height_above(grid, point)
    i = int(np.argmax(height > 0))
    part = height[i - 1] / (height[i - 1] - height[i])
    return point[i - 1] + part * (point[i] - point[i - 1])


@lru_cache(maxsize=64)
def middle_of(outline: Outline) -> tuple[np.ndarray, np.ndarray]:
    """Return the lowest and highest point of an outline at its middle, each (3,). [mm]

    The middle is halfway across the car, of side glass halfway along it.
    """
    loop = outline.grid.point(np.concatenate([outline.loop_uv, outline.loop_uv[:1]]))
    along = loop[:, 0 if outline.grid.kind == "side" else 1]
    off = along - (along.min() + along.max()) / 2
    at = np.nonzero((off[:-1] * off[1:] <= 0) & (off[:-1] != off[1:]))[0]
    part = (off[at] / (off[at] - off[at + 1]))[:, None]
    points = loop[at] + part * (loop[at + 1] - loop[at])
    return points[points[:, 2].argmin()], points[points[:, 2].argmax()]


def edge_in_plane(opening: GlassOpening, y_mm: float) -> tuple[np.ndarray, np.ndarray] | None:
    """Return the lowest and highest point of a pane's edge at y, each (3,), or None beside it. [mm]

    The edge is cut in the view in which it was measured, then carried onto
    the skin.
    """
    view, grid = opening.opening.view, opening.outline.grid
    loop = np.concatenate(outline_in_view(opening.opening))
    y = loop[:, VIEWS[view].index(1)] - y_mm
    at = np.nonzero((y[:-1] * y[1:] <= 0) & (y[:-1] != y[1:]))[0]
    if not len(at):
        return None
    part = (y[at] / (y[at] - y[at + 1]))[:, None]
    crossings = loop[at] + part * (loop[at + 1] - loop[at])
    points = grid.point(grid.uv_from_view(view, crossings, f"opening {opening.name!r}"))
    return points[points[:, 2].argmin()], points[points[:, 2].argmax()]


def window_report(built: Built) -> WindowReport:
    """Return rear window and windshield, before and after."""
    rear = pane_height(built, built.shape.rear_window)
    panes = [pane_height(built, pane) for pane in built.shape.windshield]
    rake, height, plumb = (
        np.mean([getattr(p, name) for p in panes], axis=0) for name in ("rake_deg", "height_mm", "plumb_mm")
    )
    return WindowReport(
        rear_rake_before_deg=rear.rake_deg[0],
        rear_rake_after_deg=rear.rake_deg[1],
        rear_forward_mm=built.window.forward_mm,
        rear_down_mm=built.window.down_mm,
        rear_lay_down_deg=built.window.lay_down_deg,
        rear_pivot_mm=tuple(built.window.pivot_mm.tolist()),
        rear_opening_change_mm=opening_change_mm(built),
        windshield_rake_before_deg=float(rake[0]),
        windshield_rake_after_deg=float(rake[1]),
        windshield_height_before_mm=float(height[0]),
        windshield_height_after_mm=float(height[1]),
        windshield_plumb_before_mm=float(plumb[0]),
        windshield_plumb_after_mm=float(plumb[1]),
        fit=built.panel_fit,
    )


def opening_change_mm(built: Built) -> float:
    """Return the largest change of any distance between 48 points of the rear opening's edge."""
    opening = built.shape.rear_window
    loop = opening.outline.loop_uv
    before = opening.outline.grid.point(loop[np.linspace(0, len(loop) - 1, 48).astype(int)])
    after = moved_outline(built, opening, before)
    change = [np.linalg.norm(p[:, None] - p[None], axis=2) for p in (before, after)]
    return float(np.abs(change[1] - change[0]).max())
