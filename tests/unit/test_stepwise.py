"""Work in steps: done once, whoever asks, and a refusal is no result."""

import pytest

from model.errors import PlanError
from model.stepwise import Stepwise, at_once, in_steps


def counted(done, count):
    """Return work of so many steps that notes each."""
    for k in range(count):
        done.append(k)
        yield
    return sum(done)


def test_steps_are_done_one_at_a_time_and_once():
    done = []
    work = Stepwise(counted(done, 3))
    assert done == []
    steps = work.steps()
    next(steps)
    assert done == [0]
    next(work.steps())  # someone else goes on where it was left
    assert done == [0, 1]
    assert work.result() == 3
    assert done == [0, 1, 2]
    assert list(work.steps()) == [] and list(steps) == []
    assert work.result() == 3 and done == [0, 1, 2]


def test_all_at_once():
    assert at_once(counted([], 4)) == 6
    assert at_once(counted([], 0)) == 0


def refused(done):
    yield
    done.append("asked")
    raise PlanError("drop", "must be less.", "Drop less.")


def test_a_refusal_is_raised_to_everyone_who_asks():
    done = []
    work = Stepwise(refused(done))
    for _ in range(2):
        with pytest.raises(PlanError, match="must be less"):
            work.result()
        with pytest.raises(PlanError, match="must be less"):
            list(work.steps())
    assert done == ["asked"]


def test_the_last_few_works_are_remembered():
    done = []

    @in_steps(maxsize=2)
    def doubled(x):
        yield
        done.append(x)
        return 2 * x

    assert [doubled(x).result() for x in (1, 2, 1, 2)] == [2, 4, 2, 4]
    assert done == [1, 2]
    assert doubled(1) is doubled(1)
    assert [doubled(3).result(), doubled(2).result(), doubled(1).result()] == [6, 4, 2]
    assert done == [1, 2, 3, 2, 1]
