"""What the driver sees: windshield, posts and rear window, before and after.

**Windshield.**  In the plane y = y_eye the elevation of a point P from an eye E
is atan2(P_z − E_z, E_x − P_x), taken for the lowest and highest point of the
pane's edge in that plane.  The roof's moves keep y, so a point of the plane
stays in it; a half of a split roof brings another point of its edge into it.

**Posts.**  See :mod:`model.postsight`.

**Rear window.**  Up and down: elevations of the window's upper and lower edge,
at its middle, from the middle of the mirror, which can be tilted to any of
them.  Width: seen from the image of the eyes in the mirror (49 CFR 571.111
S5.1.1, from memory: the projected eye point), as far ahead of it as the eyes
are from it, in line with the middle of the window.  The mirror's own size is
not measured.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from .built import Built
from .glass import PaneHeight, edge_in_plane, middle_of, pane_between
from .layout import WINDOW
from .measured import Point
from .occupant import AS_IT_STANDS, crown_mm, eye_points_mm, head_clearance_mm, own_eye_mm
from .placing import PostKey, front_posts
from .postsight import PostAhead, band_deg, hidden_deg, post_ahead, post_sections
from .shape import CarShape, GlassOpening
from .viewreport import HeadReport, PostSight, RearSight, Sight, View

MIRROR_BELOW_MM = MIRROR_BEHIND_MM = 75.0  # from the windshield's top; common practice, no source

NO_SEAT = (
    "Measure the seat reference point (seat = [x, y, z]: where the hip of a seated driver turns) "
    "for headroom and view."
)
NO_STATURE = "Give the driver's stature ([driver] stature) for the owner's own view and room over the head."
NO_MIRROR = (
    "Measure the middle of the inside mirror ([driver] mirror): the view behind is told from one assumed "
    "3 in below and behind the top of the windshield."
)

Pane = tuple[GlassOpening, np.ndarray, np.ndarray]  # and its bottom and top in one plane


@dataclass(frozen=True, eq=False)
class _Lookout:
    """All of the driver's view that no plan changes."""

    eyes: dict[str, np.ndarray]
    panes: dict[str, Pane | None]  # ahead of each eye
    posts: tuple[PostAhead, ...]
    hidden_before: tuple[tuple[float | None, float | None], ...]
    mirror_mm: np.ndarray
    rear: Pane
    rear_edge_mm: np.ndarray  # once around the rear window
    clearance_mm: float | None  # over the owner's head


def view_report(built: Built) -> View:
    """Return the driver's view before and after a plan; empty, saying why, without a seat."""
    car = built.shape.car
    if car.seat_mm is None:
        return View(sights=(), posts=(), rear=None, head=None, to_measure=(NO_SEAT,))
    lookout = _lookout(built.shape)
    missing = []
    if car.driver.stature_mm is None:
        missing.append(NO_STATURE)
    if car.driver.mirror_mm is None:
        missing.append(NO_MIRROR)
    return View(
        sights=_sights(built, lookout),
        posts=_post_sights(built, lookout),
        rear=_rear_sight(built, lookout),
        head=_head(built, lookout),
        to_measure=tuple(missing),
    )


@lru_cache(maxsize=8)
def _lookout(shape: CarShape) -> _Lookout:
    car = shape.car
    eyes = eye_points_mm(car.seat_mm, car.driver.back_deg)
    looking = ["V1", "V2"]
    if car.driver.stature_mm is not None:
        eyes["own"] = own_eye_mm(car.seat_mm, car.driver)
        looking.append("own")
    panes = {}
    for eye in looking:
        ahead = ((pane, edge_in_plane(pane, eyes[eye][1])) for pane in shape.windshield)
        panes[eye] = next(((pane, *ends) for pane, ends in ahead if ends is not None), None)
    edges = [(o, o.outline.grid.point(o.outline.loop_uv)) for o in shape.openings]
    posts = tuple(p for key in shape.lines if (p := post_ahead(shape, key, eyes, edges)) is not None)
    before = tuple(hidden_deg(posts, None, eyes["Pm"]))
    rear = shape.rear_window
    (rear_edge,) = (points for opening, points in edges if opening is rear)
    return _Lookout(
        eyes=eyes,
        panes=panes,
        posts=posts,
        hidden_before=before,
        mirror_mm=_mirror_mm(shape),
        rear=(rear, *middle_of(rear.outline)),
        rear_edge_mm=rear_edge,
        clearance_mm=_clearance_mm(shape, AS_IT_STANDS),
    )


# ---------------------------------------------------------------- ahead


def _sights(built, lookout):
    moved: dict[float, PaneHeight] = {}  # V1 and V2 look through the same place
    sights = []
    for eye, pane in lookout.panes.items():
        at = lookout.eyes[eye]
        up, down = (None, None), (None, None)
        if pane is not None:
            if at[1] not in moved:
                moved[at[1]] = _pane_after(built, pane, at[1])
            ends = moved[at[1]]
            up = tuple(_elevation_deg(at, p) for p in (ends.top_before, ends.top_after))
            down = tuple(-_elevation_deg(at, p) for p in (ends.bottom_before, ends.bottom_after))
        sights.append(
            Sight(
                eye=eye,
                eye_mm=_point(at),
                up_before_deg=up[0],
                up_after_deg=up[1],
                down_before_deg=down[0],
                down_after_deg=down[1],
            )
        )
    return tuple(sights)


