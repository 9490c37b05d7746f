"""The plans that close the roof whole, one for each way and car: the same look, and posts that meet."""

import pytest
from shipped_plans import closed_plan

from model.carfile import demo_car_names, demo_car_path, demo_closed_way_path, demo_plan_path, read_car
from model.cliwords import named_plan
from model.cornerholes import KIND as CORNER_PATCH
from model.evaluate import fit_report_of
from model.fillerruns import CORNER, STEP_FROM_MM
from model.fillers import closes_from_mm
from model.fillertips import DRAWN_MM, WELDED_UP_MM
from model.fit import SPACING_MM
from model.metalblanks import can_be_formed
from model.metalfindings import BREAK_LIMIT_DEG
from model.plan import FORWARD, LAID_BACK, SPLIT, WAYS
from model.planfile import read_plan
from model.seams import FILLER_SEAM, POST, TIP_SEAM, seam_reports
from model.ways import leaned_posts, posts_between_openings

OFF_MM = 0.3  # of the root gap: what it gives way by where two sheets come to a corner; 0.267 seen

CASES = [(name, way) for name in demo_car_names() for way in WAYS]


def carried_out(name, way):
    """Return a car and its closed plan by one way, as it was read and carried out."""
    car = read_car(demo_car_path(name))
    return car, read_plan(demo_closed_way_path(name, way), car), closed_plan(name, way)


@pytest.fixture(scope="module", params=CASES, ids=["-".join(case) for case in CASES])
def case(request):
    """Return (car, plan, built, way) of one closed plan."""
    return *carried_out(*request.param), request.param[1]


def test_the_look_is_that_of_the_plan_without_new_metal(case):
    car, plan, _, way = case
    name = next(n for n in demo_car_names() if read_car(demo_car_path(n)).name == car.name)
    plain = read_plan(demo_plan_path(name), car)
    assert plan.new_metal is not None
    assert (plan.roof.front_drop_mm, plan.roof.rear_drop_mm) == (
        plain.roof.front_drop_mm,
        plain.roof.rear_drop_mm,
    )
    assert (plan.roof.fore_aft == "along-windshield") == (way == FORWARD)
    assert (plan.split is not None) == (way == SPLIT)
    assert bool(plan.shifts) == (way != LAID_BACK and bool(posts_between_openings(car)))
    assert named_plan(f"{name}-{way}-closed", car) == plan


def test_every_post_that_can_be_brought_to_the_roof_meets_it(case):
    car, plan, built, _ = case
    free = {*leaned_posts(car), *posts_between_openings(car)}
    assert free
    posts = {(p.post, p.side): p for p in fit_report_of(built).posts}
    for key in free:
        assert abs(posts[key].miss_fore_aft_mm) < plan.root_gap_mm
        assert abs(posts[key].miss_across_mm) < plan.root_gap_mm


def test_skin_beside_a_post_that_meets_is_closed_by_its_weld(case):
    car, plan, built, _ = case
    free = {*leaned_posts(car), *posts_between_openings(car)}
    seams = [
        s for s in seam_reports(built) if s.kind == "skin" and s.name.startswith(tuple(map(_name, free)))
    ]
    assert seams
    for seam in seams:
        assert seam.gap_mm.min > 0 and seam.gap_mm.max < plan.root_gap_mm + 0.2
        assert max(abs(seam.step_mm.min), abs(seam.step_mm.max)) < STEP_FROM_MM + 0.5


def _name(key):
    return f"{key[0]} {key[1]},"


def test_what_is_left_is_within_what_a_weld_and_a_hammer_close_or_is_a_finding(case):
    """Largest gap, step, lap and break of the line of the closed roof, seam by seam."""
    _, _, built, _ = case
    report = fit_report_of(built)
    told = {(finding.kind, finding.where) for finding in report.findings}
    limit_mm = closes_from_mm(built)
    for seam in report.seams:
        is_box = seam.kind == POST or ", post" in seam.name
        if seam.gap_mm is None:
            continue
        step_mm = max(abs(seam.step_mm.min), abs(seam.step_mm.max))
        is_tip = seam.kind == TIP_SEAM and seam.gap_mm.max <= WELDED_UP_MM
        assert seam.gap_mm.max <= limit_mm or is_tip or ("gap", seam.name) in told, seam.name
        assert seam.gap_mm.min > -1e-3, seam.name
        most_mm = DRAWN_MM if ("step", seam.name) in told else STEP_FROM_MM + 0.01
        assert is_box or step_mm <= most_mm, seam.name
        if not is_box and seam.kind != FILLER_SEAM:
            assert seam.edge_mm - seam.facing_mm <= SPACING_MM or ("open gap", seam.name) in told, seam.name
    patches = {metal.name for metal in report.new_metal if metal.kind == CORNER_PATCH}
    for metal in (m for m in report.new_metal if not m.walls):
        for edge in metal.edges:
            is_told = ("tangent break", f"{metal.name} to {edge.piece}") in told
            is_at_patch = metal.kind == CORNER_PATCH or any(patch in metal.ends for patch in patches)
            assert edge.tangent_break_deg < BREAK_LIMIT_DEG or (is_at_patch and is_told), edge
        assert all(edge.off_root_gap_mm < OFF_MM for edge in metal.edges), metal.name
        if CORNER in metal.ends:
            assert ("open corner", metal.name) in told


def test_every_corner_is_closed(case):
    car, _, built, way = case
    report = fit_report_of(built)
    assert not {f.where for f in report.findings if f.kind in ("open corner", "open gap")}
    patches = [metal for metal in report.new_metal if metal.kind == CORNER_PATCH]
    split = 4 if any(post.name == "C" for post in car.posts) else 0  # the pickup's, split, are welds
    assert len(patches) == (split if way == SPLIT else 2)


def test_new_metal_can_be_bent_as_it_lies(case):
    report = fit_report_of(case[2])
    assert not {metal.name for metal in report.new_metal if not can_be_formed(metal)}
    assert not {f.where for f in report.findings if f.kind == "bends too tightly"}
