"""The rear window panel fitted: put back where it was cut, against closed forms and another search."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from invented_cars import box_car, mirrored_car, varied_car, wedge_car
from scipy.optimize import minimize

from model.built import build
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.edges import Edge, Edges
from model.errors import PlanError
from model.evaluate import evaluate, fit_report_of
from model.fit import Facing, meetings, turn_deg
from model.moves import IDENTITY, pitch_about, translation
from model.panelseams import PanelProblem, PanelSeam, panel_problem
from model.plan import FIT, Plan, RoofMove, WindowMove
from model.planfile import read_plan
from model.seams import seam_edges, seams_of
from model.windowfit import fitted_window

ALL_FREE = WindowMove(forward_mm=FIT, down_mm=FIT, lay_down_deg=FIT, sink_mm=150.0)


@lru_cache
def car_of(key):
    made = {"box": box_car, "wedge": wedge_car}
    if key in made:
        return made[key]()
    return read_car(demo_car_path(key)) if isinstance(key, str) else varied_car(key)


def uncut(key, window=ALL_FREE, kerf_mm=1.2):
    """Return what the fit of a panel in an uncut roof needs: layout, pivot and top, car."""
    built = build(
        car_of(key),
        Plan(window=replace(window, forward_mm=0.0, down_mm=0.0, lay_down_deg=0.0), kerf_mm=kerf_mm),
    )
    shape = built.shape
    return built.layout, shape.centreline_of(shape.flange(window.flange_mm)), shape.car


@pytest.mark.parametrize("key", ["box", "wedge", "coupe", "pickup", 3, 6])
@pytest.mark.parametrize("kerf_mm", [0.8, 3.0])
def test_put_back(key, kerf_mm):
    """The shell goes somewhere else as one piece; the panel has to follow it to 1e-6, whatever the blade."""
    layout, ends, car = uncut(key, kerf_mm=kerf_mm)
    known = translation(-27.0, 0.0, -31.0) @ pitch_about(ends[0], -3.5)  # 27 forward, 31 down, laid 3.5°
    problem = panel_problem(ALL_FREE, layout, {"body": known}, ends, IDENTITY, car)
    solved, fit = fitted_window(problem)
    moved = known.points(ends[0]) - ends[0]
    assert solved.forward_mm == pytest.approx(-moved[0], abs=1e-6)
    assert solved.down_mm == pytest.approx(-moved[2], abs=1e-6)
    assert solved.lay_down_deg == pytest.approx(3.5, abs=1e-7)
    assert fit.rms_before_mm > 5 and fit.rms_after_mm < 1e-6
    for seam in fit.seams:
        assert seam.before.rms_mm > 5 and seam.after.rms_mm < 1e-6 and seam.after.facing == 1


@pytest.mark.parametrize("held", [{"forward_mm": 27.0}, {"down_mm": 31.0}, {"lay_down_deg": 3.5}])
def test_put_back_with_one_held_where_it_belongs(held):
    layout, ends, car = uncut("coupe")
    known = translation(-27.0, 0.0, -31.0) @ pitch_about(ends[0], -3.5)
    problem = panel_problem(replace(ALL_FREE, **held), layout, {"body": known}, ends, IDENTITY, car)
    solved, fit = fitted_window(problem)
    wanted = {"forward_mm": 27.0, "down_mm": 31.0, "lay_down_deg": 3.5}
    assert {name: getattr(solved, name) for name in wanted} == pytest.approx(wanted, abs=1e-6)
    assert len(fit.free) == 2 and all(getattr(solved, name) == value for name, value in held.items())


def arc_problem(window, radius_mm=900.0, opening_mm=1.0, half_mm=300.0, height_mm=400.0):
    """Return a panel cut out of a plumb cylinder about the line x = y = 0, seams with 12 mm places."""

    def line(start, end, count):
        """Points and normals of a straight line in (arc, z) laid on the cylinder."""
        arc, z = (np.linspace(a, b, count) for a, b in zip(start, end, strict=True))
        t = arc / radius_mm
        out = np.stack([np.cos(t), np.sin(t), 0 * t], axis=1)
        return radius_mm * out + z[:, None] * [0, 0, 1], out

    def box(grow, count):
        w, low, high = half_mm + grow, -grow, height_mm + grow
        corners = [(-w, low), (w, low), (w, high), (-w, high), (-w, low)]
        return [line(a, b, count) for a, b in zip(corners[:-1], corners[1:], strict=True)]

    panel = [Edge(points, normals) for points, normals in box(0.0, 121)]
    shell = [Edge(points[::-1], normals[::-1]) for points, normals in box(opening_mm, 121)]
    laid = Edges(shell)
    edge = np.repeat(np.arange(4), 20)
    along = np.tile(0.1 + 0.8 * (np.arange(20) + 0.5) / 20, 4) * laid.length_mm[edge]  # clear of the corners
    point, tangent, normal = laid.at(edge, along)
    fair = np.zeros((3, 80))
    fair[0] = opening_mm
    # Across the upright edges the skin bends over the opening by opening / radius.
    fair[2] = np.where(edge % 2 == 1, np.degrees(opening_mm / radius_mm), 0.0)
    pivot, top = np.array([radius_mm, 0, 0.0]), np.array([radius_mm, 0, height_mm])
    seam = PanelSeam("roof", 1.0, point, tangent, normal, laid.length_mm[edge] / 20, fair)
    limits = {"window_forward": (-500.0, 500.0), "window_down": (-200.0, 200.0), "lay_down": (-10.0, 45.0)}
    return PanelProblem(
        window=window,
        pivot_mm=pivot,
        top_mm=top,
        carrier=IDENTITY,
        edges=Edges(panel),
        seams=(seam,),
        lower_mm=panel[0].point_mm,
        limits=limits,
        proud_mm=window.proud_mm,
    )


@pytest.mark.parametrize("down_mm", [0.0, 6.0, -4.0])
def test_along_the_ruling_of_a_cylinder_nothing_steps(down_mm):
    """Held lower by any length, the panel keeps to the cylinder: no step, no break; only the gap changes."""
    problem = arc_problem(WindowMove(forward_mm=FIT, down_mm=down_mm))
    start = replace(problem, window=WindowMove(forward_mm=FIT, down_mm=down_mm), carrier=translation(-9.0))
    solved, fit = fitted_window(start)  # from 9 mm ahead
    assert solved.forward_mm == pytest.approx(0, abs=1e-6)
    after = fit.seams[0].after
    assert abs(after.step_mm) < 1e-4 and abs(after.break_deg) < 1e-4  # the spline through the arc's samples
    assert abs(after.gap_mm) == pytest.approx(abs(down_mm), abs=1e-3)  # the upper edge opens, the lower laps
    assert abs(fit.seams[0].before.step_mm) > 8


def test_a_flat_panel_stands_as_proud_as_asked():
    """In a plumb plane the gaps do not change with the panel drawn to the rear: all of the step is proud."""
    for proud in (3.0, -2.0):
        layout, ends, car = uncut("box")
        window = WindowMove(forward_mm=FIT, down_mm=0.0, lay_down_deg=FIT, proud_mm=proud)
        problem = panel_problem(window, layout, {"body": IDENTITY}, ends, IDENTITY, car)
        solved, fit = fitted_window(problem)
        assert solved.forward_mm == pytest.approx(-proud, abs=1e-6)
        assert solved.lay_down_deg == pytest.approx(0, abs=1e-7)
        assert fit.rms_after_mm < 1e-6 and fit.proud_mm == proud


def demo(name, **window):
    car = car_of(name)
    plan = read_plan(demo_plan_path(name), car)
    return car, plan.changed(window=replace(plan.window, **window))


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_what_is_left_is_what_the_report_says_of_the_seams(name):
    """The fit looks at the shell from the panel; the report moves the panel's edges.  Same numbers."""
    car, plan = demo(name, forward_mm=FIT, lay_down_deg=FIT)
    built = build(car, plan)
    report = fit_report_of(built)
    problem = panel_problem(
        plan.window,
        built.layout,
        {k: m for k, m in built.moves.items() if k != "window panel"},
        built.shape.centreline_of(built.shape.flange(plan.window.flange_mm)),
        built.roof.move,
        car,
    )
    found = problem.by_seam(problem.read(built.moves["window panel"]))
    for seam, reading in zip(problem.seams, found, strict=True):
        told = report.seam(f"window panel to {seam.piece}").stations
        order = [int(np.linalg.norm(seam.point_mm - s.at_mm, axis=1).argmin()) for s in told]
        assert sorted(order) == list(range(len(seam.length_mm)))
        gap, step, broken = np.stack([reading.gap_mm, reading.step_mm, reading.break_deg]) + seam.fair
        np.testing.assert_allclose(gap[order], [s.gap_mm for s in told], atol=1e-8)
        np.testing.assert_allclose(step[order], [s.step_mm for s in told], atol=1e-8)
        turns = turn_deg([s.angle_first_deg for s in told], [s.angle_second_deg for s in told])
        np.testing.assert_allclose(broken[order], turns, atol=1e-7)
        assert np.abs(seam.fair[0] - 1.5875).max() < 0.02  # the saw's opening, all round


