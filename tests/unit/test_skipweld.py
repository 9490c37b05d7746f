"""The order of tacks and stretches: every one once, none next to the last, from the middle out."""

from fractions import Fraction

import pytest

from model.skipweld import LEAST_TO_SKIP, halving_order, skip_order, stretch_count

COUNTS = [*range(1, 80), 127, 128, 255, 400]


@pytest.mark.parametrize("count", COUNTS)
def test_every_stretch_is_welded_once(count):
    assert sorted(skip_order(count)) == list(range(count))
    assert sorted(halving_order(count)) == list(range(count))


@pytest.mark.parametrize("count", [n for n in COUNTS if n >= LEAST_TO_SKIP])
def test_no_stretch_touches_the_one_just_welded(count):
    order = skip_order(count)
    assert min(abs(b - a) for a, b in zip(order, order[1:], strict=False)) >= 2


@pytest.mark.parametrize("count", [2, 3])
def test_short_runs_cannot_avoid_it(count):
    """Of two and of three, the middle one touches all others."""
    order = skip_order(count)
    assert any(abs(b - a) == 1 for a, b in zip(order, order[1:], strict=False))


@pytest.mark.parametrize("count", [n for n in COUNTS if n >= 12])
def test_it_begins_in_the_middle_and_a_quarter_of_the_way_it_has_met_both_ends(count):
    order = skip_order(count)
    assert abs(order[0] - (count - 1) / 2) <= 0.5
    first = order[: sum((k - order[0]) % 4 == 0 for k in range(count))]
    assert min(first) < 4 and max(first) >= count - 4
    # In the first pass it goes outwards only.
    ways = [abs(k - order[0]) for k in first]
    assert ways == sorted(ways)


@pytest.mark.parametrize("count", [n for n in COUNTS if n >= 3])
def test_tacks_halve_what_is_left(count):
    """Every tack goes into the middle of the widest space that is left."""
    order = halving_order(count)
    assert order[:2] == [0, count - 1]
    done = sorted(order[:2])
    for k in order[2:]:
        low, high = max(d for d in done if d < k), min(d for d in done if d > k)
        widest = max(b - a for a, b in zip(done, done[1:], strict=False))
        assert high - low == widest and abs(2 * k - low - high) <= 1
        done = sorted([*done, k])


def test_a_run_is_divided_into_as_few_equal_stretches_as_the_pitch_allows():
    for length, pitch, count in ((90, 30, 3), (90.001, 30, 4), (4, 30, 1), (869.1, 30, 29)):
        assert stretch_count(length, pitch) == count
        assert Fraction(length) / count <= Fraction(pitch) + Fraction(1, 1000)
