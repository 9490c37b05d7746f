"""The weld plan of the demo cars and of flat cabs: every millimetre once, in the stated order."""

import json
from dataclasses import replace
from functools import lru_cache

import jsonschema
import numpy as np
import pytest
from invented_cars import (
    bare_car,
    cylinder_hoops,
    flat_car,
    mirrored_car,
    mirrored_plan,
    varied_car,
    varied_plan,
)
from shipped_plans import closed_plan

from model.carfile import demo_car_names, demo_car_path, read_car
from model.cli import DONE, REFUSED, main
from model.evaluate import build_checked, fit_report_of
from model.files import packaged_schema
from model.output.weldhtml import weld_page
from model.output.weldtext import paired, weld_text
from model.plan import Plan, RoofMove
from model.planfile import read_plan
from model.skin import skin_of
from model.weldplan import _crown_over, weld_plan
from model.weldrules import CHORD_MM, LOW_CROWN_MM

D, TUMBLE = 50.0, 14.0


WAYS = ("plan", "closed", "laid-back", "split")
ALL = [f"{name} {way}" for name in demo_car_names() for way in WAYS]


def carried_out(name, way):
    path = demo_car_path(name)
    car = read_car(path)
    return build_checked(car, read_plan(path.with_name(f"{name}-{way}.toml"), car))


@lru_cache
def demo(name):
    """Report and weld plan of a demo car by one of the plans that ship for it."""
    name, _, way = name.partition(" ")
    built = closed_plan(name) if way == "closed" else carried_out(name, way or "plan")
    report = fit_report_of(built)
    return built, report, weld_plan(built, report)


@lru_cache
def flat():
    car = flat_car(rake_deg=32.0, tumblehome_deg=TUMBLE)
    roof = RoofMove(front_drop_mm=D, rear_drop_mm=D)
    built = build_checked(car, Plan(roof=roof, kerf_mm=1.2, root_gap_mm=0.8))
    report = fit_report_of(built)
    return built, report, weld_plan(built, report)


@pytest.mark.parametrize("name", ALL)
def test_runs_add_up_to_the_report_s_weld(name):
    _, report, plan = demo(name)
    assert [s.name for s in plan.seams] == [s.name for s in report.seams]
    for seam, reported in zip(plan.seams, report.seams, strict=True):
        assert sum(run.length_mm for run in seam.runs) == pytest.approx(reported.length_mm, abs=1e-6)
    assert plan.length_mm == pytest.approx(report.totals.weld_mm, abs=1e-6)
    assert plan.low_crown_mm == pytest.approx(
        sum(s.length_mm for s in plan.seams if s.is_low_crown), abs=1e-9
    )


@pytest.mark.parametrize("name", ALL)
def test_every_millimetre_of_every_run_is_welded_once_and_held_by_tacks(name):
    for seam in demo(name)[2].seams:
        for run in seam.runs:
            assert [s.turn for s in run.stretches] == list(range(1, len(run.stretches) + 1))
            ordered = sorted(run.stretches, key=lambda s: s.from_mm)
            assert ordered[0].from_mm == 0 and ordered[-1].to_mm == pytest.approx(run.length_mm, abs=1e-9)
            for a, b in zip(ordered, ordered[1:], strict=False):
                assert a.to_mm == pytest.approx(b.from_mm, abs=1e-9)
            assert max(s.to_mm - s.from_mm for s in ordered) <= seam.tack_pitch_mm + 1e-9
            if len(ordered) >= 4:
                for a, b in zip(run.stretches, run.stretches[1:], strict=False):
                    assert a.to_mm < b.from_mm - 1e-9 or b.to_mm < a.from_mm - 1e-9
            tacks = sorted(run.tacks_mm)
            assert 0 < tacks[0] <= 6 and tacks[-1] < run.length_mm
            assert np.diff(tacks).max(initial=0) <= seam.tack_pitch_mm + 1e-9


@pytest.mark.parametrize("name", ALL)
def test_a_run_is_as_long_as_it_is_far_from_its_mark_to_its_end(name):
    """A line is never shorter than the straight way; on these seams it bends little within a run."""
    for seam in demo(name)[2].seams:
        for run in seam.runs:
            straight = np.linalg.norm(np.subtract(run.end_mm, run.mark_mm))
            assert straight <= run.length_mm + 0.05
            if seam.kind in ("post", "strip"):
                assert straight == pytest.approx(run.length_mm, rel=0.02)


def test_skin_beside_a_flat_cab_s_post_is_parted_where_its_box_is():
    """B: skin from 700 to 800 at x, the upright box 60 wide at 750: runs of 20, to 720 and from 780."""
    seam = flat()[2].seam("B right, side skin")
    ends = sorted(x for run in seam.runs for x in (run.mark_mm[0], run.end_mm[0]))
    assert ends == pytest.approx([700, 720, 780, 800], abs=0.02)
    assert seam.access == "outside only"  # nothing is further than 25.4 from the box


