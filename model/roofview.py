"""The 3-D view: the chopped shell in place over a ghost of stock, seams coloured by how they fit.

Triangles are sent where they were on the uncut car and put in place by a
matrix, so that a piece that only moves sends 16 numbers.  Nothing is drawn
until :meth:`RoofView.show` has changed everything it has to, and then once.
"""

from __future__ import annotations

from itertools import groupby

import k3d
import numpy as np

from .built import Built
from .display import KEEP_OUT, POST, edge_lines, ghost_of, joined, patches_of, stock_edges, thinned
from .layout import BODY, METAL, PANE, WASTE
from .measured import Car
from .numeric import cross, unit
from .report import Report
from .seamcolours import class_of
from .silhouette import GLASS_COLOUR, INK, KEEP_OUT_COLOUR, SLUG_COLOUR, STOCK_INK, VIEWS, colour_of

FIELD_OF_VIEW_DEG = 16.0  # nearly parallel; the same in every view
BACKGROUND = 0xF6F7F8
SEAM_RADIUS_MM = 9.0
UPPER_SHELL, UPPER_PANES = MOVING = "upper shell", "upper panes"
LIFT_MM = 3.5  # edges are drawn this far outside the skin, so that they are not half hidden in it


class RoofView:
    """The plot, its objects by name, and which of them are wanted.

    Attributes
    ----------
    plot : k3d.Plot
        The widget to display.
    """

    def __init__(self, height: int = 380, antialias: int = 1):
        self.plot = k3d.plot(
            height=height,
            antialias=antialias,
            camera_auto_fit=False,
            grid_visible=False,
            menu_visibility=False,
            logarithmic_depth_buffer=False,
            axes_helper=0,
            camera_fov=FIELD_OF_VIEW_DEG,
            camera_mode="orbit",
            camera_up_axis="z",
            background_color=BACKGROUND,
            lighting=1.7,
            render_on_change=False,
        )
        self._objects: dict[str, k3d.objects.Drawable] = {}
        self._wanted = {"ghost": True, "slugs": False, "seams": True, "keep-outs": True}
        self._last: tuple[Built, Report] | None = None
        self._points = np.zeros((1, 3))

    def look_at(self, car: Car):
        """Take the measure of a car, for the views."""
        sides = [hoop.side_mm(side) for hoop in car.hoops for side in ("right", "left")]
        self._points = np.array(sides).reshape(-1, 3)

    def look_from(self, name: str, aspect: float = 1.95):
        """Turn to one of :data:`model.silhouette.VIEWS`, the whole car in sight."""
        view = VIEWS[name]
        seen = self._points @ view.axes.T
        low, high = seen.min(axis=0), seen.max(axis=0)
        centre = (low + high) / 2 @ view.axes
        half = (high - low) / 2
        tangent = np.tan(np.radians(FIELD_OF_VIEW_DEG / 2))
        distance = max(half[1], half[0] / aspect) * 1.04 / tangent + half[2] / 2
        at = centre + distance * view.axes[2]
        self.plot.camera = [float(x) for x in (*at, *centre, *view.up)]
        self.plot.render()

    def want(self, name: str, is_wanted: bool):
        """Show or hide the ghost, the slugs, the seams or the keep-outs."""
        self._wanted[name] = is_wanted
        if self._last:
            self.show(*self._last)

    def show(self, built: Built, report: Report):
        """Show a plan: change what differs from the last one, then draw once."""
        self._last, shown = (built, report), set()
        for name, patches in _groups(patches_of(built)):
            if not self._is_wanted(name):
                continue
            if name in MOVING:  # in place and in as few objects as can be: each one costs a message
                patches = [each.moved(built.moves[each.carrier]) for each in patches]
            patch = joined(patches)
            look = {"color": _colour(patch), **_surface(patch)}
            if name == UPPER_SHELL:
                counts = [len(each.point_mm) for each in patches]
                look = {"colors": np.repeat(np.uint32([_colour(each) for each in patches]), counts)}
            self._mesh(name, patch, look)
            shown.add(name)
        if (built.plan.roof or built.plan.window) and self._is_wanted("ghost"):
            self._mesh("ghost", joined(ghost_of(built)), _GHOST)
            self._lines("ghost edges", stock_edges(built.shape), STOCK_INK)
            shown |= {"ghost", "ghost edges"}
        self._lines("edges", edge_lines(built.layout, built.moves), INK)
        shown.add("edges")
        if report.seams and self._is_wanted("seams"):
            self._seams(report)
            shown.add("seams")
        for name, thing in self._objects.items():
            if thing.visible != (name in shown):
                thing.visible = name in shown
        self.plot.render()

    def _is_wanted(self, name):
        return self._wanted.get(name.split()[0], True)

    def _mesh(self, name, patch, look):
        values = {
            "vertices": np.float32(patch.point_mm),
            "indices": np.uint32(patch.triangles),
            "normals": np.float32(patch.normal),
        }
        if "colors" in look:
            values["colors"], look = look["colors"], {"roughness": 0.45}
        fixed = {"flat_shading": False, "side": "double", "name": name}
        self._put(name, values, lambda: k3d.mesh(**values, **look, **fixed))

    def _lines(self, name, edges, ink):
        points, normals, counts = thinned(edges, LIFT_MM / 4)
        points = points + LIFT_MM * normals
        start = np.arange(len(points) - 1)
        start = start[~np.isin(start, np.cumsum(counts) - 1)]
        values = {"vertices": np.float32(points), "indices": np.uint32(np.stack([start, start + 1], 1))}
        look = {"color": int(ink[1:], 16), "shader": "simple", "indices_type": "segment", "name": name}
        self._put(name, values, lambda: k3d.lines(**values, **look))

    def _seams(self, report):
        point, triangles, colours = seam_tubes(report)
        values = {
            "vertices": np.float32(point),
            "indices": np.uint32(triangles),
            "colors": np.uint32(colours),
        }
        look = {"flat_shading": False, "side": "double", "roughness": 1.0, "name": "seams"}
        self._put("seams", values, lambda: k3d.mesh(**values, **look))

    def _put(self, name, values, make):
        """Make an object, or change those of its values that differ."""
        thing = self._objects.get(name)
        if thing is None:
            self._objects[name] = thing = make()
            self.plot += thing
            return
        changed = {k: v for k, v in values.items() if not np.array_equal(getattr(thing, k), v)}
        if changed:
            with thing.hold_sync():
                for trait, value in changed.items():
                    setattr(thing, trait, value)


