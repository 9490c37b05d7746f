"""A seam laid out straight: lengths from the centreline, limits, what is drawn past them."""

from dataclasses import replace
from functools import lru_cache
from xml.etree import ElementTree

import numpy as np
import pytest
from invented_cars import box_car
from sample_reports import sample_report, sample_seam

from model.evaluate import evaluate
from model.findings import hi_lo_limit_mm
from model.output.ribbonsvg import ribbon_svg, ribbons_html
from model.plan import Plan, WindowMove
from model.report import SeamStation
from model.ribbon import ribbon_of, window_ribbons


def seam_along_y(ys, gaps, steps=None, turns=None, along=None):
    """A seam whose edge runs along y, one station at every y."""
    steps, turns = steps or [0.0] * len(ys), turns or [0.0] * len(ys)
    along = along if along is not None else np.abs(np.array(ys) - ys[0])
    stations = tuple(
        SeamStation(
            at_mm=(2000.0, y, 1200.0),
            along_mm=float(s),
            gap_mm=gap,
            step_mm=step,
            angle_first_deg=turn + 40.0,
            angle_second_deg=-40.0,
        )
        for y, s, gap, step, turn in zip(ys, along, gaps, steps, turns, strict=True)
    )
    return sample_seam(
        name="window panel to roof", kind="window", pieces=("roof", "window panel"), stations=stations
    )


def report_of_a_car(**plan):
    """The sample report with a gauge, as every report of a car has one."""
    report = sample_report()
    return replace(report, car={**report.car, "gauge_mm": 1.0}, plan={**report.plan, **plan})


@pytest.mark.parametrize("is_reversed", [False, True])
def test_lengths_run_from_the_centreline_to_the_right(is_reversed):
    ys, gaps = [-30.0, -10.0, 10.0, 30.0, 50.0], [1.0, 2.0, 3.0, 4.0, 5.0]
    if is_reversed:  # the edge runs to the left
        ys, gaps = ys[::-1], gaps[::-1]
    ribbon = ribbon_of(report_of_a_car(), seam_along_y(ys, gaps))
    np.testing.assert_allclose(ribbon.along_mm, [-30, -10, 10, 30, 50], atol=1e-9)
    np.testing.assert_allclose(ribbon.strips[0].values, [1, 2, 3, 4, 5])
    assert ribbon.has_centreline and ribbon.runs == (slice(0, 5),)


def test_the_pen_is_lifted_where_nothing_faces():
    ys = [100.0, 110.0, 120.0, 130.0, 190.0, 200.0, 210.0]
    ribbon = ribbon_of(report_of_a_car(), seam_along_y(ys, [1.0] * 7))
    assert ribbon.runs == (slice(0, 4), slice(4, 7)) and not ribbon.has_centreline
    assert ribbon_svg(ribbon, "in").count("<polyline") == 3 * 2


def test_turn_is_the_sum_of_the_angles_and_limits_are_those_of_the_findings():
    window = {**sample_report().plan["window"], "proud_mm": 2.0}
    report = report_of_a_car(window=window, root_gap_mm=0.8, kerf_mm=1.5)
    ribbon = ribbon_of(report, seam_along_y([-10.0, 10.0, 30.0], [0.8] * 3, turns=[1.0, -3.0, 2.5]))
    gap, step, turn = ribbon.strips
    np.testing.assert_allclose(turn.values, [1.0, -3.0, 2.5], atol=1e-12)
    hi_lo = hi_lo_limit_mm(report.car["gauge_mm"])
    assert (step.low, step.high, step.wanted) == pytest.approx((2 - hi_lo, 2 + hi_lo, 2.0))
    assert gap.low == 0 and gap.wanted == 0.8
    assert gap.high == pytest.approx(max(report.car["gauge_mm"], 1.5) + 0.1)
    assert (turn.low, turn.high) == (-2.0, 2.0)


@lru_cache
def lowered():
    window = WindowMove(down_mm=9.0, flange_mm=19.05)
    return evaluate(box_car(), Plan(window=window, kerf_mm=1.2, root_gap_mm=0.8))


def test_a_panel_lower_in_its_own_plane_laps_below_and_opens_above():
    """All round the box's plumb back: no step, no turn; gap from 1.2 − 9 to 1.2 + 9."""
    (ribbon,) = window_ribbons(lowered())
    gap, step, turn = ribbon.strips
    assert gap.values.min() == pytest.approx(1.2 - 9.0, abs=1e-3)
    assert gap.values.max() == pytest.approx(1.2 + 9.0, abs=1e-3)
    assert np.abs(step.values).max() < 1e-9 and np.abs(turn.values).max() < 1e-6
    svg = ribbon_svg(ribbon, "in")
    assert 'laps 5/16"' in svg.replace("&quot;", '"') and 'wide 13/32"' in svg.replace("&quot;", '"')
    assert "panel low" not in svg and "ridge" not in svg and "hollow" not in svg


def test_the_picture_is_drawn_to_scale():
    """Two laps of 4 mm, limits 0 and 1.6: the filled shape's height is the lap's share of the strip."""
    report = report_of_a_car(root_gap_mm=0.8, kerf_mm=1.5)
    ys = [-40.0, -20.0, 0.0, 20.0, 40.0]
    svg = ribbon_svg(ribbon_of(report, seam_along_y(ys, [-4.0] * 5)), "mm")
    root = ElementTree.fromstring(svg)
    ns = "{http://www.w3.org/2000/svg}"
    (shape,) = root.findall(f"{ns}polygon")
    points = np.array([p.split(",") for p in shape.get("points").split()], float)
    band, frame = root.findall(f"{ns}rect")[:2]
    per_mm = float(band.get("height")) / 1.6
    assert np.ptp(points[:, 1]) == pytest.approx(4.0 * per_mm, abs=0.15)
    assert np.ptp(points[:, 0]) == pytest.approx(float(frame.get("width")), abs=0.1)
    assert shape.get("fill").startswith("url(#pd-bars-")
    assert root.get("role") == "img" and "gap -4.0 mm to -4.0 mm" in root.get("aria-label")


def test_a_report_without_a_window_panel_has_no_ribbon():
    assert ribbons_html(sample_report(seams=(sample_seam(),))) == ""
    html = ribbons_html(lowered())
    assert html.count("<svg") == 1 and "nan" not in html and "inf" not in html
