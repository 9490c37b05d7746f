"""The picture from the driver's eye, read back from its pixels and held against the numbers of the view."""

import io
import re
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from model.carfile import demo_car_path, demo_plan_path, read_car
from model.evaluate import build_checked, fit_report_of
from model.eyeview import HIGH_DEG, PER_DEG, eye_drawing, hides_said, seen_deg
from model.occupant import driver_eye_mm, eye_points_mm
from model.output.pictures import WIDTH_PX, pictures_of, png_of
from model.piececolours import GLASS_COLOUR, rgb_of
from model.plan import Plan
from model.planfile import read_plan
from model.view import post_bands_deg
from model.viewreport import PostSight

Image = pytest.importorskip("PIL.Image")
CARS = ("coupe", "pickup")
PLANS = ("stock", "lowered")


@lru_cache
def pictured(name, which):
    """A plan, its report, and the picture as (glass or not, degrees of a column, degrees of a row)."""
    car = read_car(demo_car_path(name))
    plan = read_plan(demo_plan_path(name), car) if which == "lowered" else Plan()
    built = build_checked(car, plan)
    report = fit_report_of(built)
    svg = eye_drawing(built, report, sag_mm=0.4).svg(WIDTH_PX, 0.0, "eye")
    pixels = np.asarray(Image.open(io.BytesIO(png_of(svg))).convert("RGB"), int)
    left, top, wide, _ = (float(n) for n in re.search(r'viewBox="([^"]+)"', svg).group(1).split())
    per_pixel = wide / WIDTH_PX
    azimuth = (left + (np.arange(pixels.shape[1]) + 0.5) * per_pixel) / PER_DEG
    elevation = -(top + (np.arange(pixels.shape[0]) + 0.5) * per_pixel) / PER_DEG
    is_glass = np.abs(pixels - rgb_of(GLASS_COLOUR)).max(axis=2) < 6
    return built, report, is_glass, azimuth, elevation


def test_where_a_point_is_seen():
    eye = np.array([100.0, -350.0, 900.0])
    points = eye + [[-500, 0, 0], [-500, 500, 0], [-500, -500, 0], [0, 300, 0], [-300, 400, 500]]
    expected = [[0, 0], [45, 0], [-45, 0], [90, 0], [np.degrees(np.arctan2(4, 3)), 45]]
    assert seen_deg(points, eye) == pytest.approx(np.array(expected), abs=1e-12)


@pytest.mark.parametrize("which", PLANS)
@pytest.mark.parametrize("name", CARS)
def test_straight_ahead_the_glass_ends_where_the_view_says(name, which):
    """Up and down from the owner's eye, found in one plane: to two pixels and the line drawn there."""
    _, report, is_glass, azimuth, elevation = pictured(name, which)
    (own,) = (sight for sight in report.view.sights if sight.eye == "own")
    column = np.abs(azimuth + 0.3).argmin()  # just beside the line that is drawn at 0
    seen = elevation[is_glass[:, column]]
    assert (seen.max(), -seen.min()) == pytest.approx((own.up_after_deg, own.down_after_deg), abs=0.3)
    if which == "stock":
        assert own.up_after_deg == own.up_before_deg


@pytest.mark.parametrize("which", PLANS)
@pytest.mark.parametrize("name", CARS)
def test_a_bar_lies_where_no_glass_is_seen(name, which):
    """The inner end at the height of the plane 2° up through Pm, the outer one at that of 5° down."""
    built, _, is_glass, azimuth, elevation = pictured(name, which)
    car = built.shape.car
    eye, middle = (
        driver_eye_mm(car.seat_mm, car.driver),
        eye_points_mm(car.seat_mm, car.driver.back_deg)["Pm"],
    )
    bands = post_bands_deg(built, eye)
    for side, way in (("left", -1), ("right", 1)):
        away = built.shape.lines["A", side].lines(np.full(5, 0.5))[0] - eye
        for climb, edge, outward in zip((2.0, -5.0), bands["A", side], (-way, way), strict=True):
            height = middle[2] + np.tan(np.radians(climb)) * (middle[0] - eye[0] - away[0]) - eye[2]
            row = is_glass[np.abs(elevation - np.degrees(np.arctan2(height, np.hypot(*away[:2])))).argmin()]
            near = np.abs(azimuth - edge) < 4
            glass, dark = azimuth[near & row] * outward, azimuth[near & ~row] * outward
            assert len(dark) > 20 and len(glass) > 20
            assert (glass.min() + dark.max()) / 2 == pytest.approx(edge * outward, abs=0.35)
            assert glass.min() > dark.max() - 0.2  # one edge, and dark towards the post


@pytest.mark.parametrize("name", CARS)
def test_a_lower_roof_takes_glass_away(name):
    """Count of pixels; and above the frame's top nothing is drawn."""
    stock, lowered = pictured(name, "stock"), pictured(name, "lowered")
    assert lowered[2].sum() < 0.9 * stock[2].sum()
    assert not lowered[2][lowered[4] > HIGH_DEG].any()


def test_pictures_have_it_where_a_seat_was_measured():
    built, report, *_ = pictured("coupe", "lowered")
    pictures = pictures_of(built, report)
    for state in ("before", "after"):
        assert "A left hides" in pictures[f"drivers-eye-{state}"]
    assert "before</text>" in pictures["drivers-eye-after"]
    assert "stroke-dasharray" not in pictures["drivers-eye-before"]
    seatless = build_checked(replace(built.shape.car, seat_mm=None), built.plan)
    assert not any("eye" in name for name in pictures_of(seatless, fit_report_of(seatless)))


def test_what_a_post_hides_in_words():
    post = PostSight(
        post="A",
        side="left",
        two_eye_before_deg=5.04,
        two_eye_after_deg=5.76,
        one_eye_before_deg=9.0,
        one_eye_after_deg=9.0,
    )
    assert hides_said(post) == "A left hides 5.8° from both eyes, 5.0° before"
    assert hides_said(replace(post, two_eye_after_deg=5.01)) == "A left hides 5.0° from both eyes"
    assert hides_said(replace(post, two_eye_before_deg=None)) == "A left hides 5.8° from both eyes"
    assert "not measured" in hides_said(replace(post, two_eye_after_deg=None))
