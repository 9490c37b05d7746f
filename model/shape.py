"""Everything about a car that no plan changes, worked out once."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from .cuts import RoofZones, Zones, zones_of
from .measured import Car, Opening
from .outlines import Outline, line_at_distance, outline_on_skin, widest_line_mm
from .placing import PostKey, front_posts, rear_posts
from .postlines import PostLine
from .skin import Skin, skin_of


@dataclass(frozen=True, eq=False)
class GlassOpening:
    """An opening of the car and its outline on the skin."""

    opening: Opening
    outline: Outline

    @property
    def name(self) -> str:
        """Name with its side, as in reports."""
        return self.outline.name


@dataclass(frozen=True, eq=False)
class CarShape:
    """Skin, openings and posts of one car."""

    car: Car
    skin: Skin
    openings: tuple[GlassOpening, ...]
    lines: dict[PostKey, PostLine]
    zones: dict[str, Zones | RoofZones]  # how the posts share every grid
    _flanges: dict = field(default_factory=dict, repr=False)

    @property
    def rear_window(self) -> GlassOpening:
        """The rear window's opening."""
        return next(o for o in self.openings if o.opening.role == "rear window")

    @property
    def windshield(self) -> tuple[GlassOpening, ...]:
        """The windshield's pane or panes."""
        return tuple(o for o in self.openings if o.opening.role == "windshield")

    def flange(self, distance_mm: float) -> Outline:
        """Return the line at a true distance around the rear window, remembered."""
        if distance_mm not in self._flanges:
            if len(self._flanges) > 64:
                self._flanges.clear()
            self._flanges[distance_mm] = line_at_distance(self.rear_window.outline, distance_mm, "flange")
        return self._flanges[distance_mm]

    @cached_property
    def widest_flange_mm(self) -> float:
        """Distance from the rear window at which its grid ends; kerf included."""
        return widest_line_mm(self.rear_window.outline)

    def centreline_of(self, outline: Outline) -> tuple[np.ndarray, np.ndarray]:
        """Return the lowest and highest point in which a line crosses y = 0, each (3,). [mm]"""
        uv = np.concatenate([outline.loop_uv, outline.loop_uv[:1]])
        y = outline.grid.point(uv)[:, 1]
        at = np.nonzero(y[:-1] * y[1:] <= 0)[0]
        at = at[y[at] != y[at + 1]]
        found = []
        for i in at:
            part = y[i] / (y[i] - y[i + 1])
            for _ in range(20):
                middle = uv[i] + part * (uv[i + 1] - uv[i])
                point, du, dv, _ = outline.grid.frame(middle[None])
                slope = (du[0, 1] * (uv[i + 1] - uv[i])[0]) + (dv[0, 1] * (uv[i + 1] - uv[i])[1])
                part -= point[0, 1] / slope
                if abs(point[0, 1]) < 1e-12:
                    break
            found.append(point[0])
        found.sort(key=lambda p: p[2])
        return found[0], found[-1]


def shape_of(car: Car) -> CarShape:
    """Return the geometry of a measured car before any plan.

    Raises
    ------
    MeasureError
        If an opening misses the skin it should lie in.
    """
    skin = skin_of(car)
    openings = tuple(
        GlassOpening(o, outline_on_skin(o, skin.grid_of(o.grid, o.side))) for o in car.all_openings()
    )
    lines = {(p.name, p.side): PostLine(p) for p in car.all_posts()}
    return CarShape(car, skin, openings, lines, _zones(car, skin, lines))


def _zones(car, skin, lines):
    return zones_of(lines, skin.grids.values(), front_posts(car), rear_posts(car))


def shape_near(car: Car, like: CarShape) -> CarShape:
    """Return the geometry of a car whose measures differ a little from those of ``like``.

    What is the same is taken over, so that what was worked out for it still
    serves; so are the spline parameters, and, where no post changed, how the
    posts share the skin between them.
    """
    skin = skin_of(car, like.skin)
    old = {(o.opening, id(o.outline.grid)): o for o in like.openings}
    openings = []
    for o in car.all_openings():
        grid = skin.grid_of(o.grid, o.side)
        openings.append(old.get((o, id(grid))) or GlassOpening(o, outline_on_skin(o, grid)))
    lines = {
        (p.name, p.side): like.lines[p.name, p.side] if p == like.lines[p.name, p.side].post else PostLine(p)
        for p in car.all_posts()
    }
    is_same = all(line is like.lines[key] for key, line in lines.items())
    zones = like.zones if is_same else _zones(car, skin, lines)
    shape = CarShape(car, skin, tuple(openings), lines, zones)
    if shape.rear_window is like.rear_window:
        shape._flanges.update(like._flanges)
    return shape