_GHOST = {"color": 0x8796A5, "opacity": 0.16, "roughness": 1.0}


def _groups(patches):
    """Return (name, patches) for what moves together and looks alike; what never changes apart."""

    def name_of(patch):
        if patch.role == KEEP_OUT:
            return "keep-outs"
        if patch.role == WASTE:
            return f"slugs {patch.carrier}"
        if patch.carrier != BODY:
            return UPPER_PANES if patch.role == PANE else UPPER_SHELL
        kind = patch.grid.kind if patch.role == METAL else ""
        return f"{patch.role} {patch.carrier}{' top' if kind == 'roof' else ''}"

    return [(name, list(group)) for name, group in groupby(sorted(patches, key=name_of), key=name_of)]


def _surface(patch):
    """Return how a patch takes the light."""
    if patch.role == PANE:
        return {"opacity": 0.38, "roughness": 0.08}
    if patch.role == KEEP_OUT:
        return {"opacity": 0.28, "roughness": 1.0}
    return {"roughness": 0.7 if patch.role == WASTE else 0.45}


def _colour(patch):
    """Return a patch's colour as one number."""
    fixed = {PANE: GLASS_COLOUR, KEEP_OUT: KEEP_OUT_COLOUR, WASTE: SLUG_COLOUR}
    colour = int(fixed.get(patch.role, colour_of(patch.carrier))[1:], 16)
    if patch.role == POST:
        colour = sum(((colour >> shift & 0xFF) * 6 // 10) << shift for shift in (16, 8, 0))
    return colour


def seam_tubes(report: Report):
    """Return points, triangles and packed colours of a tube along every seam.

    The colour is that of the class of gap (:mod:`model.seamcolours`);
    overlaps are beaded, so that they can be told apart without colour.
    """
    starts, ends, gaps = [np.empty((0, 3))], [np.empty((0, 3))], [np.empty(0)]
    for seam in report.seams:
        at = np.array([s.at_mm for s in seam.stations]).reshape(-1, 3)
        if len(at) < 2:
            continue
        gap = np.array([s.gap_mm for s in seam.stations])
        step = np.linalg.norm(np.diff(at, axis=0), axis=1)
        is_joined = step < 2.2 * np.median(step)  # stations of another edge of the seam lie further off
        starts.append(at[:-1][is_joined])
        ends.append(at[1:][is_joined])
        gaps.append((gap[:-1] + gap[1:])[is_joined] / 2)
    start, end = np.concatenate(starts), np.concatenate(ends)
    kinds = [class_of(gap) for gap in np.concatenate(gaps)]
    bead = np.array([0.55 if kind.is_overlap else 1.0 for kind in kinds]).reshape(-1, 1)
    along = unit(end - start + 1e-9)
    across = unit(cross(along, np.where(np.abs(along[:, 2:]) < 0.9, (0.0, 0.0, 1.0), (1.0, 0.0, 0.0))))
    around = (np.arange(6) * np.pi / 3)[None, :, None]
    ring = np.cos(around) * across[:, None] + np.sin(around) * cross(along, across)[:, None]
    both = np.stack([start, start + bead * (end - start)], axis=1)
    points = both[:, :, None] + SEAM_RADIUS_MM * ring[:, None]
    triangles = _TUBE[None] + 12 * np.arange(len(start))[:, None, None]
    colours = np.repeat([int(kind.colour[1:], 16) for kind in kinds], 12)
    return points.reshape(-1, 3), triangles.reshape(-1, 3), colours


def _tube_triangles():
    i = np.arange(6)
    j = (i + 1) % 6
    return np.concatenate([np.stack(t, 1) for t in ((i, j, i + 6), (j, j + 6, i + 6))])


_TUBE = _tube_triangles()
