"""What people type is what they get, and what they read is what it is."""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.errors import MeasureError, RoofError
from model.units import angle_deg, length_mm, shop_inches, shown, typed_length

LENGTHS_MM = st.floats(min_value=-9900, max_value=9900, allow_nan=False)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("14-3/8", 14.375),
        ('14 3/8"', 14.375),
        ("14 3/8 in", 14.375),
        ("14-3/8 in.", 14.375),
        ("14 - 3/8 inches", 14.375),
        ("14⅜″", 14.375),
        ("14½", 14.5),
        ("½”", 0.5),
        ("3/8", 0.375),
        ("3⁄8", 0.375),
        ("9/8", 1.125),
        ("-2-1/4", -2.25),
        ("−2 1/4", -2.25),
        ("–2-1/4", -2.25),
        ("+2.25 in", 2.25),
        (".5", 0.5),
        ("4.", 4),
        ("2''", 2),
        ("4' 2-1/2\"", 50.5),
        ("4′ 2½″", 50.5),
        ("4'-2\"", 50),
        ("4 ft 2 in", 50),
        ("4ft2in", 50),
        ("-4'", -48),
        ("4.5'", 54),
        (14.375, 14.375),
        (14, 14),
        ("  14 ", 14),
    ],
)
def test_inches_as_people_type_them(text, inches):
    assert length_mm(text, "in") == pytest.approx(inches * 25.4, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "mm"),
    [("365 mm", 365), ("365.5MM", 365.5), ("36.5 cm", 365), ("365", 365), (365, 365), (365.25, 365.25)],
)
def test_millimetres_as_people_type_them(text, mm):
    assert length_mm(text, "mm") == mm


def test_a_marked_unit_wins_over_the_default():
    assert length_mm("57 mm", "in") == 57
    assert length_mm('2"', "mm") == 50.8


def test_a_fraction_is_inches_even_on_a_metric_car():
    assert length_mm("2-1/4", "mm") == 57.15


def test_whole_inches_are_exact():
    """3 in is the float 76.2, not 3 times the float 25.4."""
    assert length_mm(3, "in") == length_mm("3", "in") == 76.2


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("", "must be a length"),
        ("   ", "must be a length"),
        ("abc", "must be a length"),
        ("nan", "must be a length"),
        ("inf", "must be a length"),
        ("1e5", "must be a length"),
        ("1 2", "must be a length"),
        ("5-3", "must be a length"),
        ("-", "must be a length"),
        ("'", "must be a length"),
        ("9" * 60, "must be a length"),
        (None, "must be a length"),
        (True, "must be a length"),
        ([1], "must be a length"),
        ("57,2", "decimal point, not a comma"),
        (math.nan, "must be a finite length"),
        (-math.inf, "must be a finite length"),
        ("3/0", "must not divide by zero"),
        ("14-9/8", "fraction below 1"),
        ("4' 14\"", "less than 12 in beside the feet"),
        ("3/8 mm", "must be in inches where it has a fraction"),
        ("40 ft", "at most 10 m"),
        (1e9, "at most 10 m"),
        (10**400, "at most 10 m"),
    ],
)
def test_refused_lengths_name_place_and_rule(text, rule):
    with pytest.raises(MeasureError, match=r"^hoop 2, belt, x .*" + rule):
        length_mm(text, "in", where="hoop 2, belt, x")


def test_a_refusal_names_the_value_and_the_next_step():
    with pytest.raises(RoofError, match=r"got 'abc'\. Write it as a tape shows it: 14-3/8"):
        length_mm("abc", "in")
    with pytest.raises(MeasureError, match="unit must be in or mm"):
        length_mm("3", "yard")


@pytest.mark.parametrize(
    ("mm", "denominator", "text"),
    [
        (57.15, 16, '2-1/4"'),
        (-57.15, 16, '-2-1/4"'),
        (9.525, 16, '3/8"'),
        (0.0, 16, '0"'),
        (-0.1, 16, '0"'),
        (304.8, 16, '12"'),
        (57.15 + 25.4 / 32, 32, '2-9/32"'),
        (25.3, 16, '1"'),
    ],
)
def test_shop_inches(mm, denominator, text):
    assert shop_inches(mm, denominator) == text


def test_shown_puts_the_cars_unit_first():
    assert shown(57.15, "in") == '2-1/4" (57.2 mm)'
    assert shown(57.15, "mm") == '57.2 mm (2-1/4")'
    assert shown(-0.01, "mm") == '0.0 mm (0")'


@pytest.mark.parametrize(
    ("value", "degrees"),
    [("4", 4), ("4.5°", 4.5), ("−4.5 deg", -4.5), (4, 4), (-3.25, -3.25), ("4 degrees", 4)],
)
def test_angles(value, degrees):
    assert angle_deg(value) == degrees


@pytest.mark.parametrize(
    ("value", "rule"),
    [
        ("x", "angle in degrees"),
        (None, "angle"),
        (True, "angle"),
        (math.nan, "between"),
        (91, "between"),
        ("", "angle"),
    ],
)
def test_refused_angles(value, rule):
    with pytest.raises(MeasureError, match=f"lay_down must be .*{rule}"):
        angle_deg(value, where="lay_down")


@given(st.integers(-20000, 20000))
def test_every_sixty_fourth_is_typed_as_a_fraction_and_read_back_exactly(parts):
    mm = float(Fraction(parts, 64) * Fraction(254, 10))
    typed = typed_length(mm, "in")
    assert isinstance(typed, str) == bool(parts % 64)
    assert length_mm(typed, "in") == mm


@given(LENGTHS_MM, st.sampled_from(["in", "mm"]))
def test_typed_lengths_come_back(mm, unit):
    assert length_mm(typed_length(mm, unit), unit) == pytest.approx(mm, abs=1e-9)


@given(LENGTHS_MM, st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_shop_inches_are_within_half_a_division(mm, denominator):
    assert abs(length_mm(shop_inches(mm, denominator), "mm") - mm) <= 25.4 / denominator / 2 + 1e-9


@given(LENGTHS_MM)
def test_a_minus_sign_only_mirrors(mm):
    assert shop_inches(-mm).lstrip("-") == shop_inches(mm).lstrip("-")


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_a_numpy_length_is_typed_as_a_plain_number(unit):
    typed = typed_length(np.float64(57.123), unit)
    assert type(typed) is float and "np" not in repr(typed)
