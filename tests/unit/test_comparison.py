"""Plans set side by side: what differs, in which direction, and the rear window left where it was."""

import re
from dataclasses import replace

import pytest
from sample_reports import sample_report

from model.carfile import demo_car_path, demo_plan_path, read_car
from model.comparison import compared, stock_of, with_window_in_stock_place
from model.errors import PlanError
from model.evaluate import evaluate
from model.output.comparison import comparison_html
from model.output.headlines import HEADLINES, NO_CHANGE, NONE
from model.planfile import read_plan


def line(label):
    return next(each for each in HEADLINES if each.label == label)


def with_totals(report, **changes):
    return replace(report, totals=replace(report.totals, **changes))


def test_a_difference_has_its_sign_and_its_unit():
    base = with_totals(sample_report(), rear_drop_mm=50.8, roof_pitch_deg=1.0)
    more = with_totals(base, rear_drop_mm=76.2, roof_pitch_deg=-0.5)
    assert line("rear drop").difference(more, base, "in") == '+1" (25.4)'
    assert line("rear drop").difference(base, more, "mm") == "−25.4"
    assert line("roof pitch, + rear down").difference(more, base, "in") == "−1.5°"


def test_a_lean_differs_in_words():
    base = sample_report()
    more = replace(base, window=replace(base.window, rear_rake_after_deg=base.window.rear_rake_after_deg - 2))
    assert line("rear window rake after").difference(more, base, "in") == "2.0° further forward"


def test_what_reads_alike_is_the_same_and_what_is_not_there_is_a_dash():
    base = sample_report()
    near = with_totals(base, rear_drop_mm=base.totals.rear_drop_mm + 0.01)
    assert {each.difference(near, base, "in") for each in HEADLINES} <= {NO_CHANGE, NONE}
    without = with_totals(base, headroom_after_mm=None)
    assert line("headroom after").difference(without, base, "in") == NONE


def test_the_table_names_its_columns_and_marks_only_what_differs():
    base = sample_report()
    more = with_totals(base, rear_drop_mm=base.totals.rear_drop_mm + 25.4)
    page = comparison_html([base, more], ["<one>", "two"])
    assert "&lt;one&gt;" in page and "<one>" not in page
    assert re.findall("<b>(.*?)</b>", page) == ["+1&quot; (25.4)"]
    assert page.count('class="pd-alike"') == len(HEADLINES) - 1


@pytest.fixture(scope="module")
def coupe():
    car = read_car(demo_car_path("coupe"))
    return car, read_plan(demo_plan_path("coupe"), car)


def test_the_window_left_where_it_was_is_not_moved_and_all_else_is_alike(coupe):
    car, plan = coupe
    stays = with_window_in_stock_place(plan)
    report, planned = evaluate(car, stays), evaluate(car, plan)
    assert (report.window.rear_forward_mm, report.window.rear_down_mm) == pytest.approx((0, 0), abs=1e-9)
    assert report.window.rear_rake_after_deg == pytest.approx(report.window.rear_rake_before_deg)
    assert report.totals.rear_drop_mm == planned.totals.rear_drop_mm
    assert report.posts == planned.posts
    with pytest.raises(PlanError, match="must be cut out of the shell"):
        with_window_in_stock_place(plan.changed(window=None))


def test_what_is_compared_is_what_is_evaluated(coupe):
    car, plan = coupe
    assert compared(car, plan, "mine").report == evaluate(car, plan)
    stock = compared(car, stock_of(plan), "stock")
    assert stock.report.seams == () and stock.report.posts == ()