def test_a_post_has_one_run_for_each_face_opposite_ones_in_turn():
    seam = flat()[2].seam("B right, post")
    assert [run.part for run in seam.runs] == ["front face", "rear face", "inner face", "outer face"]
    front, rear, inner, outer = (run.length_mm for run in seam.runs)
    # Level cut of a 60 × 40 box leaning 14° inboard: 60 along x, 40 / cos 14° across.
    assert (inner, outer) == pytest.approx((60, 60), abs=1e-9)
    assert (front, rear) == pytest.approx((40 / np.cos(np.radians(TUMBLE)),) * 2, abs=1e-9)
    assert seam.access == "outside only" and seam.crown_mm is None and not seam.is_low_crown


def test_flat_sheet_has_no_crown_and_is_low():
    for seam in flat()[2].seams:
        if seam.kind == "skin":
            assert seam.crown_mm == pytest.approx(0, abs=1e-6) and seam.is_low_crown


def test_the_crown_over_the_chord_is_that_of_the_circle():
    """A turned roof of radius R: R − √(R² − c²/4) across, whatever the place; nothing along."""
    radius = 1500.0
    grid = skin_of(bare_car(*cylinder_hoops(radius))).grids["roof"]
    sagitta = radius - np.sqrt(radius**2 - CHORD_MM**2 / 4)
    across = _crown_over(grid, np.array([0.5, 0.5]), 1)
    assert across == pytest.approx(sagitta, rel=0.02)
    assert _crown_over(grid, np.array([0.5, 0.5]), 0) == pytest.approx(0, abs=1e-6)
    assert sagitta > LOW_CROWN_MM  # 7.75: not low


@pytest.mark.parametrize("name", ALL)
def test_order_of_work(name):
    plan = demo(name)[2]
    names = sorted(s.name for s in plan.seams)
    for do in ("tack", "weld"):
        assert sorted(n for step in plan.steps if step.do == do for n in step.seams) == names
    dos = [step.do for step in plan.steps]
    assert dos == sorted(dos)  # all is tacked before anything is welded
    kinds = {s.name: s.kind for s in plan.seams}
    kinds |= {s.name: "window" for s in plan.seams if "window panel" in s.name}
    kinds |= {s.name: "gutter" for s in plan.seams if "gutter" in s.name}
    for do in ("tack", "weld"):
        order = [kinds[step.seams[0]] for step in plan.steps if step.do == do]
        wanted = [k for k in ("hinge", "post", "skin", "strip", "filler", "window", "gutter") if k in order]
        assert order == wanted
    posts = next(step.seams for step in plan.steps if kinds[step.seams[0]] == "post")
    assert [name.removesuffix(" lower") for name in posts[:2]] == ["A right, post", "A left, post"]


def test_filler_and_time_follow_from_the_rules():
    """Post wall 1.5, bead 3 × 0.3 to 5 × 0.8, gap 0.8 at least: A ρ L / η; L / v."""
    seam = flat()[2].seam("B right, post")
    low, high = 0.8 * 1.5 + 0.9, seam.filler_g[1] * 0.93 / (seam.length_mm * 7.85e-3)
    assert seam.filler_g[0] == pytest.approx(low * 7.85e-3 * seam.length_mm / 0.98, abs=1e-9)
    assert 0.8 * 1.5 + 4 <= high + 1e-9 <= 1.5 * 1.5 + 4 + 2e-9
    assert seam.arc_min == pytest.approx((seam.length_mm / 500, seam.length_mm / 75), abs=1e-9)
    plan = flat()[2]
    assert plan.bench_min == pytest.approx((plan.arc_min[0] / 0.3, plan.arc_min[1] / 0.1), abs=1e-9)
    assert plan.filler_g == pytest.approx(np.sum([s.filler_g for s in plan.seams], axis=0), abs=1e-9)


def test_without_a_chop_nothing_is_welded():
    built = build_checked(flat_car(), Plan())
    plan = weld_plan(built, fit_report_of(built))
    assert plan.seams == () and plan.steps == () and plan.length_mm == 0 and plan.pulls == ()
    assert "nothing is welded" in weld_text(plan)
    assert weld_page(plan).endswith("</html>\n")


@pytest.mark.parametrize("name", ALL)
def test_json_keeps_its_contract(name):
    schema = packaged_schema("weld")
    jsonschema.Draft202012Validator.check_schema(schema)
    values = json.loads(json.dumps(demo(name)[2].to_json(), allow_nan=False))
    jsonschema.Draft202012Validator(schema).validate(values)
    values["seams"][0]["runs"][0]["stretches"][0]["turn"] = "first"
    assert not jsonschema.Draft202012Validator(schema).is_valid(values)


@pytest.mark.parametrize("name", ALL)
def test_text_fits_the_page_and_the_page_draws_every_stretch(name):
    plan = demo(name)[2]
    text = weld_text(plan)
    assert max(map(len, text.splitlines())) <= 100
    for words in ("ORDER OF WORK", "Caution: Zinc", "Caution: Welding", "lead"):
        assert words in text
    page = weld_page(plan)
    assert page.count("<rect ") == sum(len(run.stretches) for s in plan.seams for run in s.runs)
    assert page.count("<path ") == sum(len(run.tacks_mm) for s in plan.seams for run in s.runs)


