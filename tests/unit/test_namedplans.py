"""Plans kept by name: any name, one file each, as it was, and refused where two would be one file."""

import pytest

from model.carfile import demo_car_path, read_car
from model.errors import PlanError
from model.namedplans import LONGEST_NAME, forget_named, keep_named, named_plan, named_plans
from model.plan import Plan, RoofMove

PLAN = Plan(roof=RoofMove(front_drop_mm=57.15, rear_drop_mm=76.2))


@pytest.fixture
def car(tmp_path, monkeypatch):
    monkeypatch.setattr("platformdirs.user_state_path", lambda *names: tmp_path.joinpath(*names))
    return read_car(demo_car_path("pickup"))


@pytest.mark.parametrize(
    "name", ["two over three", "a/b\\c: *?", "..", "con", "50 % & more", "Ü", "%41", '2-1/4"']
)
def test_a_plan_comes_back_by_its_name(car, name):
    kept = keep_named(PLAN, car, name)
    assert named_plans(car) == [name] and kept.name == name
    assert named_plan(car, name) == kept and kept.roof == PLAN.roof
    forget_named(car, name)
    assert named_plans(car) == []


def test_a_plan_of_the_same_name_gives_way(car):
    keep_named(PLAN, car, "mine")
    keep_named(PLAN.changed(kerf_mm=2.0), car, "  mine ")
    assert named_plans(car) == ["mine"] and named_plan(car, "mine").kerf_mm == pytest.approx(2.0)


@pytest.mark.parametrize("name", ["", "   ", "x" * (LONGEST_NAME + 1)])
def test_no_name_and_too_long_a_name_are_refused(car, name):
    with pytest.raises(PlanError, match="must be text of 1 to"):
        keep_named(PLAN, car, name)
    assert named_plans(car) == []


def test_two_names_that_some_systems_take_for_one_are_refused(car):
    keep_named(PLAN, car, "Mine")
    with pytest.raises(PlanError, match='must differ from "Mine" by more than capitals'):
        keep_named(PLAN, car, "mine")


def test_what_was_not_kept_is_refused_with_the_nearest_name(car):
    keep_named(PLAN, car, "low")
    for work in (named_plan, forget_named):
        with pytest.raises(PlanError, match='must be a plan that was kept; got "lwo".*low'):
            work(car, "lwo")
