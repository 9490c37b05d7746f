"""Rules of the weld plan against worked examples, closed forms and quadrature."""

import numpy as np
import pytest
from scipy.integrate import quad

from model.weldrules import (
    arc_length_mm,
    crown_gained_mm,
    crown_lost_mm,
    crown_of_arc_mm,
    deposit_g,
    shrink_across_mm,
    tack_pitch_mm,
    throat_mm2,
    wire_m,
)


def test_filler_of_a_worked_example():
    """Gap 0.5 in 1.2 mm sheet, bead 4 × 0.5: 2.6 mm², 20.4 g and 1.29 m of 1.6 mm rod to the metre."""
    throat = throat_mm2(0.5, 1.2, 4.0, 0.5)
    assert throat == pytest.approx(2.6, abs=1e-12)
    assert deposit_g(throat, 1000.0) == pytest.approx(20.41, abs=1e-9)
    assert wire_m(deposit_g(throat, 1000.0), 1.6) == pytest.approx(2.6 / (np.pi * 0.64), abs=1e-12)
    assert wire_m(deposit_g(throat, 1000.0), 1.6) == pytest.approx(1.29, abs=0.005)


def test_shrinkage_of_a_worked_example():
    """t = 1, A = 2, gap 0.5: 0.10 A/t = 0.20 and 0.2 A/t + 0.05 gap = 0.425 mm."""
    assert shrink_across_mm((2.0, 2.0), 1.0, 0.5) == pytest.approx((0.20, 0.425), abs=1e-12)


def test_shrinkage_is_the_same_car_in_any_unit():
    """A/t and the gap are lengths: all lengths twice as long shrink twice as much."""
    once, twice = shrink_across_mm((2.0, 3.0), 1.0, 0.5), shrink_across_mm((8.0, 12.0), 2.0, 1.0)
    assert twice == pytest.approx([2 * mm for mm in once], abs=1e-12)


def test_tack_pitch_runs_from_25_to_40():
    sheets = (0.6, 0.9, 1.05, 1.2, 1.6)
    assert [tack_pitch_mm(t) for t in sheets] == pytest.approx([25, 25, 32.5, 40, 40], abs=1e-9)


@pytest.mark.parametrize(("chord", "crown"), [(1000.0, 20.0), (1200.0, 95.0), (300.0, 140.0), (700.0, 0.5)])
def test_arc_length_by_quadrature(chord, crown):
    radius = (chord**2 + 4 * crown**2) / (8 * crown)
    length, _ = quad(lambda x: radius / np.sqrt(radius**2 - x * x), -chord / 2, chord / 2, epsabs=1e-9)
    assert arc_length_mm(chord, crown) == pytest.approx(length, abs=1e-6)
    assert crown_of_arc_mm(chord, length) == pytest.approx(crown, abs=1e-4)


def test_arc_of_a_published_segment():
    """Chord 21, height 6: arc 25.308373."""
    assert arc_length_mm(21.0, 6.0) == pytest.approx(25.308373, abs=5e-7)


@pytest.mark.parametrize(("chord", "crown"), [(1000.0, 40.0), (1800.0, 60.0)])
def test_a_low_crown_moves_by_three_sixteenths_of_chord_over_crown(chord, crown):
    """ds = (16 h / 3 c) dh: both ways, for little."""
    little = 0.01
    first = 3 * chord * little / (16 * crown)
    assert crown_lost_mm(chord, crown, little) == pytest.approx(first, rel=0.01)
    assert crown_gained_mm(chord, crown, little) == pytest.approx(first, rel=0.01)


def test_a_sheet_can_be_drawn_tight_and_no_further():
    spare = arc_length_mm(1000.0, 5.0) - 1000.0
    assert crown_lost_mm(1000.0, 5.0, spare + 0.1) == 5.0
    assert crown_lost_mm(1000.0, 5.0, spare / 2) < 5.0
    assert crown_lost_mm(1000.0, 5.0, 0.0) == pytest.approx(0, abs=1e-6)