def test_the_command(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["weld", "pickup", "pickup-plan", "-o", "weld.html"]) == DONE
    assert capsys.readouterr().out == "wrote weld.html\n"
    assert (tmp_path / "weld.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert main(["weld", "pickup", "pickup-plan", "--json"]) == DONE
    assert json.loads(capsys.readouterr().out)["car"]["name"] == "Dray pickup"
    assert main(["weld", "pickup", "no-such-plan"]) == REFUSED


def test_new_metal_is_as_thick_as_it_says_and_lies_between_ready_edges():
    _, report, plan = demo("pickup closed")
    gauge = {metal.name: metal.gauge_mm for metal in report.new_metal if not metal.walls}
    long_edges = [s for s in plan.seams if s.kind == "filler" and s.pieces[0] not in gauge]
    patches = {metal.name for metal in report.new_metal if metal.kind == "corner patch"}
    between = [s for s in long_edges if s.pieces[1] not in patches]
    assert len(between) == 2 * len(gauge.keys() - patches) > 0
    assert len(long_edges) == len(between) + len(patches)  # the panel's edge; its other sides are fillers
    for seam in long_edges:
        assert seam.sheet_mm == (1.0, gauge[seam.pieces[1]])
        assert seam.is_ready
    thin = replace(report, new_metal=tuple(replace(m, gauge_mm=0.8) for m in report.new_metal))
    seam = weld_plan(demo("pickup closed")[0], thin).seam(long_edges[0].name)
    assert seam.sheet_mm == (1.0, 0.8) and seam.tack_pitch_mm == 25.0


def test_what_laps_or_gapes_is_not_ready():
    seams = {s.name: s for s in demo("pickup")[2].seams}
    lapping = seams["window panel to body"]
    assert lapping.gap_mm[0] < -5 and not lapping.is_ready
    trimmed = [s for s in demo("pickup closed")[2].seams if "window panel to body" in s.name]
    assert trimmed and all(s.gap_mm[0] > 0 for s in trimmed)
    assert not demo("pickup")[2].seam("rear corner right, side skin").is_ready


def test_right_and_left_are_named_once():
    names = ("A right, post", "A left, post", "divider centre, post", "B left, post")
    assert paired(names) == "A post (right, left); divider centre, post; B left, post"
    assert paired(("filler C right, roof skin to filler C right, side skin",)).count("right") == 2
    assert paired(()) == ""


@pytest.mark.parametrize("key", [2, 5])
def test_a_mirrored_car_is_welded_in_mirrored_runs(key):
    """Seams change sides by name; runs, access, crown and shrinkage are the same."""
    car = varied_car(key)
    plan = varied_plan(car, key)
    built, other = build_checked(car, plan), build_checked(mirrored_car(car), mirrored_plan(plan))
    ours, theirs = (weld_plan(b, fit_report_of(b)) for b in (built, other))
    assert len(ours.seams) == len(theirs.seams) > 0

    def over(name):
        return " ".join(
            {"right": "left", "left": "right"}.get(w.strip(","), w.strip(",")) for w in name.split()
        )

    found = {(s.name.replace(",", ""), s.kind): s for s in theirs.seams}
    for seam in ours.seams:
        mirror = found[over(seam.name), seam.kind]
        assert mirror.length_mm == pytest.approx(seam.length_mm, abs=1e-3)
        assert mirror.access == seam.access and mirror.is_ready == seam.is_ready
        assert mirror.shrink_mm == pytest.approx(seam.shrink_mm, abs=1e-4)
        lengths = [sorted(run.length_mm for run in s.runs) for s in (seam, mirror)]
        assert lengths[1] == pytest.approx(lengths[0], abs=1e-3)
        if seam.crown_mm is not None:
            assert mirror.crown_mm == pytest.approx(seam.crown_mm, abs=1e-3)


def test_new_metal_beside_a_post_is_reached_from_outside_only_as_the_skin_was():
    closed, open_ = demo("coupe closed")[2], demo("coupe")[2]
    for side in ("right", "left"):
        access = closed.seam(f"filler B {side}, side skin to body").access
        assert access == open_.seam(f"B {side}, side skin").access == "both sides, outside only at the post"
    assert closed.seam("filler window panel to body to body").access == "both sides"


@pytest.mark.parametrize("name", [f"{name} laid-back" for name in demo_car_names()])
def test_the_box_of_a_hinge_has_four_faces_and_a_post_s_wall(name):
    """Right and left A-posts are leaned; their hinges are tacked before anything else."""
    built, _, plan = demo(name)
    for side in ("right", "left"):
        seam = plan.seam(f"A {side}, hinge, post")
        post = built.ends["A", side].line.post
        assert [run.part for run in seam.runs] == ["front face", "rear face", "inner face", "outer face"]
        assert seam.sheet_mm == (post.wall_mm, post.wall_mm) and seam.access == "outside only"
        assert seam.crown_mm is None
        assert "A right, hinge, post" in plan.steps[0].seams
