"""The driver's view in the report: what is there without a seat, what is flagged, what a plan does to it."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_cars import box_car

from model.carcheck import check_car
from model.carfile import demo_car_names, demo_car_path, demo_plan_path, read_car, write_car
from model.errors import MeasureError
from model.evaluate import build_checked, fit_report_of
from model.measured import Driver
from model.output.text import report_text
from model.plan import Plan, RoofMove
from model.planfile import read_plan
from model.view import view_report

SEAT = (900.0, -300.0, -400.0)

STOCK = Plan()


def evaluated(car, plan=STOCK):
    """Return the report without what runs into what: no view hangs on it."""
    return fit_report_of(build_checked(car, plan))


def lowered(mm):
    return Plan(roof=RoofMove(front_drop_mm=mm, rear_drop_mm=mm))


def seated(seat=SEAT, **driver):
    return replace(box_car(), seat_mm=seat, driver=Driver(**driver))


def kinds(car, plan):
    return {f.kind for f in evaluated(car, plan).findings}


def test_without_a_seat_the_view_says_what_to_measure():
    report = evaluated(box_car(), lowered(50))
    assert not report.view.sights and not report.view.posts
    assert report.view.rear is None and report.view.head is None
    assert "seat reference point" in report.view.to_measure[0]
    assert "Measure the seat reference point" in report_text(report)


def test_without_an_owner_the_published_eyes_remain():
    view = evaluated(seated(), lowered(50)).view
    assert [s.eye for s in view.sights] == ["V1", "V2"] and view.head is None
    assert len(view.to_measure) == 2
    full = evaluated(seated(stature_mm=1700.0, mirror_mm=(200.0, 0.0, 300.0)), lowered(50)).view
    assert full.to_measure == () and [s.eye for s in full.sights] == ["V1", "V2", "own"]


def test_an_eye_with_no_pane_ahead_sees_nothing_through_it():
    """The windshield of the box ends at y = 460."""
    (high, low) = evaluated(seated((900.0, -600.0, -400.0)), lowered(50)).view.sights
    assert high.up_before_deg is None and low.down_after_deg is None


@pytest.mark.parametrize("name", demo_car_names())
def test_no_plan_leaves_the_view_as_it_is(name):
    view = evaluated(read_car(demo_car_path(name))).view
    records = [*view.sights, *view.posts, view.rear, view.head]
    for record in records:
        for field, value in vars(record).items():
            if "before" in field:
                assert getattr(record, field.replace("before", "after")) == value, field
    assert {p.post for p in view.posts} >= {"A"}


@settings(max_examples=25)
@given(st.floats(5, 60), st.floats(1, 15))
def test_a_deeper_drop_takes_more_off_the_view_up(drop, more):
    less, deeper = (view_report(build_checked(seated(), lowered(mm))).sights[0] for mm in (drop, drop + more))
    assert deeper.up_after_deg < less.up_after_deg < less.up_before_deg
    assert deeper.down_after_deg == less.down_after_deg == less.down_before_deg


def test_a_view_made_worse_than_the_limit_is_flagged_with_its_law():
    """V1 968 behind the glass at 265: up atan((400 − drop − 265) / 968) falls below 7° at a drop of 16.1."""
    assert "view up" not in kinds(seated(), lowered(16.0))
    (finding,) = [f for f in evaluated(seated(), lowered(17.0)).findings if f.kind == "view up"]
    assert finding.limit == 7.0 and finding.measured == pytest.approx(6.950, abs=0.001)
    assert "UN Regulation 125" in finding.source and "local law decides" in finding.source


def test_what_the_stock_car_misses_already_is_no_finding_of_the_plan():
    """V2 at 400 − 211: the lower edge 2.2° down before and after."""
    car = seated((900.0, -300.0, -452.0))
    sight = evaluated(car, lowered(20)).view.sights[1]
    assert sight.down_before_deg == sight.down_after_deg < 5
    assert "view down" not in kinds(car, lowered(20))


def test_a_head_in_the_roof_is_flagged():
    tall = seated(stature_mm=1900.0)
    assert evaluated(tall).view.head.clearance_after_mm > 0
    assert "head in the roof" not in kinds(tall, lowered(0))
    (finding,) = [f for f in evaluated(tall, lowered(60)).findings if f.kind == "head in the roof"]
    assert finding.measured < 0 and "past the inside" in finding.message


def test_only_a_measured_mirror_is_held_to_the_law():
    """A mirror at z = 380, lowered by 50, with the window's top at 384 staying below it is not asked when
    nobody measured it."""
    assumed = evaluated(seated(), lowered(40)).view.rear
    assert not assumed.is_mirror_measured
    assert not [k for k in kinds(seated(), lowered(40)) if "behind" in k]
    low_mirror = seated(
        mirror_mm=(200.0, 0.0, 135.0)
    )  # below the cut: it stays, and so does the window's foot
    rear = evaluated(low_mirror, lowered(40)).view.rear
    assert rear.mirror_after_mm == rear.mirror_before_mm


@pytest.mark.parametrize("name", demo_car_names())
def test_the_drivers_of_the_demo_cars_sit_below_their_own_heads(name):
    """Head keep-out and seat lie on the same side; the keep-out's top is the crown within a hand."""
    car = read_car(demo_car_path(name))
    head = next(k for k in car.keep_outs if "head" in k.name)
    view = fit_report_of(build_checked(car, read_plan(demo_plan_path(name), car))).view
    assert head.at_mm[1] * car.seat_mm[1] > 0
    assert head.at_mm[2] + head.radius_mm == pytest.approx(view.head.crown_mm[2], abs=50)


def test_a_driver_is_written_and_read_back(tmp_path):
    car = replace(
        read_car(demo_car_path("coupe")),
        driver=Driver(stature_mm=1830.0, back_deg=17.5, mirror_mm=(300.0, 10.0, 1350.0)),
    )
    write_car(car, tmp_path / "car.toml")
    assert read_car(tmp_path / "car.toml").driver == car.driver


@pytest.mark.parametrize(
    ("driver", "message"),
    [
        (Driver(stature_mm=180.0), "driver, stature must be between"),
        (Driver(back_deg=60.0), "driver, back must be between 5 and 40 degrees from plumb; got 60"),
    ],
)
def test_a_driver_who_cannot_be_is_refused(driver, message):
    with pytest.raises(MeasureError, match=message):
        check_car(replace(box_car(), driver=driver))
