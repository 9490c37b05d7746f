"""The driver's view and head against published points and plain trigonometry."""

from dataclasses import replace

import numpy as np
import pytest
from invented_cars import box_car, tan

from model.evaluate import evaluate
from model.measured import Driver
from model.occupant import EYE_POINTS_MM, eye_points_mm
from model.plan import Plan, PostShift, RoofMove
from model.postsight import EYE_AHEAD_MM, obstruction_deg

SEAT = (900.0, -300.0, -400.0)
DROP = Plan(roof=RoofMove(front_drop_mm=50, rear_drop_mm=50))


def deg(radians):
    return float(np.degrees(radians))


def view(car, plan=None, **driver):
    return evaluate(replace(car, seat_mm=SEAT, driver=Driver(**driver)), plan).view


def sight(eye, *args, **driver):
    return next(s for s in view(*args, **driver).sights if s.eye == eye)


def test_eye_points_of_the_other_side_are_the_mirror_image():
    """Pm halves V1 and V2 in height, as 627 does (UN R125 ¶5.3, from memory)."""
    points, right = eye_points_mm((0.0, -1.0, 0.0)), eye_points_mm((0.0, 1.0, 0.0))
    assert (points["V1"][2] + points["V2"][2]) / 2 == points["Pm"][2] == 627
    for name in EYE_POINTS_MM:
        assert right[name] == pytest.approx(points[name] * [1, -1, 1])


def test_down_does_not_change_with_the_roof():
    s = sight("V2", box_car(), DROP)
    assert s.eye_mm == pytest.approx((968, -305, 189))
    assert s.down_after_deg == s.down_before_deg


def test_a_taller_owner_sees_less_up_and_has_less_room():
    """1900 mm: eyes 0.457 · 211.5 = 96.66 above Pm; crown 0.0702 · 1900 = 133.38 above them; roof's inside
    479, 429 when lowered."""
    seen = view(box_car(), DROP, stature_mm=1900.0)
    own = next(s for s in seen.sights if s.eye == "own")
    z = -400 + 627 + 0.457 * (1900 - 1688.5)
    assert own.eye_mm == pytest.approx((943.36, -300, z))
    assert own.up_after_deg == pytest.approx(deg(np.arctan2(350 - z, 943.36)), abs=1e-9)
    crown = z + 0.0702 * 1900
    assert seen.head.crown_mm == pytest.approx((1033.96, -300, crown))
    assert seen.head.clearance_before_mm == pytest.approx(479 - crown, abs=1e-6)
    assert seen.head.clearance_after_mm == pytest.approx(429 - crown, abs=1e-6)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize(("wide", "two"), [(40.0, 0.0), (65.0, 0.0), (138.573, 6.0)])
