"""Seams: what faces what, shifted posts, the window panel, edges that are free."""

import numpy as np
import pytest
from invented_cars import box_car, flat_car, varied_car, varied_plan, wedge_car

from model.edges import Edges
from model.evaluate import build_checked, evaluate
from model.layout import METAL
from model.plan import Plan, PostCut, PostShift, RoofMove, WindowMove
from model.postlines import EDGES
from model.seams import post_edges, seam_edges, seams_of

DOWN = RoofMove(front_drop_mm=30.0, rear_drop_mm=30.0)


def test_post_faces_meet_at_the_opening():
    """Upright posts, no slide: every face's edges lie opening apart, square to the level plane, no step."""
    r = evaluate(box_car(), Plan(roof=DOWN, root_gap_mm=0.7))
    for p in r.posts:
        s = r.seam(f"{p.post} {p.side}, post")
        assert (s.gap_mm.min, s.gap_mm.max) == pytest.approx((0.7, 0.7), abs=1e-9)
        assert (s.step_mm.min, s.step_mm.max) == pytest.approx((0, 0), abs=1e-9)
        assert s.facing_mm == pytest.approx(s.edge_mm, abs=1e-9)


def test_post_faces_of_a_roof_that_slid():
    """15 forward: front and rear faces step by ∓15 (the upper front face stands out, the rear one in);
    inner and outer faces close on 45 of their 60."""
    r = evaluate(
        box_car(), Plan(roof=RoofMove(front_drop_mm=30, rear_drop_mm=30, fore_aft=15.0), root_gap_mm=0.7)
    )
    s = r.seam("B right, post")
    assert (s.step_mm.min, s.step_mm.max) == pytest.approx((-15, 15), abs=1e-6)
    assert (s.gap_mm.min, s.gap_mm.max) == pytest.approx((0.7, 0.7), abs=1e-6)
    proud = [x for x in s.stations if x.step_mm > 1]
    assert proud and all(x.at_mm[0] == pytest.approx(750 - 30, abs=1e-6) for x in proud)
    assert s.facing_mm == pytest.approx(40 + 40 + 45 + 45, abs=30.0 / 5 + 1e-6)


@pytest.mark.parametrize("side", ["right", "left"])
def test_post_edges_run_around_the_box(side):
    ends = build_checked(wedge_car(), Plan(roof=DOWN)).ends["A", side]
    for edges, s in zip(post_edges(ends), (ends.s_lower, ends.s_upper), strict=True):
        corners = ends.line.lines(s)[1:]
        if s is ends.s_upper:
            corners = ends.move.points(corners)
        ring = Edges(edges).length_mm.sum()
        assert ring == pytest.approx(
            np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).sum(), abs=1e-9
        )
        for e in edges:
            for p in e.point_mm[[0, -1]]:
                assert np.linalg.norm(corners - p, axis=1).min() < 1e-9
    assert len(EDGES) == 5


@pytest.mark.parametrize(("by", "kinds"), [(40.0, 3), (-40.0, 3), (0.9, 2)])
def test_seams_around_a_shifted_post(by, kinds):
    """Across the rail: strip between post and roof: three seams of one kerf; no strip thinner than the kerf:
    two, of kerf and kerf + shift in all, either side.  Along the gutter: the post's piece and strip."""
    kerf = 1.2
    car = flat_car()
    r = evaluate(car, Plan(roof=DOWN, shifts=(PostShift(post="B", side="right", by=by),), kerf_mm=kerf))
    strips = [s for s in r.seams if s.kind == "strip"]
    assert all(s.side == "right" for s in strips)
    across = [s for s in strips if "gutter" not in s.name]
    gutter = [s for s in strips if "gutter" in s.name]
    total = sum(s.gap_mm.mean * s.edge_mm for s in across)
    rail = 480 - 0.85 * 480  # from the gutter to the top of the side openings, plumb
    assert sum(s.edge_mm for s in across) == pytest.approx(kinds * rail, abs=0.05)
    assert total / rail == pytest.approx(2 * kerf + abs(by) if kinds == 2 else 3 * kerf, abs=2e-3)
    width = 100 + 2 * (20 + 1)  # between the openings, their corner radii and 1 mm
    lengths = [width] + ([abs(by) - kerf] if kinds == 3 else [])
    assert sorted(s.edge_mm for s in gutter) == pytest.approx(sorted(lengths), abs=1e-6)
    # Along a straight, level gutter nothing opens: the cut there is the fold itself.
    assert max(abs(s.gap_mm.max) for s in gutter) < 1e-9


