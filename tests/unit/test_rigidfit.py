"""The rigid move and the bends between two sets of points, held against closed forms and a second method."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from model.rigidfit import Readings, adjusted, most_telling, stand_of

CENTRE, REACH, HALF = np.array([1000.0, 0.0, 1150.0]), 800.0, 560.0
POINTS = np.array(
    [
        [x, y, 1450.0 - 40 * ((x - 1000) / 700) ** 2 + 0.02 * y]
        for x in (300, 950, 1500, 1900)
        for y in (-550, 550)
    ]
)


def shapes_at(points):
    along, across = (points[:, 0] - CENTRE[0]) / REACH, points[:, 1] / HALF
    shapes = np.zeros((len(points), 3, 3))
    shapes[:, 2, 0], shapes[:, 1, 1], shapes[:, 2, 2] = along * across, across, 1 - along**2
    return shapes


def readings(measured, planned=POINTS, sd=0.9):
    return Readings(planned, measured, np.full(planned.shape, sd), shapes_at(planned), CENTRE, REACH)


def misplaced(shift=(3.0, -2.0, 4.0), turn_deg=(0.3, -0.4, 0.5), amounts=(0.0, 0.0, 0.0), planned=POINTS):
    rotation = Rotation.from_rotvec(turn_deg, degrees=True).as_matrix()
    bent = planned + shapes_at(planned) @ np.array(amounts)
    return CENTRE + shift + (bent - CENTRE) @ rotation.T, rotation


def test_exact_readings_give_the_move_back():
    measured, rotation = misplaced(turn_deg=(2, -3, 5))
    stand = stand_of(readings(measured))
    assert stand.final.move.rotation == pytest.approx(rotation, abs=1e-12)
    assert stand.final.move.points(CENTRE) - CENTRE == pytest.approx([3, -2, 4], abs=1e-9)
    assert stand.final.move.points(POINTS) == pytest.approx(measured, abs=1e-9)
    assert (stand.wrong, stand.doubtful, stand.final.bends) == ((), (), ())
    assert stand.final.freedom == 24 - 6


def test_it_agrees_with_the_singular_value_method_on_full_coordinates():
    """W. Kabsch's method, as scipy has it, knows nothing of our unknowns or steps."""
    random = np.random.default_rng(3)
    measured = misplaced()[0] + random.normal(0, 5.0, POINTS.shape)
    found = adjusted(readings(measured))
    middle = POINTS.mean(axis=0), measured.mean(axis=0)
    rotation, _ = Rotation.align_vectors(measured - middle[1], POINTS - middle[0])
    assert found.move.rotation == pytest.approx(rotation.as_matrix(), abs=1e-9)
    assert found.move.points(middle[0]) == pytest.approx(middle[1], abs=1e-6)


def test_the_doubt_of_a_mean_is_that_of_one_reading_over_root_n():
    level = POINTS[[0, 1, 6, 7]].copy()
    level = level - level.mean(axis=0) + CENTRE
    level[:, 2] = CENTRE[2]
    found = adjusted(readings(level, level, sd=1.0))
    shift = found.told(np.eye(9)[:3])
    assert shift == pytest.approx(1.959964 / np.sqrt(4), abs=1e-6)
    arm = np.sqrt(((level - CENTRE) ** 2).sum())  # about z: Σ (x² + y²)
    assert found.told(np.eye(9)[5]) == pytest.approx(1.959964 * REACH / arm, rel=1e-6)


def test_redundancy_sums_to_the_readings_to_spare():
    measured = misplaced()[0]
    measured[[0, 3, 5], [0, 1, 2]] = np.nan
    found = adjusted(readings(measured), (0, 1, 2))
    assert found.redundancy.sum() == pytest.approx(found.freedom) == pytest.approx(21 - 9)


@pytest.mark.parametrize("bend", [0, 1, 2])
def test_a_bend_is_named_as_such_and_not_as_a_move(bend):
    amounts = np.eye(3)[bend] * 6.0
    stand = stand_of(readings(misplaced(amounts=amounts)[0]))
    assert stand.final.bends == (bend,)
    assert stand.final.amounts_mm == pytest.approx(amounts, abs=1e-9)
    assert stand.final.move.points(CENTRE) - CENTRE == pytest.approx([3, -2, 4], abs=1e-9)
    assert stand.wrong == ()


