"""The report as text, held against numbers worked by hand."""

import json
import re
from dataclasses import replace

import pytest
from sample_reports import (
    sample_filler,
    sample_finding,
    sample_lean,
    sample_post,
    sample_post_piece,
    sample_report,
    sample_seam,
    sample_trim,
    validator,
)

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
    signed_tenths,
    table_lines,
    volume_cell,
)
from model.output.comparison import comparison_text
from model.output.text import report_text, worst_first
from model.trimreport import END_MARK


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


def test_a_table_too_wide_for_the_page_folds_its_first_column():
    lines = table_lines(["seam", "gap"], [["upper end to the roof at the gutter", "9" * 70], ["strip", "1"]])
    assert max(map(len, lines)) <= WIDTH
    assert [line[:28].rstrip() for line in lines] == [
        "  seam",
        "  upper end to the roof at",
        "    the gutter",
        "  strip",
    ]


def test_columns_still_line_up_where_the_others_leave_the_first_no_room():
    """The first column keeps 12, head and rows alike, though the table is wider than the page then."""
    lines = table_lines(["post and side", "marks"], [["A", "9" * 110], ["rear corner right", "1"]])
    assert len({len(line) for line in lines if line.endswith(("9", "1", "marks"))}) == 1
    assert max(map(len, lines)) == 2 + 12 + 2 + 110


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_every_line_fits_the_page(unit):
    text = report_text(sample_report(unit)) + comparison_text([sample_report(unit)] * 5)
    assert max(map(len, text.splitlines())) <= WIDTH
    assert not re.search(r"nan|None|inf\b|[ \t]\n", text)


def test_a_car_in_mm_is_reported_without_inches():
    assert '"' not in report_text(sample_report("mm")).replace('"two and a quarter"', "")


def test_the_report_says_what_happens_to_a_post():
    text = report_text(sample_report())
    (cut,) = re.findall(r"^  B right +level.*", text, re.MULTILINE)
    assert re.search(r'50" \(1270\.0\) +0\.0° +14\.0° +2-1/4" \(57\.2\) +2-5/16" \(58\.9\)', cut)
    (ends,) = re.findall(r"^  B right +0\".*", text, re.MULTILINE)
    assert re.search(r'1-7/16" \(36\.5\) forward +9/16" \(14\.3\) inboard +0\.7°', ends)
    assert "B right and left: shift the upper end 1-7/16 in rearward" in text


def test_the_report_gives_both_marks_on_every_edge():
    text = report_text(sample_report())
    for edge in ("front outer", "front inner", "rear inner", "rear outer"):
        marks = rf'{edge} +50" \(1270\.0\) +52-3/8" \(1330\.0\) +2-5/16" \(58\.9\) +2-3/8" \(59\.7\)'
        assert len(re.findall(marks, text)) == 2  # right and left


def test_a_rake_that_grows_lies_flatter_on_either_side_of_plumb():
    window = sample_report().window
    laid = type(window)(**{**vars(window), "rear_rake_before_deg": -50.0, "rear_rake_after_deg": -54.0})
    text = report_text(sample_report(window=laid))
    assert re.search(r"rear window rake +50\.0° forward +54\.0° forward +4\.0° flatter", text)
    assert re.search(r"windshield rake +32\.0° rearward +32\.7° rearward +0\.7° flatter", text)


def test_a_seam_is_told_with_length_fit_and_place():
    text = report_text(sample_report())
    assert re.search(r"B right, lower +skin +body / roof +2' 8\" \(813\)", text)
    fit = r'B right, lower +-1/16" \(-1\.2\) +1/32" \(0\.8\) +1/8" \(3\.2\) +-1/4" \(-6\.4\)'
    assert re.search(fit, text)
    assert 'x 47-1/4" y -23" z 50"' in text
    assert "No facing edge: strip." in text


