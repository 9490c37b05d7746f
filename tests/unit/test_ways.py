"""One word of the plan for a way of doing it; the ways side by side."""

import json
from dataclasses import fields, replace

import jsonschema
import pytest
from invented_cars import wedge_car
from sample_reports import validator
from shipped_plans import closed_plan

from model import waycomparison
from model.carfile import demo_car_names, demo_car_path, demo_plan_path, read_car
from model.errors import PlanError
from model.evaluate import build_checked, evaluate, fit_report_of
from model.files import packaged_schema
from model.fillerseams import tangent_break_deg
from model.limits import drop_limit_mm
from model.output.wayshtml import ways_page
from model.output.waystext import ways_text
from model.outside.flatcabs import A, B, C, D
from model.outside.flatsplit import APART
from model.outside.knowncars import tan
from model.plan import (
    ALONG_WINDSHIELD,
    FORWARD,
    LAID_BACK,
    SPLIT,
    STRAIGHT_DOWN,
    WAYS,
    Plan,
    PostLean,
    PostShift,
    RoofMove,
    RoofSplit,
)
from model.planfile import read_plan
from model.plansettings import plan_with_settings
from model.uncertainty import cut_working
from model.waycomparison import WayComparison, WayReport, compare_ways
from model.ways import as_way, leaned_posts, posts_between_openings

LOOK = Plan(roof=RoofMove(front_drop_mm=D, rear_drop_mm=D))


def shipped(name):
    car = read_car(demo_car_path(name))
    return car, read_plan(demo_plan_path(name), car)


@pytest.fixture(scope="module")
def wedge_ways():
    return compare_ways(wedge_car(), LOOK)


def test_which_posts_are_shifted_and_which_leaned():
    coupe, pickup = (read_car(demo_car_path(name)) for name in ("coupe", "pickup"))
    assert set(posts_between_openings(coupe)) == {("B", "right"), ("B", "left")}
    assert posts_between_openings(pickup) == []
    assert leaned_posts(coupe) == [("A", "right"), ("A", "left"), ("divider", "centre")]
    assert leaned_posts(pickup) == [("A", "right"), ("A", "left")]


@pytest.mark.parametrize("way", WAYS)
def test_a_way_replaces_what_it_fills_and_keeps_the_rest(way):
    car, plan = shipped("coupe")
    crooked = plan.changed(
        way=way,
        roof=replace(plan.roof, fore_aft=12.0),
        shifts=(PostShift(post="C", by=5.0),),
        leans=(PostLean(post="C"),),
        split=RoofSplit(spread_mm=3.0, lengthen_mm=4.0),
    )
    filled = as_way(crooked, car)
    assert filled == as_way(plan.changed(way=way), car) == as_way(filled, car)
    assert filled.roof.fore_aft == (ALONG_WINDSHIELD if way == FORWARD else STRAIGHT_DOWN)
    assert (filled.split is not None) == (way == SPLIT)
    assert bool(filled.leans) == (way == LAID_BACK)
    assert bool(filled.shifts) == (way != LAID_BACK)
    for name in ("car", "name", "window", "cut", "kerf_mm", "root_gap_mm", "new_metal"):
        assert getattr(filled, name) == getattr(plan, name)
    drops = (filled.roof.front_drop_mm, filled.roof.rear_drop_mm)
    assert drops == (plan.roof.front_drop_mm, plan.roof.rear_drop_mm)


def test_where_the_roof_is_cut_across_stays_as_the_plan_says():
    plan = LOOK.changed(way=SPLIT, split=RoofSplit(lengthen_mm=1.0, across_at_mm=1000.0))
    assert as_way(plan, wedge_car()).split.across_at_mm == 1000.0


def test_the_shipped_coupe_plan_is_the_roof_forward():
    car, plan = shipped("coupe")
    assert evaluate(car, plan.changed(way=FORWARD)).posts == evaluate(car, plan).posts


@pytest.mark.parametrize("way", WAYS)
def test_a_way_is_the_plan_it_fills_in(way):
    car, plan = wedge_car(), LOOK.changed(way=way)
    by_word, in_full = evaluate(car, plan), evaluate(car, as_way(plan, car).changed(way=""))
    assert by_word.posts == in_full.posts
    assert by_word.seams == in_full.seams
    assert by_word.plan["way"] == way
    assert {k: v for k, v in by_word.plan.items() if k != "way"} == {
        k: v for k, v in in_full.plan.items() if k != "way"
    }
    assert cut_working(car, plan).nominal == pytest.approx(cut_working(car, as_way(plan, car)).nominal)
    assert drop_limit_mm(car, plan, "rear_drop") > D


def test_misses_of_every_way_on_flat_panels(wedge_ways):
    """Straight posts, no pitch: forward leaves C d (tan a + tan c), laid back C d tan c, split B nothing."""
    largest = {way.way: way.largest_miss_mm for way in wedge_ways.ways}
    assert largest[FORWARD] == pytest.approx(APART, abs=1e-7)
    assert largest[LAID_BACK] == pytest.approx(D * tan(C), abs=1e-7)
    assert largest[SPLIT] == pytest.approx(0, abs=1e-6)
    long = {way.way: way.roof_length_mm for way in wedge_ways.ways}
    assert long[SPLIT] - long[FORWARD] == pytest.approx(APART, abs=1e-7)
    assert long[LAID_BACK] == long[FORWARD]
    posts = {p.post: p for p in evaluate(wedge_car(), LOOK.changed(way=LAID_BACK)).posts if p.side == "left"}
    assert posts["A"].miss_fore_aft_mm == pytest.approx(0, abs=1e-6)
    assert posts["A"].miss_across_mm == pytest.approx(0, abs=1e-6)
    assert posts["C"].miss_across_mm == pytest.approx(D * tan(B), abs=1e-7)
    assert A > 0


