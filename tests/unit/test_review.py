"""What the owner's page says: its numbers against the report, its parts against the picture, its rules."""

import json
import re
from base64 import b64decode
from dataclasses import replace
from functools import lru_cache
from html.parser import HTMLParser

import numpy as np
import pytest
from invented_cars import box_car
from sample_reports import sample_report

from model.carfile import demo_car_path, demo_plan_path, read_car
from model.errors import PlanError
from model.evaluate import build_checked, evaluate
from model.output.ownerpage import POLICY, review_page
from model.output.packedparts import box_of, packed
from model.plan import NewMetal, Plan, RoofMove
from model.planfile import read_plan
from model.review import keeps_rear_glass, length_said, plan_review
from model.viewparts import parts_of

CARS = ("coupe", "pickup")


@lru_cache
def car_and_plan(name):
    car = read_car(demo_car_path(name))
    return car, read_plan(demo_plan_path(name), car)


@lru_cache
def told(name):
    car, plan = car_and_plan(name)
    report = evaluate(car, plan)
    return report, plan_review(build_checked(car, plan), report)


@lru_cache
def page_of(name):
    car, plan = car_and_plan(name)
    return review_page(car, [plan])


class Reader(HTMLParser):
    """Notes what an accessibility rule asks about: headings, pictures, fields, tags left open."""

    VOID = {"meta", "input", "br", "link", "img"}

    def __init__(self, text):
        super().__init__()
        self.headings, self.svgs, self.open, self.tags = [], [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag == "svg":
            self.svgs.append(dict(attributes))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        assert self.open and self.open.pop() == tag, f"</{tag}> closes another element"


@pytest.mark.parametrize("name", CARS)
def test_the_numbers_are_the_report_s(name):
    report, review = told(name)
    unit, totals, window = report.car["unit"], report.totals, report.window
    rows = {row.label: row for row in review.numbers}
    assert rows["roof down in front"].planned == length_said(totals.front_drop_mm, unit)
    assert rows["roof down at the rear"].planned == length_said(totals.rear_drop_mm, unit)
    lower = totals.height_before_mm - totals.height_after_mm
    assert rows["highest point lower by"].planned == length_said(lower, unit)
    headroom = rows["headroom at the seat"]
    assert headroom.stock == length_said(totals.headroom_before_mm, unit)
    assert headroom.planned == length_said(totals.headroom_after_mm, unit)
    assert rows["windshield glass"].stock == length_said(window.windshield_height_before_mm, unit)
    assert rows["windshield glass"].planned == length_said(window.windshield_height_after_mm, unit)
    assert rows["windshield leans back"].planned == f"{window.windshield_rake_after_deg:.1f}°"
    assert rows["rear glass"].planned == "kept" and keeps_rear_glass(report)
    assert 12 <= len(rows) == len(review.numbers) <= 15


@pytest.mark.parametrize("name", CARS)
def test_glass_that_the_report_calls_new_is_asked_for_and_not_said_to_stay(name):
    report, review = told(name)
    new = [finding.where for finding in report.findings if finding.kind == "new glass"]
    assert new and any("orders the glass" in text for text in review.asked)
    for pane in new:
        assert any(pane in text for text in review.is_new)
        assert not any(text.startswith("Glass:") and pane in text for text in review.stays)


def test_a_plan_that_leaves_the_roof_keeps_the_glass_and_asks_for_none():
    car, plan = car_and_plan("coupe")
    window_only = replace(plan, roof=None, cuts=(), shifts=())
    review = plan_review(build_checked(car, window_only), evaluate(car, window_only))
    assert not any("orders the glass" in text for text in review.asked)
    assert not any("Posts cut" in text for text in review.is_new)
    kept = next(text for text in review.stays if text.startswith("Glass:"))
    assert all(name in kept for name in ("windshield left", "door glass right", "quarter glass left"))


def test_a_post_that_is_leaned_is_said_to_be_new():
    car, _ = car_and_plan("coupe")
    plan = read_plan(demo_plan_path("coupe").with_name("coupe-laid-back.toml"), car)
    built = build_checked(car, plan)
    assert built.leans
    review = plan_review(built, evaluate(car, plan))
    (said,) = [text for text in review.is_new if "leaned" in text]
    assert {lean.key[0] for lean in built.leans} == set(said.rstrip(".").rpartition(": ")[2].split(", "))
    assert "lower end of a post, leaned" in review_page(car, [plan])


def test_closed_seams_are_told_as_new_metal():
    car = box_car()
    roof = RoofMove(front_drop_mm=50.0, rear_drop_mm=50.0, fore_aft=-20.0)
    closed = Plan(car=car.name, roof=roof, new_metal=NewMetal())
    report = evaluate(car, closed)
    assert len(report.new_metal) >= 8
    review = plan_review(build_checked(car, closed), report)
    (said,) = [text for text in review.is_new if text.startswith("New metal")]
    assert f"{len(report.new_metal)} pieces" in said
    assert f"{sum(metal.mass_kg for metal in report.new_metal):.1f} kg" in said
    text = review_page(car, [closed])
    assert "new sheet" in text and "open between pieces" not in text


def test_rear_glass_is_new_where_its_opening_changes():
    report = sample_report()
    for change_mm, is_kept in ((0.0, True), (3.0, False)):
        window = replace(report.window, rear_opening_change_mm=change_mm)
        assert keeps_rear_glass(replace(report, window=window)) is is_kept


def test_a_low_head_is_said_first():
    car, plan = car_and_plan("coupe")
    tall = replace(car, driver=replace(car.driver, stature_mm=2050.0))
    report = evaluate(tall, plan)
    assert any(finding.kind == "head in the roof" for finding in report.findings)
    text = review_page(tall, [plan])
    assert "Look at this first" in text and "Look at this first" not in page_of("coupe")


def test_positions_come_back_within_half_a_step():
    car, plan = car_and_plan("pickup")
    parts = parts_of(build_checked(car, plan), evaluate(car, plan))
    box = box_of([parts])
    assert box.step_mm < 0.07
    for part in parts.values():
        written = packed(part, box)
        whole = np.frombuffer(b64decode(written["position"]), "<i2").reshape(-1, 3).astype(float)
        back = box.low_mm + box.step_mm * (whole + 32768)
        given = np.frombuffer(part["position"], np.float32).reshape(-1, 3)
        assert np.abs(back - given).max() <= 0.5001 * box.step_mm + 1e-3
        index = np.frombuffer(b64decode(written["index"]), "<u4" if written["is_wide"] else "<u2")
        assert (index == np.frombuffer(part["index"], np.uint32)).all()


@pytest.mark.parametrize("name", CARS)
def test_the_page_is_one_small_file_that_asks_for_nothing(name):
    text = page_of(name)
    assert len(text.encode()) < 5_000_000
    reader = Reader(text)
    assert reader.open == []
    for tag, attributes in reader.tags:
        assert not {"src", "href", "action", "data", "srcset"} & set(attributes), (tag, attributes)
    (policy,) = [a["content"] for _, a in reader.tags if a.get("http-equiv") == "Content-Security-Policy"]
    assert policy == POLICY and policy.startswith("default-src 'none'")
    assert not re.search(r"url\(|@import", re.search("<style>(.*?)</style>", text, re.DOTALL).group(1))


def test_headings_do_not_skip_a_level_and_every_picture_says_what_it_is():
    reader = Reader(page_of("coupe"))
    assert reader.headings[0] == 1 and reader.headings.count(1) == 1
    assert max(np.diff(reader.headings)) <= 1
    assert len(reader.svgs) >= 10
    assert all(svg["role"] == "img" and svg["aria-label"] for svg in reader.svgs)
    assert dict(reader.tags)["html"] == {"lang": "en"}


def test_two_plans_are_set_side_by_side_and_one_is_not():
    car, plan = car_and_plan("coupe")
    other = replace(plan, name="two & <half>", roof=replace(plan.roof, front_drop_mm=38.1))
    text = review_page(car, [plan, other])
    assert "side by side" in text and "side by side" not in page_of("coupe")
    assert text.count("<article") == 2 and "two &amp; &lt;half&gt;" in text and "<half>" not in text
    data = json.loads(re.search('id="pd-data">(.*?)</script>', text, re.DOTALL).group(1))
    assert len(data["plans"]) == 2 and set(data["stock"]) <= set(data["looks"])
    assert "roof" in data["notes"] and "driver's eye" in data["views"]


def test_cautions_defer_to_local_codes_and_a_plan_that_cannot_be_built_is_refused():
    text = page_of("coupe")
    for words in ("not an engineering approval", "licensed practice", "Tempered glass", "hold lead"):
        assert words in text
    car, plan = car_and_plan("coupe")
    with pytest.raises(PlanError):
        review_page(car, [replace(plan, roof=replace(plan.roof, front_drop_mm=900.0))])


def test_the_stock_car_may_be_shown_as_a_plan():
    car, _ = car_and_plan("pickup")
    assert "Posts cut" not in review_page(car, [Plan(car=car.name, name="stock")])
