"""The report as text, held against numbers worked by hand."""

import re

import pytest
from sample_reports import sample_finding, sample_post, sample_report, sample_seam

from model.output.cells import (
    GAP_INCH,
    WIDTH,
    angle_cell,
    area_cell,
    gap_cell,
    length_cell,
    long_cell,
    place_cell,
    signed_cell,
    table_lines,
    volume_cell,
)
from model.output.text import comparison_text, report_text, worst_first


@pytest.mark.parametrize(
    ("mm", "inches", "metric"),
    [
        (57.15, '2-1/4" (57.2)', "57.2"),
        (-9.525, '-3/8" (-9.5)', "-9.5"),
        (-0.01, '0" (0.0)', "0.0"),
        (None, "—", "—"),
    ],
)
def test_a_length_reads_as_on_the_tape_with_mm_beside(mm, inches, metric):
    assert length_cell(mm, "in") == inches
    assert length_cell(mm, "mm") == metric


def test_gaps_are_read_to_a_thirty_second():
    assert gap_cell(25.4 / GAP_INCH, "in") == '1/32" (0.8)'


def test_a_sign_is_said_in_words_and_only_where_there_is_one():
    assert signed_cell(36.5, "in", "rearward", "forward") == '1-7/16" (36.5) rearward'
    assert signed_cell(-36.5, "mm", "rearward", "forward") == "36.5 forward"
    assert signed_cell(0.0, "mm", "rearward", "forward") == "0.0"
    assert angle_cell(-0.04, "inboard", "outboard") == "0.0°"


@pytest.mark.parametrize(
    ("inches", "text"),
    [
        (376.5, "31' 4-1/2\""),
        (12, "1' 0\""),
        (11.99, "1' 0\""),  # rounds up over the foot
        (7.875, '7-7/8"'),
        (0, '0"'),
    ],
)
def test_weld_is_told_in_feet_and_inches(inches, text):
    assert long_cell(inches * 25.4, "in").split(" (")[0] == text


def test_areas_and_volumes_in_both_units():
    assert area_cell(64516.0, "in") == "100 in² (645 cm²)"
    assert area_cell(64516.0, "mm") == "645 cm²"
    assert volume_cell(16387.064, "in") == "1.00 in³ (16.39 cm³)"
    assert place_cell((1016, -584.2, 1270), "in") == 'x 40" y -23" z 50"'


def test_columns_line_up():
    lines = table_lines(["post", "drop"], [["A", '2"'], ["rear", '2-1/4"']])
    assert lines == ["  post    drop", '  A         2"', '  rear  2-1/4"']


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_every_line_fits_the_page(unit):
    text = report_text(sample_report(unit)) + comparison_text([sample_report(unit)] * 5)
    assert max(map(len, text.splitlines())) <= WIDTH
    assert not re.search(r"nan|None|inf\b|[ \t]\n", text)


def test_a_car_in_mm_is_reported_without_inches():
    assert '"' not in report_text(sample_report("mm")).replace('"two and a quarter"', "")


def test_the_report_says_what_happens_to_a_post():
    text = report_text(sample_report())
    (cut,) = re.findall(r"^  B +right +level.*", text, re.MULTILINE)
    assert re.search(r'0\.0° +14\.0° inboard +2-1/4" \(57\.2\) +2-5/16" \(58\.9\) +2-3/8" \(59\.7\)', cut)
    (ends,) = re.findall(r"^  B +right +0\".*", text, re.MULTILINE)
    assert re.search(r'1-7/16" \(36\.5\) forward +9/16" \(14\.3\) inboard +0\.7°', ends)
    assert "B right and left: shift the upper end 1-7/16 in rearward" in text


def test_the_report_gives_both_marks_on_every_edge():
    lines = report_text(sample_report()).splitlines()
    at = next(i for i, line in enumerate(lines) if "rear outer" in line)
    assert lines[at + 1].split()[2:4] == ["lower", "z"] and lines[at + 1].count('50" (1270.0)') == 5
    assert lines[at + 2].split()[:2] == ["up", "edge"] and lines[at + 2].count('2-3/8" (59.7)') == 5


def test_a_seam_is_told_with_length_fit_and_place():
    text = report_text(sample_report())
    assert re.search(r"B right, lower +skin +right +body / roof +2' 8\" \(813\)", text)
    fit = r'B right, lower +-1/16" \(-1\.2\) +1/32" \(0\.8\) +1/8" \(3\.2\) +-1/4" \(-6\.4\)'
    assert re.search(fit, text)
    assert 'x 47-1/4" y -23" z 50"' in text
    assert "No facing edge: strip." in text


def test_findings_come_worst_first_with_value_limit_and_source():
    text = report_text(sample_report())
    assert re.findall(r"^ +(\d)\. B right: the (roof|upper|ends)", text, re.MULTILINE) == [
        ("1", "roof"),
        ("2", "upper"),
        ("3", "ends"),
    ]
    assert 'measured 1-7/16" (36.5), limit 1/16" (1.5). Source: assumed: half a wall thickness' in text


def test_worst_is_by_the_factor_past_the_limit_whether_it_is_a_least_or_a_most():
    too_little = sample_finding("headroom", 100.0, 900.0)
    too_much = sample_finding("miss", 3.0, 1.5)
    assert worst_first([too_much, too_little]) == (too_little, too_much)


def test_cautions_stand_where_the_work_is():
    text = " ".join(report_text(sample_report()).split())
    for word in ("local codes", "lead", "fire watch", "Tempered glass cannot be cut", "inspected", "protect"):
        assert word in text


def test_a_stock_report_warns_of_nothing():
    report = sample_report()
    window = report.window
    still = type(window)(
        **{**vars(window), "windshield_height_after_mm": window.windshield_height_before_mm},
    )
    totals = type(report.totals)(**{**vars(report.totals), "weld_mm": 0.0})
    nothing = {"posts": (), "seams": (), "interference": (), "findings": ()}
    text = report_text(sample_report(window=still, totals=totals, **nothing))
    assert "Caution" not in text and "no findings" in text


def test_comparison_sets_plans_side_by_side():
    worse = sample_report(
        name="a plan whose name is far too long for a column",
        posts=(sample_post(miss_fore_aft_mm=63.5),),
        seams=(sample_seam(),),
    )
    text = comparison_text([sample_report(), worse])
    assert re.search(r"two and a quart… +a plan whose na…", text)
    assert re.search(r'greatest miss fore-aft +1-7/16" \(36\.5\) +2-1/2" \(63\.5\)', text)
    assert re.search(r"\n +seams +2 +1\n", text)