def sum_by_moved_edges(built, move, fairs):
    """The fit's sum worked out the other way round: the panel's edges moved, and read by ``meetings``."""
    total, whole = 0.0, 0.0
    for seam in seams_of(built):
        if seam.kind == "window":
            first, _ = seam_edges(built, seam)
            panel = [Edge(move.points(e.point_mm), move.vectors(e.normal)) for e in fairs["panel"]]
            (met,) = meetings([Facing(tuple(first), tuple(panel))])
            gap0, step0, turn0 = fairs[seam.pieces[0]]
            turn = turn_deg(met.angle_first_deg, met.angle_second_deg)
            lengths = ((met.gap_mm - gap0), (met.step_mm - step0), np.radians(turn - turn0) * 50.0)
            weight = 1.0 if seam.pieces[0] == "roof" else 0.1
            total += weight**2 * sum(float(met.weight_mm @ x**2) for x in lengths)
            whole += met.length_mm
    return total / whole


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_another_search_over_moved_edges_ends_at_the_same_place(name):
    """Nelder-Mead, which asks for no slopes, on the sum worked out by the report's own code."""
    car, plan = demo(name, forward_mm=FIT, down_mm=FIT, lay_down_deg=FIT, sink_mm=150.0)
    built = build(car, plan)
    fairs = {}
    still = replace(built, moves=dict.fromkeys(built.moves, IDENTITY))
    for seam in seams_of(still):
        if seam.kind == "window":
            first, panel = seam_edges(still, seam)
            (met,) = meetings([Facing(tuple(first), tuple(panel))])
            turn = turn_deg(met.angle_first_deg, met.angle_second_deg)
            fairs[seam.pieces[0]], fairs["panel"] = (met.gap_mm, met.step_mm, turn), panel

    def move_of(x):
        laid = pitch_about(built.window.pivot_mm, -x[2])
        return translation(-x[0], 0.0, -x[1]) @ laid

    found = minimize(
        lambda x: sum_by_moved_edges(built, move_of(x), fairs),
        [built.roof.forward_mm, 60.0, 1.0],
        method="Nelder-Mead",
        options={"xatol": 1e-6, "fatol": 1e-10, "maxfev": 900},
    )
    w = built.window
    assert found.success
    assert found.fun == pytest.approx(built.panel_fit.rms_after_mm**2, rel=1e-7)
    np.testing.assert_allclose(found.x, [w.forward_mm, w.down_mm, w.lay_down_deg], atol=2e-3)
    assert sum_by_moved_edges(built, w.move, fairs) <= found.fun + 1e-9