def test_one_slip_is_found_in_a_bent_roof():
    measured, _ = misplaced(amounts=(5.0, 0.0, 0.0))
    measured[3, 2] += 25.4
    stand = stand_of(readings(measured))
    assert [(w.point, w.axis) for w in stand.wrong] == [(3, 2)]
    assert stand.wrong[0].too_much_mm == pytest.approx(25.4, abs=1e-9)
    assert stand.final.amounts_mm[0] == pytest.approx(5.0, abs=1e-9)


def test_two_slips_do_not_hide_each_other():
    measured, _ = misplaced()
    measured[3, 2] += 25.4
    measured[6, 0] -= 12.7
    stand = stand_of(readings(measured))
    assert {(w.point, w.axis) for w in stand.wrong} == {(3, 2), (6, 0)}


def test_more_slips_than_one_in_five_are_named_and_none_is_left_out():
    measured, _ = misplaced()
    random = np.random.default_rng(8)
    measured += random.normal(0, 30.0, measured.shape)
    stand = stand_of(readings(measured))
    assert stand.wrong == () and len(stand.doubtful) > 5
    assert not stand.final.is_explained
    assert stand.final.sure_95 > 10


def test_a_slip_in_one_of_four_heights_is_a_twist_that_nothing_checks():
    """Three heights make a plane; the fourth is the twist, and no reading is left to contradict it."""
    corners = POINTS[[0, 1, 6, 7]]
    measured = np.full(corners.shape, np.nan)
    measured[:, 2] = corners[:, 2]
    measured[3, 2] += 20.0
    stand = stand_of(readings(measured, corners))
    assert stand.wrong == () and stand.final.bends == (0,) and stand.final.freedom == 0
    assert stand.final.redundancy == pytest.approx(0.0, abs=1e-9)


def test_two_readings_that_answer_for_one_misfit_are_both_doubted():
    """Their distance changed: whichever x is wrong, it could as well be the other."""
    two = np.array([[300.0, 0.0, 1450.0], [1900.0, 0.0, 1450.0], [1100.0, 500.0, 1450.0]])
    measured = np.full(two.shape, np.nan)
    measured[:, 1:] = two[:, 1:]
    measured[:2, 0] = two[:2, 0] + [0.0, 40.0]
    stand = stand_of(readings(measured, two))
    assert stand.wrong == ()
    assert set(stand.doubtful) == {(0, 0), (1, 0)}


def test_heights_alone_leave_the_plan_view_open():
    measured = misplaced(turn_deg=(0.3, -0.4, 0.0))[0]
    measured[:, :2] = np.nan
    told = adjusted(readings(measured)).told(np.eye(9)[:6])
    assert np.isinf(told).tolist() == [True, True, False, False, False, True]


def test_points_on_a_line_leave_the_turn_about_it_open():
    line = np.array([[x, 500.0, 1450.0] for x in (300.0, 900.0, 1500.0, 1900.0)])
    found = adjusted(readings(line.copy(), line))
    rows = found.displacement_rows(np.array([[300.0, 500.0, 1450.0], [300.0, -500.0, 1450.0]]))
    told = found.told(rows)
    assert np.isfinite(told[0]).all()
    assert np.isinf(told[1, 2])
    assert found.rank == 5


def test_the_widest_points_are_the_most_telling():
    everywhere = np.array(
        [[x, y, 1450.0] for x in range(300, 1901, 200) for y in range(-550, 551, 110)], float
    )
    given = readings(np.full(everywhere.shape, np.nan), everywhere)
    chosen = everywhere[most_telling(given, 8)]
    corners = {(x, y) for x in (300.0, 1900.0) for y in (-550.0, 550.0)}
    assert corners <= {tuple(p[:2]) for p in chosen.tolist()}
    assert len({tuple(p) for p in chosen.tolist()}) == 8


def test_nothing_measured_is_refused():
    with pytest.raises(ValueError, match="at least one coordinate"):
        adjusted(readings(np.full(POINTS.shape, np.nan)))
