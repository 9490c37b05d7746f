"""Leaning posts against the closed forms behind the rafter tables; the tables are outside checks."""

import numpy as np
import pytest

from model.outside.rafters import INCH, leaning_ends

P = range(2, 19)


@pytest.mark.parametrize("p", P)
def test_common_rafter(p):
    ends = leaning_ends(p / 12, 0.0, 3.0)
    assert ends.take_out_mm[0] / INCH == pytest.approx(3 * np.hypot(12, p) / 12, abs=1e-12)
    assert ends.miss_mm[0] / INCH == pytest.approx(3 * p / 12, abs=1e-12)  # drop · tan(lean)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("p", P)
def test_hip_rafter_in_either_direction(p, side):
    for lean_x, lean_in in ((1.0, p / 12), (p / 12, 1.0)):
        ends = leaning_ends(lean_x, lean_in, 3.0, side=side)
        assert ends.take_out_mm[0] / INCH == pytest.approx(3 * np.sqrt(288 + p * p) / 12, abs=1e-12)
        assert ends.miss_mm == pytest.approx((3 * lean_x * INCH, 3 * lean_in * INCH), abs=1e-9)


@pytest.mark.parametrize("p", P)
def test_true_length_angle_from_plumb(p):
    """atan(√288 / p) for equal leans over a rise p."""
    ends = leaning_ends(12 / p, 12 / p, 1.0)
    angle = np.degrees(np.arccos(INCH / ends.take_out_mm[0]))
    assert angle == pytest.approx(np.degrees(np.arctan(np.sqrt(288) / p)), abs=1e-9)


@pytest.mark.parametrize("p", P)
def test_square_cut_of_the_same_post(p):
    """−D·t with D straight down: drop · cos(true lean)."""
    ends = leaning_ends(p / 12, 0.0, 3.0, plane="square")
    assert ends.take_out_mm[0] / INCH == pytest.approx(3 * 12 / np.hypot(12, p), abs=1e-12)


def test_a_square_cut_has_the_bead_of_the_section():
    ends = leaning_ends(np.tan(np.radians(32)), 0.0, 2.0, plane="square", section_mm=(2 * INCH, 3 * INCH))
    assert ends.bead_mm == pytest.approx(10 * INCH, abs=1e-9)