def test_slopes_on_held_chords_are_those_of_the_sum():
    """Central differences of the whole sum, each with its own search for what faces."""
    car, plan = demo("coupe", forward_mm=FIT, down_mm=FIT, lay_down_deg=FIT)
    built = build(car, plan)
    moves = {k: m for k, m in built.moves.items() if k != "window panel"}
    ends = built.shape.centreline_of(built.shape.flange(plan.window.flange_mm))
    problem = panel_problem(plan.window, built.layout, moves, ends, built.roof.move, car)
    at = translation(-20.0, 0.0, -50.0) @ pitch_about(ends[0], -2.0)
    around = [translation(0.0, 0.0, h) @ at for h in (1e-3, -1e-3)]
    held = problem.slopes_mm(around, at)
    for known, move in zip(held, around, strict=True):
        np.testing.assert_allclose(known, problem.residuals_mm(move), atol=1e-10)


@pytest.mark.parametrize("key", [3, 6, "coupe"])
def test_a_mirrored_car_is_fitted_alike(key):
    car = car_of(key)
    window = replace(ALL_FREE, sink_mm=15.0)
    plan = Plan(roof=RoofMove(front_drop_mm=35, rear_drop_mm=45), window=window)
    a, b = (build(c, plan) for c in (car, mirrored_car(car)))
    for name in ("forward_mm", "down_mm", "lay_down_deg"):
        assert getattr(a.window, name) == pytest.approx(getattr(b.window, name), abs=2e-5)
    assert a.panel_fit.rms_after_mm == pytest.approx(b.panel_fit.rms_after_mm, abs=1e-8)
    assert a.panel_fit.at_limit == b.panel_fit.at_limit