def test_a_plate_700_ahead(side, wide, two):
    """Its outer edge straight ahead of the outer eye, so the head is not turned: from the inner eye, 65
    further in, its inner edge is at atan((65 − wide) / 700).  Two eyes lose nothing to a plate as wide as
    they are apart, and 6° to one of 65 + 700 tan 6°."""
    neck = np.array([300.0, 120.0, 0.0])
    x, outer = 300 - EYE_AHEAD_MM - 700, 32.5
    plate = np.array([[x, 120 + side * outer, 0.0], [x, 120 + side * (outer - wide), 0.0]])
    got = obstruction_deg(neck, plate, plate, side)
    assert got[0] == pytest.approx(two, abs=1e-3)
    assert got[0] == pytest.approx(max(0.0, deg(np.arctan2(wide - 65, 700))), abs=1e-9)
    assert got[1] == pytest.approx(deg(np.arctan2(outer, 700) - np.arctan2(outer - wide, 700)), abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_the_head_turns_until_it_looks_at_the_outer_edge(seed):
    """The turn found by trial: the outer eye looks square to the line between the eyes."""
    rng = np.random.default_rng(seed)
    neck = rng.uniform(-50, 50, 3)
    section = neck + np.array([-800, 350, 0]) + rng.uniform(-90, 90, (12, 3)) * [1, 1, 0]

    def eyes(turn):
        ahead, across = np.array([-np.cos(turn), np.sin(turn)]), np.array([np.sin(turn), np.cos(turn)])
        middle = neck[:2] + np.sqrt(104**2 - 32.5**2) * ahead
        return middle + 32.5 * across, middle - 32.5 * across, ahead

    low, high = 0.0, np.pi / 2  # at the right turn nothing lies outward of the outer eye's line of sight
    for _ in range(60):
        turn = (low + high) / 2
        eye, _, ahead = eyes(turn)
        away = section[:, :2] - eye
        outward = (away @ [[ahead[1]], [-ahead[0]]]).max()
        low, high = (turn, high) if outward > 0 else (low, turn)
    _, inner, ahead = eyes(turn)
    away = section[:, :2] - inner
    least = np.arctan2(away[:, 1], -away[:, 0]).min()
    assert obstruction_deg(neck, section, section, 1.0)[0] == pytest.approx(deg(turn - least), abs=1e-9)
    assert turn > least


@pytest.mark.parametrize("lowered", [False, True])
def test_a_post_of_the_plumb_box(lowered):
    """A-post 60 × 40 about (70, ∓660), seen from P1 (935, −320, 227) on the near side.  Its foremost x = 40
    lies 903.36 ahead of Pm: S1 at 227 + 903.36 tan 2° = 258.55, S2 at 147.97.  Inner edge: the windshield's
    at (0, −460), ahead of the box.  Outer edge: the door glass' front line from (200, 60) to (450, 408) in
    y = −700.  The roof comes straight down by 50, so what lies above the cut at 240 is as before."""
    post = next(p for p in view(box_car(), DROP).posts if (p.post, p.side) == ("A", "left"))
    neck = np.array([935.0, -320.0])
    height = 227 - 903.36 * tan(5)
    door = np.array([200 + 250 * (height - 60) / 348, -700.0])  # below the cut, before and after
    away = door - neck
    turn = np.arctan2(-away[1], -away[0]) - np.arcsin(32.5 / np.hypot(*away))
    ahead, across = np.array([-np.cos(turn), -np.sin(turn)]), np.array([np.sin(turn), -np.cos(turn)])
    inner = neck + np.sqrt(104**2 - 32.5**2) * ahead - 32.5 * across
    away = np.array([0.0, -460.0]) - inner
    hidden = deg(turn - np.arctan2(-away[1], -away[0]))
    assert (post.two_eye_after_deg if lowered else post.two_eye_before_deg) == pytest.approx(hidden, abs=1e-3)


def test_glass_beside_a_shifted_post_goes_with_it():
    """B of the box stands about x = 750 beside the driver; its upper end slid back by 20 carries the sheet,
    glass edge to glass edge from 700 to 800, with it: the same as seen from a seat 20 further forward."""
    seat = (1000.0, -300.0, -250.0)  # eyes at 377, so S1 lies above the cut
    plan = replace(DROP, shifts=(PostShift(post="B", by=20.0),))
    car = replace(box_car(), seat_mm=seat)
    one = next(p for p in evaluate(car, plan).view.posts if (p.post, p.side) == ("B", "left"))
    moved = replace(car, seat_mm=(seat[0] - 20.0, *seat[1:]))
    other = next(p for p in evaluate(moved, DROP).view.posts if (p.post, p.side) == ("B", "left"))
    assert one.two_eye_before_deg != pytest.approx(one.two_eye_after_deg, abs=0.1)
    assert one.two_eye_after_deg == pytest.approx(other.two_eye_after_deg, abs=1e-6)


def test_what_the_mirror_shows():
    """Plumb rear window from z = 120 to 384, 600 wide, in x = 1500; mirror at (200, 0, 300), lowered by 50
    with the roof, the window cut across with its lower edge in the body.  Up and down from the mirror; the
    width from the eyes' image, |eye − mirror| ahead of it."""
    rear = view(box_car(), DROP, mirror_mm=(200.0, 0.0, 300.0)).rear
    assert rear.is_mirror_measured and rear.mirror_after_mm == pytest.approx((200, 0, 250))
    assert rear.up_before_deg == pytest.approx(deg(np.arctan2(84, 1300)), abs=1e-6)
    assert rear.down_before_deg == pytest.approx(deg(np.arctan2(180, 1300)), abs=1e-6)
    assert rear.up_after_deg == pytest.approx(deg(np.arctan2(84, 1300)), abs=1e-6)
    assert rear.down_after_deg == pytest.approx(deg(np.arctan2(130, 1300)), abs=1e-6)
    eye = np.linalg.norm([943.36 - 200, -300, 227 - 300])
    assert rear.width_before_deg == pytest.approx(2 * deg(np.arctan2(300, 1300 + eye)), abs=1e-6)