def test_the_comparison_holds_what_the_reports_say(wedge_ways):
    for way in wedge_ways.ways:
        report = evaluate(wedge_car(), LOOK.changed(way=way.way))
        assert way.refused == ""
        assert way.weld_mm == report.totals.weld_mm
        assert way.seam_count == len(report.seams)
        assert 0 < way.low_crown_mm <= way.weld_mm
        assert sum(way.findings.values()) == len(report.findings)
        assert set(way.panes_new) | set(way.panes_kept) == {
            "windshield",
            "rear window",
            *(f"{pane} {side}" for pane in ("door glass", "quarter glass") for side in ("right", "left")),
        }
        assert not set(way.panes_new) & set(way.panes_kept)
        assert 0 < way.weld_hours[0] < way.weld_hours[1]
    by_way = {way.way: way for way in wedge_ways.ways}
    assert by_way[SPLIT].weld_mm > by_way[FORWARD].weld_mm
    assert by_way[LAID_BACK].windshield_rake_deg > by_way[FORWARD].windshield_rake_deg


def test_the_comparison_as_text_and_json(wedge_ways):
    text = ways_text(wedge_ways)
    assert max(map(len, text.splitlines())) <= 100
    for words in (*WAYS, "WHAT DIFFERS", "split against forward", "more to weld", "longer", "assumed"):
        assert words in text
    values = json.loads(json.dumps(wedge_ways.to_json(), allow_nan=False))
    assert [way["way"] for way in values["ways"]] == list(WAYS)


def as_json(found):
    return json.loads(json.dumps(found.to_json(), allow_nan=False))


def test_json_keeps_the_contract(wedge_ways):
    """Both what is carried out and what is refused; the schema has the records' fields, all asked for."""
    jsonschema.Draft202012Validator.check_schema(packaged_schema("ways"))
    schema = packaged_schema("ways")
    assert set(schema["properties"]) == {field.name for field in fields(WayComparison)}
    one = schema["$defs"]["way"]
    assert set(one["properties"]) == set(one["required"]) == {field.name for field in fields(WayReport)}
    refused = compare_ways(wedge_car(posts=("A",)), LOOK)
    assert any(way.refused for way in refused.ways) and not any(way.refused for way in wedge_ways.ways)
    for found in (wedge_ways, refused):
        validator("ways").validate(as_json(found))


@pytest.mark.parametrize(
    "name, value", [("weld_mm", None), ("way", "sideways"), ("weld_hours", [1.0]), ("refused", "no room")]
)
def test_broken_json_is_caught(wedge_ways, name, value):
    values = as_json(wedge_ways)
    values["ways"][0][name] = value
    assert not validator("ways").is_valid(values)
    del values["ways"][0][name]
    assert not validator("ways").is_valid(values)


def test_the_page_shows_every_way_from_the_side(wedge_ways):
    page = ways_page(wedge_car(), LOOK, wedge_ways)
    assert page.count("<svg") == len(WAYS)
    for way in WAYS:
        assert f"<h2>{way}</h2>" in page
    assert "WHAT DIFFERS" in page
    pictures = page.split("<svg")[1:]
    assert len(set(pictures)) == len(WAYS)  # each way looks another way


def test_a_way_with_no_room_is_told_with_its_reason():
    found = compare_ways(wedge_car(posts=("A",)), LOOK)
    by_way = {way.way: way for way in found.ways}
    assert "lengthen needs a front and a rear post" in by_way[SPLIT].refused
    assert by_way[SPLIT].weld_mm is None
    assert not by_way[FORWARD].refused
    text = " ".join(ways_text(found).split())
    assert "split cannot be carried out on this car: lengthen needs a front and a rear post" in text


@pytest.mark.parametrize("name", demo_car_names())
def test_every_way_can_be_built_on_the_demo_cars(name):
    car, plan = shipped(name)
    for way in WAYS:
        built = build_checked(car, plan.changed(way=way))
        assert built.plan.way == way


def test_what_is_no_way_is_refused():
    car = read_car(demo_car_path("coupe"))
    with pytest.raises(PlanError, match="way must be forward or laid-back or split; got"):
        plan_with_settings(LOOK, ["way=sideways"], car)
    with pytest.raises(PlanError, match="way must come with a roof that is moved"):
        plan_with_settings(Plan(), ["way=split"], car)
    with pytest.raises(PlanError, match='way must be .* got "sideways"'):
        as_way(LOOK.changed(way="sideways"), car)
    with pytest.raises(PlanError, match="roof must be lowered"):
        compare_ways(car, Plan())
    assert plan_with_settings(LOOK.changed(way=SPLIT), ["way=none"], car).way == ""


def test_a_border_that_two_new_sheets_share_is_no_turn_of_the_line():
    """Skins beside new metal meet within a degree; where two sheets share a crease they turn by 60."""
    report = fit_report_of(closed_plan("pickup", "forward"))
    shared = [seam for seam in report.seams if waycomparison._is_shared(seam)]
    assert shared and max(map(tangent_break_deg, shared)) > 30
    beside = [edge.tangent_break_deg for metal in report.new_metal if not metal.walls for edge in metal.edges]
    assert max(beside) < 1.0
    rest = replace(report, seams=tuple(seam for seam in report.seams if seam not in shared))
    assert waycomparison._fit(report) == waycomparison._fit(rest)
