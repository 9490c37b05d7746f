"""What runs into what: volumes and depths in closed form on flat sheets.

The box car's back is the plane x = 1500, its outside to the rear, its rear
window 600 wide; the roof is level at z = 480.  All sheets are t thick, inward
of the measured outside.
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import shapely
import shapely.affinity
from invented_cars import box_car, rectangle, varied_car

from model.carfile import demo_car_names, demo_car_path, read_car
from model.evaluate import build_checked
from model.interference import interference_of
from model.measured import KeepOut
from model.plan import Plan, RoofMove, WindowMove

T = 1.0
LOW, HIGH = 120.0, 0.8 * 480.0  # of the rear window
FLANGE, KERF = 20.0, 1.2


@lru_cache(maxsize=4)
def car_with_window(radius=5.0, keep_outs=()):
    car = box_car(gauge_mm=T, keep_outs=keep_outs)
    openings = tuple(
        replace(o, corners=rectangle((-300, LOW), (300, HIGH), radius)) if o.role == "rear window" else o
        for o in car.openings
    )
    return replace(car, openings=openings)


def found(car, plan):
    return {frozenset(i.pieces): i for i in interference_of(build_checked(car, plan))}


def window_only(**move):
    return Plan(window=WindowMove(flange_mm=FLANGE, **move), kerf_mm=KERF, root_gap_mm=0.8)


# ---------------------------------------------------------------- sheet in sheet


@pytest.mark.parametrize(("phi", "s"), [(30.0, 40.0), (40.0, 50.0), (15.0, 45.0), (30.0, 14.0), (40.0, 12.0)])
def test_two_flat_sheets_that_cross(phi, s):
    """The panel laid down by φ about its lower edge and set back by s sin φ crosses the back at s along
    it, below the hole: t² / sin φ for every mm of metal there.  Within the 20 mm flange that is the
    whole width, 640 less what the 25 mm corners take; above it the two side flanges, 2 · 20."""
    down = 95.0
    plan = window_only(forward_mm=-float(s * np.sin(np.radians(phi))), down_mm=down, lay_down_deg=phi)
    z = LOW - FLANGE - down + s * np.cos(np.radians(phi))
    assert z < LOW - FLANGE - KERF - 3 and z > 5
    items = found(car_with_window(), plan)
    item = items[frozenset(("body", "window panel"))]
    width = 2 * FLANGE if s > 30 else 640 - 2 * (25 - np.sqrt(25**2 - (25 - s) ** 2))
    assert item.volume_mm3 == pytest.approx(width * T * T / np.sin(np.radians(phi)), rel=0.01)
    np.testing.assert_allclose(item.at_mm, [1500, 0, z], atol=2.5)
    assert set(items) == {frozenset(("body", "window panel"))}


@pytest.mark.parametrize("off", [0.0, 0.3, 0.75, -0.4])
def test_two_flat_sheets_that_lap(off):
    """The panel 60 mm down and ``off`` forward laps the back below the hole: (t − |off|) times the lap's
    area, the panel's outline less the hole's.  Depth: the least way out square to the sheet, t − |off|."""
    plan = window_only(forward_mm=off, down_mm=60.0)
    item = found(car_with_window(), plan)[frozenset(("body", "window panel"))]
    opening = shapely.box(-300 + 5, LOW + 5, 300 - 5, HIGH - 5)
    panel = shapely.affinity.translate(opening.buffer(5 + FLANGE, quad_segs=64), 0, -60)
    hole = opening.buffer(5 + FLANGE + KERF, quad_segs=64)
    lap = panel.difference(hole)
    glass = shapely.affinity.translate(opening.buffer(5, quad_segs=64), 0, -60)
    area = lap.difference(glass).area
    assert item.volume_mm3 == pytest.approx(area * (T - abs(off)), rel=0.02)
    assert item.depth_mm == pytest.approx(T - abs(off), abs=0.15 * T)  # Gauss layers, not the faces


def test_a_panel_clear_of_the_back_by_more_than_the_gauge():
    assert found(car_with_window(), window_only(forward_mm=1.2, down_mm=60.0)) == {}
    assert found(car_with_window(), window_only(forward_mm=-1.2, down_mm=60.0)) == {}


def test_a_panel_that_only_turns_in_its_own_hole():
    """Laid down about its lower edge without going down the panel leaves its hole to the front."""
    assert found(car_with_window(), window_only(lay_down_deg=8.0, down_mm=0.0)) == {}


# ---------------------------------------------------------------- roof in keep-outs


def roof_down(keep_out, drop=60.0):
    car = car_with_window(5.0, (keep_out,))
    plan = Plan(roof=RoofMove(front_drop_mm=drop, rear_drop_mm=drop, fore_aft="straight-down"))
    return found(car, plan).get(frozenset(("roof", keep_out.name)))


@pytest.mark.parametrize(("radius", "above"), [(100.0, 40.0), (60.0, 10.0), (150.0, 140.0)])
def test_flat_roof_in_a_sphere(radius, above):
    """Slab of a sphere from h − t to h over its centre: π (R² t − (h³ − (h − t)³) / 3).  Deepest at h − t."""
    item = roof_down(
        KeepOut(name="head", shape="sphere", at_mm=(700.0, -100.0, 420.0 - above), radius_mm=radius)
    )
    exact = np.pi * (radius**2 * T - (above**3 - (above - T) ** 3) / 3)
    assert item.volume_mm3 == pytest.approx(exact, rel=0.02)
    assert item.depth_mm == pytest.approx(radius - above + T, abs=0.15)
    np.testing.assert_allclose(item.at_mm, [700, -100, 420 - T / 2], atol=0.5)
    assert item.area_mm2 == pytest.approx(item.volume_mm3 / T, rel=1e-6)


@pytest.mark.parametrize(("size", "up"), [((200.0, 300.0, 50.0), 20.0), ((90.0, 40.0, 400.0), -150.0)])
def test_flat_roof_in_a_box(size, up):
    """Area of the box times t; depth: to the nearest face."""
    item = roof_down(KeepOut(name="seat", shape="box", at_mm=(800.0, 50.0, 420.0 - up), size_mm=size))
    assert item.volume_mm3 == pytest.approx(size[0] * size[1] * T, rel=1e-6)
    expected = min(size[0] / 2, size[1] / 2, size[2] / 2 - abs(up - T / 2) + T / 2)
    assert item.depth_mm == pytest.approx(expected, abs=0.15 if expected < size[1] / 2 else 10.0)


@pytest.mark.parametrize("below", [10.0, 0.0, -12.0])
def test_flat_roof_in_a_roll_bar(below):
    """A bar across, R = 22, its axis ``below`` the outside of the roof: chords 2 √(R² − z²) over t."""
    bar = KeepOut(
        name="roll bar",
        shape="cylinder",
        at_mm=(900.0, -400.0, 420.0 - below),
        to_mm=(900.0, 400.0, 420.0 - below),
        radius_mm=22.0,
    )
    z = np.linspace(below - T, below, 2001)
    exact = 800 * np.trapezoid(2 * np.sqrt(22.0**2 - z**2), z)
    item = roof_down(bar)
    assert item.volume_mm3 == pytest.approx(exact, rel=0.05)  # 20 mm triangles on a 44 mm bar
    assert item.depth_mm == pytest.approx(22 - np.abs(z).min(), abs=1.0)


def test_a_keep_out_that_is_clear_is_not_reported():
    assert (
        roof_down(KeepOut(name="seat", shape="box", at_mm=(800.0, 50.0, 400.0), size_mm=(100.0, 100.0, 37.9)))
        is None
    )
    assert roof_down(KeepOut(name="head", shape="sphere", at_mm=(700.0, 0.0, 300.0), radius_mm=118.9)) is None


def test_post_walls_in_a_box():
    """Upper end of B, 60 × 40 × 1.5, upright; the box takes 50 mm of its length, whole section: the
    four walls, each the face's whole width times the wall: 200 · 1.5 · 50, the corners (4 · 1.5² · 50,
    3 % of it) counted with both faces they belong to."""
    box = KeepOut(name="bar mount", shape="box", at_mm=(750.0, 660.0, 300.0), size_mm=(100.0, 100.0, 50.0))
    car = car_with_window(5.0, (box,))
    plan = Plan(roof=RoofMove(front_drop_mm=60, rear_drop_mm=60, fore_aft="straight-down"))
    item = found(car, plan)[frozenset(("post B right upper", "bar mount"))]
    low, high = 200 * 1.5 * 50 - 4 * 1.5**2 * 50, 200 * 1.5 * 50
    assert low * 0.999 <= item.volume_mm3 <= high * 1.001
    assert frozenset(("post B left upper", "bar mount")) not in found(car, plan)


# ---------------------------------------------------------------- nothing where nothing moved


@pytest.mark.parametrize("name", demo_car_names())
def test_zero_plans_on_the_demo_cars(name):
    car = read_car(demo_car_path(name))
    assert interference_of(build_checked(car, Plan())) == []
    still = Plan(roof=RoofMove(fore_aft="straight-down"), window=WindowMove(down_mm=0.0), kerf_mm=1.2)
    assert interference_of(build_checked(car, still)) == []


@pytest.mark.parametrize("seed", [0, 2, 4, 7])
def test_no_plan_on_varied_cars(seed):
    assert interference_of(build_checked(varied_car(seed), Plan())) == []
