"""Openings and flanges: closed forms on flat, cylindrical and spherical skins."""

from functools import lru_cache

import numpy as np
import pytest
import shapely
from invented_cars import bare_car, box_car, cylinder_hoops, flat_car, rectangle, varied_car

from model.carfile import demo_car_names, demo_car_path, read_car
from model.measured import Corner, Hoop, Opening
from model.outlines import line_at_distance, outline_in_view, outline_on_skin
from model.shape import shape_of
from model.skin import skin_of


def opening(corners, grid="roof", view="plan", name="rear window", role="rear window", side="centre"):
    return Opening(name=name, role=role, grid=grid, view=view, side=side, corners=corners)


def loop_mm(outline):
    uv = np.concatenate([outline.loop_uv, outline.loop_uv[:1]])
    return outline.grid.point(uv)


def length(points):
    return np.linalg.norm(np.diff(points, axis=0), axis=1).sum()


@pytest.mark.parametrize("radius", [0.0, 25.0, 60.0])
def test_rounded_rectangle_in_its_view(radius):
    """600 × 250: perimeter 2·850 − 8r + 2πr, area 600·250 − (4 − π) r²."""
    parts = outline_in_view(opening(rectangle((-300, 100), (300, 350), radius)))
    assert len(parts) == (8 if radius else 4)
    loop = np.concatenate([p[:-1] for p in parts])
    ring = shapely.Polygon(loop)
    assert ring.exterior.length == pytest.approx(1700 - 8 * radius + 2 * np.pi * radius, rel=2e-5)
    assert ring.area == pytest.approx(150000 - (4 - np.pi) * radius**2, rel=2e-5)
    for part, following in zip(parts, parts[1:] + parts[:1], strict=True):
        np.testing.assert_allclose(part[-1], following[0], atol=1e-9)


def test_corner_of_any_angle():
    """A corner of angle α rounded by r is cut off at r / tan(α / 2): area less by
    r² (1/tan(α/2) − (π − α)/2)."""
    corners = (
        Corner(across_mm=0, up_mm=0, radius_mm=20),
        Corner(across_mm=400, up_mm=0, radius_mm=30),
        Corner(across_mm=100, up_mm=300, radius_mm=10),
    )
    loop = np.concatenate([p[:-1] for p in outline_in_view(opening(corners))])
    xy = np.array([(c.across_mm, c.up_mm) for c in corners])
    lost = 0.0
    for i, c in enumerate(corners):
        a, b = xy[i - 1] - xy[i], xy[(i + 1) % 3] - xy[i]
        angle = np.arccos(a @ b / np.linalg.norm(a) / np.linalg.norm(b))
        lost += c.radius_mm**2 * (1 / np.tan(angle / 2) - (np.pi - angle) / 2)
    assert shapely.Polygon(loop).area == pytest.approx(0.5 * 400 * 300 - lost, rel=2e-5)


@pytest.mark.parametrize("rear", [0.0, 25.0])
def test_opening_of_a_flat_car_keeps_its_measures(rear):
    """Back leaning by c: heights in rear view are z; on the sheet they are z / cos c."""
    shape = shape_of(flat_car(rear_deg=rear, height_mm=480.0))
    points = loop_mm(shape.rear_window.outline)
    back_top = max(h.right_mm[2][2] for h in shape.car.hoops[-1:])
    np.testing.assert_allclose(points[:, 0], 1500 - points[:, 2] * np.tan(np.radians(rear)), atol=1e-9)
    assert (points[:, 2].min(), points[:, 2].max()) == pytest.approx((120, 0.8 * back_top), abs=1e-6)
    flat = shapely.Polygon(np.stack([points[:, 1], points[:, 2] / np.cos(np.radians(rear))], axis=1))
    area = (600 * (0.8 * back_top - 120) - (4 - np.pi) * 40**2) / np.cos(np.radians(rear))
    assert flat.area == pytest.approx(area, rel=3e-5)


def flat_distance(rear, distance):
    """The flange line and the opening of a flat back, in its own plane."""
    shape = shape_of(flat_car(rear_deg=rear))
    scale = [1, 1 / np.cos(np.radians(rear))]
    return (loop_mm(o)[:, 1:] * scale for o in (shape.rear_window.outline, shape.flange(distance)))


@pytest.mark.parametrize("rear", [0.0, 25.0])
@pytest.mark.parametrize("distance", [6.0, 19.05, 45.0])
def test_flange_on_a_flat_panel_is_the_parallel_line(rear, distance):
    inner, outer = flat_distance(rear, distance)
    ring = shapely.LinearRing(inner)
    off = shapely.distance(ring, shapely.points(outer))
    np.testing.assert_allclose(off, distance, atol=0.012)  # of the opening's chords
    # Parallel to a convex line: longer by 2πd.
    assert length(outer) - length(inner) == pytest.approx(2 * np.pi * distance, abs=0.03)


def cylinder_grid(radius=900.0):
    names, hoops = cylinder_hoops(radius, 40.0, (0.0, 200.0, 700.0, 950.0, 1500.0), 17)
    return skin_of(bare_car(names, hoops)).grids["roof"], 400 - radius * np.cos(np.radians(40.0))


