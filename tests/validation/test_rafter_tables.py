"""Leaning posts against the carpenters' rafter tables.

Read ``p in 12`` as inches of lean to 12 in of plumb height: the table's length
is inches of post to 12 in of plumb drop.  The hip row is a post that leans 12
in 12 one way and p in 12 the other.

V: figure read in a stored page.  M: from memory.  C: closed form.
"""

import numpy as np
import pytest

from model.measured import Post
from model.moves import translation
from model.plan import PostCut
from model.posts import PostLine, cut_plane, post_ends

INCH = 25.4
P = range(2, 19)
# V: instructables.com/id/How-To-Make-A-Common-Rafter-For-Any-Width-Structur/step4, "Length per foot of run"
COMMON = [
    12.17,
    12.37,
    12.65,
    13.00,
    13.42,
    13.89,
    14.42,
    15.00,
    15.62,
    16.28,
    16.97,
    17.69,
    18.44,
    19.21,
    20.00,
    20.81,
    21.63,
]
# C, rounded (the squares print the same: M)
HIP = [
    17.09,
    17.23,
    17.44,
    17.69,
    18.00,
    18.36,
    18.76,
    19.21,
    19.70,
    20.22,
    20.78,
    21.38,
    22.00,
    22.65,
    23.32,
    24.02,
    24.74,
]
# V: roofonline.com/hip-and-valley-factor-table, factors and angles
HIP_FACTOR = [
    1.4240,
    1.4362,
    1.4529,
    1.4743,
    1.5000,
    1.5298,
    1.5635,
    1.6008,
    1.6415,
    1.6853,
    1.7321,
    1.7815,
    1.8333,
    1.8874,
    1.9437,
    2.0017,
    2.0616,
]
LEAN = [
    9.46,
    14.04,
    18.43,
    22.62,
    26.57,
    30.26,
    33.69,
    36.87,
    39.81,
    42.51,
    45.00,
    47.29,
    49.40,
    51.34,
    53.13,
    54.78,
    56.31,
]


def ends_of(lean_x, lean_inboard, drop_in, *, side="right", plane="level"):
    """A straight post that leans so many units to one unit of height, dropped plumb."""
    sign = -1 if side == "right" else 1
    up = 5000.0
    foot = (0.0, 9000.0 * -sign, 0.0)
    top = (lean_x * up, foot[1] + sign * lean_inboard * up, up)
    post = Post(
        name="A",
        side=side,
        axis_mm=(foot, top),
        width_mm=50.0,
        depth_mm=40.0,
        wall_mm=1.5,
        cut_from_mm=400.0,
        cut_to_mm=4600.0,
        cut_at_mm=500.0,
    )
    line = PostLine(post)
    move = translation(0, 0, -drop_in * INCH)
    return post_ends(
        line, cut_plane(line, PostCut(post="A", plane=plane)), move, kerf_mm=1.2, root_gap_mm=0.8
    )


@pytest.mark.parametrize(("p", "table", "lean"), list(zip(P, COMMON, LEAN, strict=True)))
def test_common_row_three_inches_plumb(p, table, lean):
    ends = ends_of(p / 12, 0.0, 3.0)
    take_out = ends.take_out_mm[0] / INCH
    assert take_out == pytest.approx(3 * table / 12, abs=3 * 0.005 / 12 + 1e-12)  # the table's rounding
    assert take_out == pytest.approx(3 * np.hypot(12, p) / 12, abs=1e-12)
    assert ends.lean_deg[0] == pytest.approx(lean, abs=0.005)
    assert ends.miss_mm[0] / INCH == pytest.approx(3 * p / 12, abs=1e-12)  # drop · tan(lean)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize(("p", "table", "factor"), list(zip(P, HIP, HIP_FACTOR, strict=True)))
def test_hip_row_three_inches_plumb_in_a_compound_lean(p, table, factor, side):
    for lean_x, lean_in in ((1.0, p / 12), (p / 12, 1.0)):
        ends = ends_of(lean_x, lean_in, 3.0, side=side)
        take_out = ends.take_out_mm[0] / INCH
        assert take_out == pytest.approx(3 * table / 12, abs=3 * 0.005 / 12)
        assert take_out == pytest.approx(3 * factor, abs=3 * 0.001 / 12)  # factor × 12 within 0.001
        assert take_out == pytest.approx(3 * np.sqrt(288 + p * p) / 12, abs=1e-12)
        assert ends.miss_mm == pytest.approx((3 * lean_x * INCH, 3 * lean_in * INCH), abs=1e-9)


def test_unit_run_of_a_hip():
    """V: Griffith, Carpentry, ch. 20: 16.97 in, "17 in carpentry"."""
    ends = ends_of(1.0, 1.0, 12.0)
    assert np.hypot(*ends.miss_mm) / INCH == pytest.approx(16.97, abs=0.005)


def test_seven_in_twelve_three_inches():
    """C: 3.4731 in exact; 3.4725 from the rounded table."""
    assert ends_of(7 / 12, 0, 3.0).take_out_mm[0] / INCH == pytest.approx(3.4731, abs=5e-5)


def test_navy_builder_course():
    """V: constructionmanuals.tpub.com/14044 Fig. 2-17: 7 in 12 over 8 ft: 8 × 13.89 = 111.12 in."""
    assert ends_of(7 / 12, 0, 96.0).take_out_mm[0] / INCH == pytest.approx(111.12, abs=8 * 0.005)


def test_compound_190_5_190_5_119():
    """V: josephfusco.org "Fixed Ridge Height": plan run 269.407, true length 294.518 (exact 294.519)."""
    ends = ends_of(190.5 / 119, 190.5 / 119, 119.0)
    assert np.hypot(*ends.miss_mm) / INCH == pytest.approx(269.407, abs=1e-3)
    assert ends.take_out_mm[0] / INCH == pytest.approx(294.518, abs=1.5e-3)


@pytest.mark.parametrize("p", P)
def test_true_length_angle_from_plumb(p):
    """C: atan(16.9706 / p) for equal leans over a rise p; 54.74° at p = 12."""
    ends = ends_of(12 / p, 12 / p, 1.0)
    angle = np.degrees(np.arccos(INCH / ends.take_out_mm[0]))
    assert angle == pytest.approx(np.degrees(np.arctan(16.9706 / p)), abs=1e-4)
    if p == 12:
        assert angle == pytest.approx(54.74, abs=0.005)


def test_mismatch_of_a_plumb_drop():
    """C: 3 in at 30.26° leaves 1.750 in."""
    assert ends_of(7 / 12, 0, 3.0).miss_mm[0] / INCH == pytest.approx(1.750, abs=5e-4)


@pytest.mark.parametrize("p", P)
def test_square_cut_of_the_same_post(p):
    """−D·t with D straight down: drop · cos(true lean)."""
    ends = ends_of(p / 12, 0.0, 3.0, plane="square")
    assert ends.take_out_mm[0] / INCH == pytest.approx(3 * 12 / np.hypot(12, p), abs=1e-12)
