"""Remedies and weld plan as tables in the notebook: what they say, folded, and that they follow the plan."""

import re

from sample_reports import sample_report
from test_piecuts import built, reported

from model.output.workhtml import OPEN_ROOF, remedies_html, welding_html
from model.preview import Preview
from model.weldplan import weld_plan


def test_every_remedy_is_a_row_and_the_plans_choice_is_named():
    report = reported("coupe", "C")
    html = remedies_html(report)
    rows = re.findall(r'<tr data-place="([^"]+)"', html)
    wanted = [f"{p.post} {p.side}" for p in report.posts for _ in (*p.chosen, *p.remedies)]
    assert rows == wanted and html.startswith("<details>") and " open" not in html.split(">")[0]
    assert "<b>pie cut</b>" in html and "no sheet across the car" in html
    assert remedies_html(sample_report(posts=())) == ""


def test_the_weld_plan_has_its_seams_and_order():
    plan = weld_plan(built("coupe", "C"), reported("coupe", "C"))
    html = welding_html(plan)
    assert re.findall(r'<tr data-place="([^"]+)"', html) == [seam.name for seam in plan.seams]
    assert html.count("<details>") == 3 and "drawn in before the roof meets it" in html
    assert "door frames, apart" in html


def test_the_notebook_shows_them_for_the_plan_in_the_picture():
    shown = Preview("pickup")
    assert shown.remedies.value == remedies_html(shown.report)
    assert shown.welding.value == welding_html(weld_plan(shown.built, shown.report)) != OPEN_ROOF
    before = shown.welding.value, shown.remedies.value
    shown.set("pie_cut.A=meet")
    assert "A right, pie cut" in shown.welding.value and "<b>pie cut</b>" in shown.remedies.value
    assert (shown.welding.value, shown.remedies.value) != before
