"""The case to hold by hand, on both sides and all edges.

d = 2.25 in, no pitch, windshield 32°, rear post −35°, posts lean 14° a side:

    slide = d tan 32° = 1.406 forward
    level cut:  take-out = d √(1 + tan² a + tan² b), miss across = d tan b
    square cut: take-out = −D·t with D = (−slide, 0, −d) and t the unit axis
    miss fore-and-aft = d tan a − slide

Derivation: the axis through C with direction t = (tan a, −tan b, 1)/√(1 + tan² a + tan² b)
reaches height d above a level cut after d √(…) of its length; moved by D the point there
lands at (d tan a − slide, −d tan b, 0) from C.
"""

import numpy as np
import pytest
from invented_cars import flat_car, tan

from model.evaluate import build_checked, evaluate
from model.outside.flatcabs import HAND_DROP as D
from model.outside.flatcabs import HAND_LEANS, INCH, hand_report
from model.plan import GivenPlane, Plan, PostCut, RoofMove


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize(("name", "lean"), HAND_LEANS)
def test_closed_forms_to_the_last_digit(side, name, lean):
    a, b = tan(lean), tan(14.0)
    slide = D * tan(32.0)
    post = hand_report("level").post(name, side)
    assert (post.lean_side_deg, post.lean_front_deg) == pytest.approx((lean, 14.0), abs=1e-9)
    assert post.drop_mm == pytest.approx(D, abs=1e-9)
    assert post.take_out_mm == pytest.approx(D * np.sqrt(1 + a * a + b * b), abs=1e-9)
    assert post.miss_fore_aft_mm == pytest.approx(D * a - slide, abs=1e-8)
    assert post.miss_across_mm == pytest.approx(D * b, abs=1e-9)
    assert post.tilt_deg == pytest.approx(0, abs=1e-6)
    # Removed, mark to mark: the root gap is square to the level plane.
    assert post.removed_mm == pytest.approx((D + 0.8) * np.sqrt(1 + a * a + b * b), abs=1e-9)
    for edge in post.edges:  # all five lines are parallel and both planes level
        assert edge.take_out_mm == pytest.approx(post.take_out_mm, abs=1e-9)
        assert edge.upper_mm[2] - edge.lower_mm[2] == pytest.approx(D + 0.8, abs=1e-9)
    t = np.array([a, (-1 if side == "right" else 1) * b, 1.0])
    t /= np.linalg.norm(t)
    square = hand_report("square").post(name, side)
    assert square.take_out_mm == pytest.approx(-np.array([-slide, 0, -D]) @ t, abs=1e-9)
    assert square.removed_mm - square.take_out_mm == pytest.approx(0.8, abs=1e-9)


@pytest.mark.parametrize("cut", ["square", GivenPlane(rises_rearward_deg=9, rises_inboard_deg=-6)])
def test_the_slide_does_not_depend_on_the_cut_plane(cut):
    """Whatever the plane, s = d tan a.  The miss in the plane is then D − (D·n/t·n) t, D = (−s, 0, −d),
    read along x made square to n."""
    car = flat_car(rake_deg=32.0, tumblehome_deg=14.0, rear_deg=35.0)
    plan = Plan(roof=RoofMove(front_drop_mm=D, rear_drop_mm=D), cuts=(PostCut(post="A", plane=cut),))
    report = evaluate(car, plan)
    assert report.totals.roof_forward_mm == pytest.approx(D * tan(32.0), abs=1e-9)
    for side, inboard in (("right", -1.0), ("left", 1.0)):
        t = np.array([tan(32.0), inboard * tan(14.0), 1.0])
        n = t if cut == "square" else np.array([-tan(9), -inboard * tan(-6), 1.0])
        n = n / np.linalg.norm(n)
        move = np.array([-D * tan(32.0), 0, -D])
        miss = move - (move @ n) / (t @ n) * t
        along = np.array([1.0, 0, 0]) - n[0] * n
        across = np.cross(n, along / np.linalg.norm(along))
        across *= np.sign(across[1] * inboard)
        post = report.post("A", side)
        assert post.miss_fore_aft_mm == pytest.approx(miss @ along / np.linalg.norm(along), abs=1e-8)
        assert post.miss_across_mm == pytest.approx(miss @ across, abs=1e-8)
        assert post.take_out_mm == pytest.approx(-(move @ n) / (t @ n) * np.linalg.norm(t), abs=1e-8)


def test_square_cut_without_tumblehome_slides_d_tan_a():
    car = flat_car(rake_deg=32.0)
    report = evaluate(car, Plan(roof=RoofMove(front_drop_mm=D, rear_drop_mm=D), cut="square"))
    assert report.totals.roof_forward_mm == pytest.approx(D * tan(32.0), abs=1e-9)
    assert report.post("A", "right").take_out_mm == pytest.approx(D / np.cos(np.radians(32.0)), abs=1e-9)


def test_the_built_move_is_what_the_report_says():
    built = build_checked(
        flat_car(rake_deg=32.0), Plan(roof=RoofMove(front_drop_mm=2 * INCH, rear_drop_mm=2 * INCH))
    )
    np.testing.assert_allclose(built.moves["roof"].rotation, np.eye(3), atol=1e-14)
    np.testing.assert_allclose(
        built.moves["roof"].translation_mm, [-2 * INCH * tan(32.0), 0, -2 * INCH], atol=1e-9
    )
