"""Inside the limits that are shown a plan can be built; outside it is refused, by name, value and limit."""

from dataclasses import replace
from functools import lru_cache

import pytest
from drawn_plans import WINDOWS, plans
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from invented_cars import varied_car

from model.carfile import demo_car_names, demo_car_path, read_car
from model.errors import PlanError
from model.evaluate import build_checked
from model.limits import limits_of
from model.plan import Plan

CARS = [*demo_car_names(), *(pytest.param(seed, marks=pytest.mark.heavy) for seed in (3, 8))]
ROOF = ("fore_aft", "front_drop", "rear_drop")
WINDOW = {
    "window_forward": "forward_mm",
    "window_down": "down_mm",
    "lay_down": "lay_down_deg",
    "flange": "flange_mm",
}
UNSHRUNK = (Phase.explicit, Phase.generate)  # a plan takes a second
FOUND_WITHIN_MM = 2e-3  # a limit of a drop is a root found to a thousandth, on the near side of it
GAPS = ("kerf", "root_gap")


@lru_cache(maxsize=8)
def car_of(key):
    return varied_car(key) if isinstance(key, int) else read_car(demo_car_path(key))


def with_value(plan: Plan, name: str, value: float) -> Plan:
    """Return the plan with one parameter changed."""
    if name in GAPS:
        return replace(plan, **{f"{name}_mm": value})
    if name in ROOF:
        field = name if name == "fore_aft" else f"{name}_mm"
        return replace(plan, roof=replace(plan.roof, **{field: value}))
    return replace(plan, window=replace(plan.window, **{WINDOW[name]: value}))


def modest(plan: Plan) -> Plan:
    """Return the plan with drops that any of these cars has room for."""
    roof = plan.roof
    return replace(
        plan,
        roof=replace(roof, front_drop_mm=roof.front_drop_mm / 4, rear_drop_mm=roof.rear_drop_mm / 4),
    )


def values_of(plan: Plan) -> dict[str, float]:
    """Return {parameter: value} of all that has a limit."""
    values = {name: getattr(plan, f"{name}_mm") for name in GAPS}
    values |= {name: getattr(plan.roof, f"{name}_mm") for name in ROOF if name != "fore_aft"}
    if not isinstance(plan.roof.fore_aft, str):
        values["fore_aft"] = plan.roof.fore_aft
    values |= {name: getattr(plan.window, field) for name, field in WINDOW.items()}
    return {name: value for name, value in values.items() if value is not None}


@lru_cache(maxsize=4)
def limits_held(car, plan: Plan):
    """Return the limits of a plan, asked for once: before a change and after the one that led to it."""
    return limits_of(car, plan)


def past_its_limit(car, plan: Plan) -> dict[str, float]:
    """Return {parameter: how far it is past the nearer limit}, negative inside, the rest held."""
    limits = limits_held(car, plan)
    return {
        name: max(limits[name][0] - value, value - limits[name][1]) for name, value in values_of(plan).items()
    }


@pytest.mark.parametrize("key", CARS)
@settings(max_examples=4, phases=UNSHRUNK)
@given(data=st.data())
def test_no_plan_inside_its_limits_is_refused(key, data):
    """One parameter after another anywhere between its two limits, those too, the rest as it then stands.

    A long slide or a steep pitch takes room from the posts: then a drop is past its limit, which the
    refusal has to say; as long as none is, the plan can be built.
    """
    car = car_of(key)
    plan = modest(data.draw(plans(car, window=WINDOWS)))
    for name in (*GAPS, *ROOF, *WINDOW):
        low, high = limits_held(car, plan)[name]
        value = data.draw(st.floats(low, high) | st.sampled_from([low, high]), label=name)
        changed = with_value(plan, name, value)
        past = {name: by for name, by in past_its_limit(car, changed).items() if by > 0}
        if past:
            assert name == "fore_aft" or name in ROOF and set(past) <= set(ROOF) - {name}, past
            with pytest.raises(PlanError) as refused:
                build_checked(car, changed)
            assert refused.value.parameter in past
        else:
            build_checked(car, changed)
            plan = changed


@pytest.mark.parametrize("key", CARS)
@pytest.mark.parametrize("name", [*GAPS, *ROOF, *WINDOW])
@settings(max_examples=2, phases=UNSHRUNK)
@given(data=st.data())
def test_no_plan_outside_its_limits_is_accepted(key, name, data):
    """A hundredth past either limit or far past it: the refusal names parameter, value and limit.

    Far past it the limit may be a rougher one, which takes no geometry; a flange is named with its kerf.
    """
    car = car_of(key)
    plan = modest(data.draw(plans(car, window=WINDOWS)))
    assert max(past_its_limit(car, plan).values()) <= 0
    low, high = limits_held(car, plan)[name]
    past = data.draw(st.sampled_from([0.01, 1.0, 2000.0]) | st.floats(0.01, 3000.0))
    for value, is_low in ((low - past, True), (high + past, False)):
        with pytest.raises(PlanError) as refused:
            build_checked(car, with_value(plan, name, value))
        error = refused.value
        assert error.parameter == name
        wide = max(plan.kerf_mm, plan.root_gap_mm) if name == "flange" else 0.0
        assert min(abs(error.value_mm - value), abs(error.value_mm - value - wide)) < 1e-9
        if is_low:
            assert error.value_mm < error.limit_mm <= low + 1e-9
        else:
            assert error.value_mm > error.limit_mm >= high - FOUND_WITHIN_MM
        assert error.message and error.next_step
