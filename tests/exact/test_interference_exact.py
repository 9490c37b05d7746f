"""What the kernel says runs into what, against the live tier's answer."""

from dataclasses import replace

import pytest
from cases import CARS, built_of, car_of

from model.built import build
from model.exactinterference import exact_interference
from model.interference import interference_of
from model.measured import KeepOut
from model.plan import Plan, RoofMove


@pytest.mark.parametrize("car", CARS)
def test_the_stock_car_runs_into_nothing(car):
    assert exact_interference(built_of(f"{car} stock")) == []


@pytest.mark.heavy
@pytest.mark.parametrize("car", CARS)
@pytest.mark.parametrize("shape", ["sphere", "box", "cylinder"])
def test_roof_in_a_keep_out(car, shape):
    """A body that reaches 20 mm through the lowered roof, away from creases."""
    measured = car_of(car)
    grid = built_of(f"{car} stock").shape.skin.grids["roof"]
    x, y, z = grid.point([[0.5, 0.5]])[0]
    top = z - 50.8 + 20.0
    body = {
        "sphere": KeepOut(name="head", shape="sphere", at_mm=(x, y + 60.0, top - 150.0), radius_mm=150.0),
        "box": KeepOut(
            name="head", shape="box", at_mm=(x, y + 60.0, top - 60.0), size_mm=(150.0, 200.0, 120.0)
        ),
        "cylinder": KeepOut(
            name="head",
            shape="cylinder",
            at_mm=(x, y - 200.0, top - 30.0),
            to_mm=(x, y + 200.0, top - 30.0),
            radius_mm=30.0,
        ),
    }[shape]
    built = build(
        replace(measured, keep_outs=(body,)), Plan(roof=RoofMove(front_drop_mm=50.8, rear_drop_mm=50.8))
    )
    exact = {b.pieces: b for b in exact_interference(built) if "head" in b.pieces}
    live = {i.pieces: i for i in interference_of(built) if "head" in i.pieces}
    assert ("roof", "head") in exact
    assert set(exact) == set(live)
    for pieces, found in exact.items():
        assert found.is_valid
        assert found.volume_mm3 == pytest.approx(live[pieces].volume_mm3, rel=0.005, abs=2.0)
        assert found.depth_mm == pytest.approx(live[pieces].depth_mm, abs=1.0)
        assert found.at_mm == pytest.approx(live[pieces].at_mm, abs=3.0)


@pytest.mark.heavy
def test_window_panel_driven_into_the_roof():
    """Far forward and turned up, the panel's edge goes 2 mm into the roof, and the kernel says so too."""
    car = car_of("coupe")
    own = built_of("coupe own plan").plan
    built = build(
        car,
        replace(
            own, shifts=(), window=replace(own.window, forward_mm=120.0, lay_down_deg=-5.0, down_mm=76.0)
        ),
    )
    exact = {frozenset(b.pieces): b for b in exact_interference(built)}
    live = {frozenset(i.pieces): i for i in interference_of(built)}
    assert frozenset({"roof", "window panel"}) in live.keys()
    for pieces in exact.keys() | live.keys():
        e, i = exact.get(pieces), live.get(pieces)
        volumes = [x.volume_mm3 if x else 0.0 for x in (e, i)]
        assert volumes[0] == pytest.approx(volumes[1], rel=0.02, abs=30.0), pieces