def test_a_seam_of_new_metal_is_told_by_its_name_alone_and_one_of_a_piece_in_a_post_with_both():
    """Names of fillers say what they join; with the pieces beside them they were folded into six lines."""
    report = sample_report()
    filler = report.new_metal[0].name
    seams = (
        sample_seam(),
        sample_seam(f"{filler} to roof", kind="filler", pieces=("roof", filler)),
        sample_seam(f"{filler}, tips", kind="tip", pieces=("body", "roof")),
        sample_seam("C right, post lower", kind="post", pieces=("body", "post piece C right")),
    )
    text = report_text(replace(report, seams=seams))
    lengths = text[text.index("SEAMS: WHAT IS WELDED") : text.index("SEAMS: HOW THEY FIT")]
    assert re.search(rf"{filler} to roof +filler +2' 8\" \(813\)", lengths)
    assert re.search(rf"{filler}, tips +tip +2' 8\" \(813\)", lengths)
    assert re.search(r"C right, post lower +post +body / post piece C right", lengths)
    assert lengths.count(f"/ {filler}") == 0


@pytest.mark.parametrize(
    ("value", "shown"), [(0.04, "0.0"), (-0.04, "0.0"), (0.06, "+0.1"), (-3.35, "-3.4"), (0.0, "0.0")]
)
def test_what_rounds_to_nothing_has_no_sign(value, shown):
    assert signed_tenths(value) == shown


def test_a_fitted_window_panel_is_told_before_and_after():
    text = report_text(sample_report())
    assert 'Solved: 2-3/4" (70.0) down; lay-down 4.0°.' in text
    assert "Stopped at its limit: lay-down." in text
    assert 'The lower edge comes down 2-13/16" (71.4); at most 3" (76.2).' in text
    row = r'window panel to roof, after +1/8" \(3\.2\) +1/16" \(1\.6\) +1/4" \(6\.4\) +-2\.5°'
    assert re.search(row, text)
    window = sample_report().window
    held = type(window)(**{**vars(window), "fit": None})
    assert "FITTED" not in report_text(sample_report(window=held))


def test_a_trim_line_is_told_from_its_mark():
    text = report_text(sample_report())
    told = " ".join(text.split())
    assert "window panel to roof: trim the roof; it would leave too little flange." in told
    assert (
        "From the centreline, along the edge of the roof, 1' 4\" (406) of it; 5 in² (32 cm²) fall off."
        in told
    )
    assert 'The two stand up to 1/4" (6.4) off each other there: mark it again' in told
    assert re.search(
        r'8" \(203\.2\) to the left +0" \(0\.0\) +8" \(203\.2\) to the right +1/4" \(6\.4\)', text
    )
    assert re.search(r'at the mark +1/2" \(12\.7\)', text)
    assert "shallow: trim the roof" in told and 'Dress up to 0" (0.0) along' in told
    assert "saw on the waste side" in told
    assert "TRIM LINES" not in report_text(sample_report(trims=()))


def test_a_trim_line_as_deep_all_along_needs_no_table_and_one_from_an_end_says_which_end():
    even = sample_trim()
    even = replace(even, stations=tuple(replace(station, depth_mm=6.35) for station in even.stations))
    told = " ".join(report_text(sample_report(trims=(even,))).split())
    assert 'It is 1/4" (6.4) deep all along, from 8" (203.2) to the left to 8" (203.2) to the right.' in told
    assert "from the mark depth" not in told
    end = sample_trim(mark=END_MARK, mark_mm=(2400.0, -350.0, 1150.0))
    told = " ".join(report_text(sample_report(trims=(end,))).split())
    assert 'From the end of the cut at x 94-1/2" y -13-3/4" z 45-1/4", along the edge of the roof' in told


def test_findings_stand_under_their_limit_and_source():
    lines = report_text(sample_report()).splitlines()
    at = lines.index('  ends miss   limit 1/16" (1.5); source: assumed: half a wall thickness')
    assert lines[at + 1] == '    - B right, 1-7/16" (36.5): the upper end lands forward of the lower one.'