def _pane_after(built, pane, y_mm):
    """Return a pane in the plane y before and after; its upper end is what a split roof brings there."""
    opening, bottom, top = pane
    before = pane_between(built, opening, bottom, top)
    if built.parts.y_before_mm(y_mm) == y_mm:
        return before
    brought = edge_in_plane(opening, built.parts.y_before_mm(y_mm))
    if brought is None:  # the pane ends short of it: its own top stands for that
        return before
    after = pane_between(built, opening, bottom, brought[1])
    return replace(after, bottom_before=before.bottom_before, top_before=before.top_before)


def _elevation_deg(eye, point):
    """Return how far a point lies above level, seen from an eye. [deg]"""
    away = point - eye
    return float(np.degrees(np.arctan2(away[2], np.hypot(away[0], away[1]))))


def _point(xyz) -> Point:
    return tuple(float(c) for c in xyz)


def _post_sights(built, lookout):
    hidden_after = lookout.hidden_before
    if built.ends:
        ends = [built.ends[post.key] for post in lookout.posts]
        hidden_after = hidden_deg(lookout.posts, ends, lookout.eyes["Pm"])
    return tuple(
        PostSight(
            post=post.key[0],
            side=post.key[1],
            two_eye_before_deg=before[0],
            two_eye_after_deg=after[0],
            one_eye_before_deg=before[1],
            one_eye_after_deg=after[1],
        )
        for post, before, after in zip(lookout.posts, lookout.hidden_before, hidden_after, strict=True)
    )


def post_bands_deg(built: Built, eye_mm) -> dict[PostKey, tuple[float, float]]:
    """Return azimuths of the both edges of every post ahead, from a point, + to the right. [deg]

    The edges are those of the sections that tell what a post hides, where the plan leaves it.
    """
    lookout = _lookout(built.shape)
    ends = [built.ends[post.key] for post in lookout.posts] if built.ends else None
    sections = post_sections(lookout.posts, ends, lookout.eyes["Pm"])
    return {
        post.key: band_deg(eye_mm, *found, side=post.side)
        for post, found in zip(lookout.posts, sections, strict=True)
        if found is not None
    }


# ---------------------------------------------------------------- to the rear


def _mirror_mm(shape):
    """Return the middle of the inside mirror: measured, or under the middle of the windshield's top."""
    if shape.car.driver.mirror_mm is not None:
        return np.array(shape.car.driver.mirror_mm)
    tops = []
    for pane in shape.windshield:
        y = pane.outline.grid.point(pane.outline.loop_uv)[:, 1]
        inner = y[np.abs(y).argmin()] if y.min() * y.max() > 0 else 0.0
        far = y[np.abs(y).argmax()]
        tops.append(edge_in_plane(pane, 0.8 * inner + 0.2 * far if inner else 0.0)[1])
    top = np.mean(tops, axis=0)
    return np.array([top[0] + MIRROR_BEHIND_MM, 0.0, top[2] - MIRROR_BELOW_MM])


def _rear_sight(built, lookout):
    """The mirror goes with the roof where it hangs above the A-posts' cuts."""
    eye, mirror = lookout.eyes["Pm"], lookout.mirror_mm
    moved = mirror
    if built.ends:
        cuts = [built.ends[key].plane.point_mm[2] for key in front_posts(built.shape.car)]
        moved = built.parts.points(mirror) if mirror[2] > np.mean(cuts) else mirror
    pane = pane_between(built, *lookout.rear)
    edge = lookout.rear_edge_mm
    before = _behind_deg(eye, mirror, pane.bottom_before, pane.top_before, edge)
    after = _behind_deg(eye, moved, pane.bottom_after, pane.top_after, _rear_edge_after(built, edge))
    return RearSight(
        mirror_before_mm=_point(mirror),
        mirror_after_mm=_point(moved),
        is_mirror_measured=built.shape.car.driver.mirror_mm is not None,
        up_before_deg=before[0],
        up_after_deg=after[0],
        down_before_deg=before[1],
        down_after_deg=after[1],
        width_before_deg=before[2],
        width_after_deg=after[2],
    )


def _rear_edge_after(built, edge):
    """Return points of the rear window's edge where the plan puts them; what is cut out is left out."""
    if built.plan.window is not None:
        return built.moves[WINDOW].points(edge)
    if built.upper is None:
        return edge
    grid = built.shape.rear_window.outline.grid
    stays = built.lower.height_above(grid, edge) <= 0
    comes_down = built.upper.height_above(grid, edge) >= 0
    return np.concatenate([edge[stays], built.parts.points(edge[comes_down])])


def _behind_deg(eye, mirror, bottom, top, edge):
    """Return elevation of a window's top, depression of its bottom, and its width, in the mirror. [deg]"""
    ahead = (mirror - (bottom + top) / 2) * [1.0, 1.0, 0.0]
    away = edge - (mirror + np.linalg.norm(eye - mirror) * ahead / np.linalg.norm(ahead))
    width = np.degrees(np.ptp(np.arctan2(away[:, 1], away[:, 0])))
    return _elevation_deg(mirror, top), -_elevation_deg(mirror, bottom), float(width)


# ---------------------------------------------------------------- head


def _clearance_mm(shape, parts):
    car = shape.car
    if car.driver.stature_mm is None:
        return None
    return head_clearance_mm(shape.skin.grids["roof"], car.gauge_mm, car.seat_mm, car.driver, parts)


def _head(built, lookout):
    car = built.shape.car
    if car.driver.stature_mm is None:
        return None
    after = lookout.clearance_mm
    if built.ends:
        after = _clearance_mm(built.shape, built.parts)
    return HeadReport(
        stature_mm=car.driver.stature_mm,
        crown_mm=_point(crown_mm(car.seat_mm, car.driver)),
        clearance_before_mm=lookout.clearance_mm,
        clearance_after_mm=after,
    )