def test_a_plan_that_holds_the_solved_numbers_is_the_same_chop():
    car, plan = demo("coupe", lay_down_deg=FIT, forward_mm=FIT, down_mm=20.0)
    fitted = evaluate(car, plan)
    w = fitted.window
    held = replace(plan.window, forward_mm=w.rear_forward_mm, lay_down_deg=w.rear_lay_down_deg)
    again = evaluate(car, plan.changed(window=held))
    assert fitted.seams == again.seams and fitted.interference == again.interference
    assert fitted.plan["window"]["lay_down_deg"] == FIT and again.window.fit is None
    assert replace(w, fit=None) == again.window and w.rear_down_mm == 20.0
    assert fitted == evaluate(car, plan)  # to the last bit


def test_the_lower_edge_sinks_no_further_than_stated():
    car, plan = demo("coupe", forward_mm=FIT, down_mm=FIT, lay_down_deg=FIT, sink_mm=150.0)
    free = build(car, plan)
    assert free.panel_fit.sinks_mm > 40
    for sink in (25.4, 5.0):
        built = build(car, plan.changed(window=replace(plan.window, sink_mm=sink)))
        fit = built.panel_fit
        assert fit.at_limit == ("window_down",) and fit.sink_limit_mm == sink
        assert fit.sinks_mm == pytest.approx(sink, abs=2e-3)
        # Read again from the panel's own border: its lowest place below where it was.
        layout = built.layout
        border = np.concatenate(
            [
                c.point_mm
                for cell in layout.parts["window panel"]
                for c in layout.chains_of[id(cell)]
                if c.line == "flange"
            ]
        )
        middle = border[(np.abs(border[:, 1]) < 200) & (border[:, 2] < border[:, 2].mean())]
        down = middle[:, 2] - built.moves["window panel"].points(middle)[:, 2]
        assert sink - 6.0 < down.max() <= sink + 1e-6
        assert fit.rms_after_mm > free.panel_fit.rms_after_mm


def test_over_a_deck_the_glass_stays_above_it_unless_the_plan_says_otherwise():
    """The coupe's panel lies at 60° from plumb, the pickup's stands nearly upright."""
    for name, limit in (("coupe", 19.05), ("pickup", None)):
        car, plan = demo(name, forward_mm=FIT, down_mm=FIT, lay_down_deg=FIT)
        fit = build(car, plan).panel_fit
        assert fit.sink_limit_mm == limit
        assert (fit.sinks_mm <= 19.05 + 1e-6) == (name == "coupe")


def test_a_bad_fit_is_a_finding_not_a_refusal():
    car, plan = demo("coupe", down_mm=FIT, lay_down_deg=FIT, sink_mm=5.0)
    report = evaluate(car, plan)
    found = {f.kind: f for f in report.findings}
    after = next(s for s in report.window.fit.seams if s.weight == 1.0).after
    assert found["window fit"].measured == max(abs(after.gap_mm), abs(after.step_mm)) > 10
    said = found["window fit"].message
    assert "Stopped at its limit: down. Let the fit find forward too, or drop the rear otherwise" in said
    assert "or plan new metal" in said and "window_" not in said
    _, held = demo("coupe")
    assert not {"window fit", "window line", "window sinks"} & {f.kind for f in evaluate(car, held).findings}


def test_a_panel_that_follows_the_roof_sinks_past_its_flange():
    car, plan = demo("coupe", down_mm=FIT, lay_down_deg=FIT, sink_mm=150.0)
    report = evaluate(car, plan)
    (sinks,) = (f for f in report.findings if f.kind == "window sinks")
    assert sinks.measured == report.window.fit.sinks_mm > sinks.limit == plan.window.flange_mm


def test_other_words_are_refused():
    car = car_of("coupe")
    for name, window in (
        ("window_forward", WindowMove(forward_mm="auto")),
        ("window_down", WindowMove(down_mm="far")),
        ("lay_down", WindowMove(lay_down_deg="flat")),
    ):
        with pytest.raises(PlanError, match=f"{name}.* must be"):
            evaluate(car, Plan(window=window))
    with pytest.raises(PlanError, match="window_sink must be between"):
        evaluate(car, Plan(window=WindowMove(sink_mm=-1.0)))
    with pytest.raises(PlanError, match="window_proud must be between"):
        evaluate(car, Plan(window=WindowMove(proud_mm=60.0)))