def test_findings_of_one_kind_with_several_limits_each_say_theirs():
    near, far = sample_finding("left", 30.0, 25.4), sample_finding("right", 100.0, 50.8)
    text = report_text(sample_report(findings=(near, far)))
    told = " ".join(text[text.index("FINDINGS") :].split())
    assert told.count("each with its limit; source:") == 1
    assert re.search(
        r'- B right, 3-15/16" \(100\.0\), limit 2" \(50\.8\): .* - B right, .*, limit 1" \(25\.4\): ', told
    )


def test_the_worst_of_a_kind_comes_first_and_kinds_keep_their_order():
    grave = sample_finding("headroom", 700.0, 900.0, kind="headroom")
    small, large = (sample_finding("miss", mm, 1.5) for mm in (3.0, 36.5))
    assert worst_first([grave, small, large]) == ((grave,), (large, small))


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
    nothing = {"posts": (), "seams": (), "trims": (), "interference": (), "findings": (), "side_glass": ()}
    text = report_text(sample_report(window=still, totals=totals, **nothing))
    assert "Caution" not in text and "no findings" in text


def test_comparison_sets_plans_side_by_side():
    worse = sample_report(
        name="a plan whose name is far too long for a column",
        posts=(sample_post(miss_fore_aft_mm=63.5),),
        seams=(sample_seam(),),
    )
    text = comparison_text([sample_report(), worse])
    assert re.search(r"two and a quarter +a plan whose name is …", text)
    assert re.search(r'greatest miss fore-aft +1-7/16" \(36\.5\) +2-1/2" \(63\.5\)', text)
    assert re.search(r"\n +seams +2 +1\n", text)


def test_new_metal_is_told_with_its_ends_and_its_mass():
    text = report_text(sample_report())
    assert '11-1/4" (285.8) × 2-1/4" (57.2)' in text and "-1.2 %" in text
    assert "NEW METAL" in text and "0.051 kg" in text and "In all 2 pieces of 1.00 mm sheet" in text
    assert 'one end free at an opening, the other open, up to 1" (25.4) wide' in text
    assert "NEW METAL" not in report_text(sample_report(new_metal=()))


def test_a_post_piece_is_told_with_its_marks_and_its_walls():
    text = report_text(sample_report())
    text = text[text.index("POST PIECES") : text.index("SEAMS: WHAT")]
    assert re.search(r'B right +3-5/8" \(92\.1\) +3/8" \(9\.5\) +4" \(101\.6\) +2\.6 +0"', text)
    assert re.search(r'axis +46-3/8" \(1177\.9\) +3-3/4" \(95\.3\) +52-3/4" \(1339\.9\) +3/8"', text)
    assert re.search(r'right front +2" \(50\.8\) +2" \(50\.8\) +4-1/8" \(105\.0\) +4-1/8"', text)
    assert re.search(r'right front +4-1/2" \(113\.8\) +first +1/32" \(0\.8\) +8 in²', text)
    assert "local code and licensed practice" in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 100
    assert "POST PIECES" not in report_text(sample_report(posts=(sample_post(),)))


def test_a_hinge_piece_is_told_with_its_marks_and_its_walls():
    lean = sample_lean()
    wall = sample_post_piece()[1].walls[0]
    metal = sample_filler(name=lean.piece.name, kind="hinge piece", walls=(wall,))
    report = sample_report(posts=(sample_post(post="A", lean=lean),), new_metal=(metal,))
    text = report_text(report)
    text = text[text.index("HINGE PIECES") : text.index("SEAMS: WHAT")]
    assert re.search(r'A right +axis +1/2" \(12\.7\) +42-1/2" \(1079\.5\) +1/2" \(12\.7\)', text)
    assert re.search(r'A right front +2" \(50\.8\) +2" \(50\.8\) +4-1/8" \(105\.0\)', text)
    assert "local code and licensed practice" in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 100
    validator("report").validate(json.loads(json.dumps(report.to_json(), allow_nan=False)))
    bare = sample_report(posts=(sample_post(lean=replace(lean, piece=None)),))
    assert "HINGE PIECES" not in report_text(bare)