def test_flange_on_a_cylinder_unrolls_to_the_parallel_line():
    """Developable: with (x, R θ) as plane coordinates the flange is the parallel of the unrolled opening.

    An offset taken in plan view would be cos θ narrower on the metal: 24 % at the sides here."""
    radius = 900.0
    grid, centre = cylinder_grid(radius)
    outline = outline_on_skin(opening(rectangle((400, -430), (1000, 430), 60.0)), grid)
    flange = line_at_distance(outline, 40.0, "flange")

    def unrolled(o):
        x, y, z = loop_mm(o).T
        return np.stack([x, radius * np.arctan2(y, z - centre)], axis=1)

    inner, outer = unrolled(outline), unrolled(flange)
    off = shapely.distance(shapely.LinearRing(inner), shapely.points(outer))
    np.testing.assert_allclose(off, 40.0, atol=0.02)
    assert length(outer) - length(inner) == pytest.approx(2 * np.pi * 40, abs=0.1)
    seen = np.abs(loop_mm(flange)[:, 1]).max() - np.abs(loop_mm(outline)[:, 1]).max()
    assert seen < 36  # in plan view


def test_flange_on_a_sphere_is_a_circle_of_larger_angle():
    """A circle of angle α about the crown (R sin α in plan) at distance d: α + d / R."""
    radius = 1500.0
    t = np.radians(np.linspace(-25, 25, 17))
    a = np.radians(np.linspace(25, 0, 17))
    names = ("belt", "gutter", *(f"row {i}" for i in range(15)), "crown")
    hoops = []
    for i, angle in enumerate(t):
        points = [
            (radius * np.cos(b) * np.sin(angle), radius * np.sin(b), radius * np.cos(b) * np.cos(angle))
            for b in a
        ]
        points[-1] = (points[-1][0], 0.0, points[-1][2])
        hoops.append(
            Hoop(
                name=f"h{i}",
                right_mm=tuple(
                    tuple(map(float, p)) for p in [(points[0][0], points[0][1], points[0][2] - 200), *points]
                ),
            )
        )
    grid = skin_of(bare_car(names, tuple(hoops))).grids["roof"]
    alpha = np.radians(9.0)
    r = radius * np.sin(alpha)
    square = rectangle((-r, -r), (r, r), r * (1 - 1e-9))  # all corner: a circle
    outline = outline_on_skin(opening(square), grid)
    flange = line_at_distance(outline, 60.0, "flange")
    angle = np.arccos(np.clip(loop_mm(flange)[:, 2] / np.linalg.norm(loop_mm(flange), axis=1), -1, 1))
    np.testing.assert_allclose(radius * (angle - alpha), 60.0, atol=0.01)
    assert length(loop_mm(flange)) == pytest.approx(
        2 * np.pi * radius * np.sin(alpha + 60 / radius), rel=1e-4
    )


@lru_cache(maxsize=8)
def measured_shape(key):
    return shape_of(varied_car(key) if isinstance(key, int) else read_car(demo_car_path(key)))


@pytest.mark.parametrize("key", [*demo_car_names(), 3, 6, 11])
@pytest.mark.parametrize("distance", [12.0, 19.05])
def test_flange_on_measured_skins_against_distance_in_space(key, distance):
    """No closed form: the straight distance in space from the flange to the opening's nearest chord is
    never more than the distance on the skin, and short of it by distance³/24R² (R ≥ 80 mm: 0.04 mm)."""
    shape = measured_shape(key)
    outline, flange = shape.rear_window.outline, shape.flange(distance)
    inner = loop_mm(outline)
    a, b = inner[:-1], inner[1:]
    points = loop_mm(flange)[:-1]
    share = np.einsum("nki,ki->nk", points[:, None] - a, b - a) / np.einsum("ki,ki->k", b - a, b - a)
    foot = a + np.clip(share, 0, 1)[:, :, None] * (b - a)
    off = np.linalg.norm(points[:, None] - foot, axis=2).min(axis=1)
    assert off.max() < distance + 0.01
    assert off.min() > distance - 0.05
    assert abs(off.mean() - distance) < 0.01


@pytest.mark.parametrize("key", [*demo_car_names(), 3, 6])
def test_outline_lies_where_it_was_measured(key):
    """Seen in its own view every point of the outline lies on the drawn one, to 1e-6."""
    shape = measured_shape(key)
    for o in shape.openings:
        axes = {"side": [0, 2], "front": [1, 2], "rear": [1, 2], "plan": [0, 1]}[o.opening.view]
        drawn = shapely.LinearRing(np.concatenate([p[:-1] for p in outline_in_view(o.opening)]))
        seen = o.outline.grid.point(o.outline.loop_uv)[:, axes]
        assert shapely.distance(drawn, shapely.points(seen)).max() < 1e-6
        assert shapely.Polygon(o.outline.loop_uv).exterior.is_ccw


def test_a_flange_too_wide_is_refused_with_the_width_that_fits():
    """Box car: opening 300 from the centre, panel half 700: 400 beside, 120 below, 96 above."""
    shape = shape_of(box_car())
    with pytest.raises(
        ValueError, match=r"flange is too wide: at 150\.0 mm .* runs off the back skin\. .*below"
    ) as refused:
        shape.flange(150.0)
    assert refused.value.parameter == "flange"
    assert shape.widest_flange_mm == pytest.approx(96.0, abs=0.1)


def test_an_opening_over_the_border_is_refused():
    grid = skin_of(box_car()).grids["back"]
    with pytest.raises(ValueError, match="off the measured skin|reaches the border"):
        outline_on_skin(opening(rectangle((-300, 0.0), (300, 200)), "back", "rear"), grid)