def sampled(edge, step_mm):
    laid = Edges([edge])
    s = np.linspace(0, laid.length_mm[0], max(3, int(laid.length_mm[0] / step_mm)))
    return laid.at(np.zeros(len(s), int), s)


def test_gap_of_a_seam_read_by_hand_on_a_measured_skin():
    """Every station of every skin seam of a varied car: the facing point is on the second edge, square to
    the first, no nearer point of that plane is on it; against the second edges sampled every 0.05 mm."""
    car, plan = varied_car(7), varied_plan(varied_car(7), 7)
    built = build_checked(car, plan)
    report = evaluate(car, plan)
    checked = 0
    for seam in seams_of(built):
        first, second = seam_edges(built, seam)
        dense = []
        for e in second:
            dense.append(sampled(e, 0.05)[0])
        dense = np.concatenate(dense)
        stations = next(s for s in report.seams if (s.name, s.side) == (seam.name, seam.side)).stations
        for st in stations[::6]:
            r = dense - np.array(st.at_mm)
            distance = np.hypot(st.gap_mm, st.step_mm)
            # The first edge's own direction there, from its samples.
            own = min(first, key=lambda e: np.linalg.norm(e.point_mm - st.at_mm, axis=1).min())
            p, t, _ = sampled(own, 0.1)
            tangent = t[np.linalg.norm(p - st.at_mm, axis=1).argmin()]
            near = np.abs(r @ tangent) < 0.04
            assert near.any()
            assert np.linalg.norm(r[near], axis=1).min() == pytest.approx(distance, abs=0.05)
            checked += 1
    assert checked > 60


@pytest.mark.parametrize("seed", [1, 6, 10])
def test_every_cut_edge_of_the_roof_and_the_body_is_in_a_seam(seed):
    """Slug edges of body and roof: all of their length is some seam's first or second side."""
    built = build_checked(varied_car(seed), varied_plan(varied_car(seed), seed))
    sides = {(id(s.chain), s.cell.part) for seam in seams_of(built) for s in (*seam.first, *seam.second)}
    for cell in built.layout.cells:
        if cell.role != METAL or cell.part not in ("body", "roof"):
            continue
        for chain in built.layout.chains_of[id(cell)]:
            other = chain.beside(cell)
            if other is not None and other.role == "waste" and chain.line in ("lower", "upper"):
                assert (id(chain), cell.part) in sides, (cell.part, other.part, chain.length_mm)


def test_window_panel_forward_opens_all_around_and_down_laps_below():
    """Box back, flat: 10 forward, 0 down: step −10 everywhere (the panel stands in), gap kerf."""
    r = evaluate(box_car(), Plan(window=WindowMove(forward_mm=10.0, down_mm=0.0), kerf_mm=1.2))
    s = r.seam("window panel to body")
    assert (s.gap_mm.min, s.gap_mm.max) == pytest.approx((1.2, 1.2), abs=3e-3)
    assert (s.step_mm.min, s.step_mm.max) == pytest.approx((-10, -10), abs=1e-6)
    down = evaluate(box_car(), Plan(window=WindowMove(down_mm=8.0), kerf_mm=1.2)).seam("window panel to body")
    assert down.gap_mm.min == pytest.approx(1.2 - 8, abs=3e-3) and down.gap_mm.max == pytest.approx(
        1.2 + 8, abs=3e-3
    )
    assert (down.step_mm.min, down.step_mm.max) == pytest.approx((0, 0), abs=1e-9)


def test_seams_of_two_cut_heights_meet_the_posts_they_belong_to():
    """A at 200, B at 260, C at 230: the level seams lie at their own posts' heights beside them."""
    cuts = (
        PostCut(post="A", height_mm=200.0),
        PostCut(post="B", height_mm=260.0),
        PostCut(post="C", height_mm=230.0),
    )
    r = evaluate(box_car(), Plan(roof=DOWN, cuts=cuts))
    for post, z in (("A", 200), ("B", 260), ("C", 230)):
        # Its own plane holds within one post width of the axis; B stands alone between the openings.
        station = min(
            r.seam(f"{post} right, side skin").stations,
            key=lambda s, p=post: abs(s.at_mm[0] - {"A": 70, "B": 750, "C": 1430}[p]),
        )
        assert station.at_mm[2] == pytest.approx(z, abs=1e-6)
