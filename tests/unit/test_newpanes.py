"""Panes made anew: drawn by the outline of their template, in the opening that the plan leaves them."""

import numpy as np
import pytest
import shapely
from shipped_plans import closed_plan

from model.carfile import demo_car_names, demo_car_path, read_car
from model.display import patches_of
from model.doors import side_glass
from model.evaluate import build_checked
from model.layout import METAL
from model.newpanes import new_panes, pane_mesh
from model.plan import WAYS, Plan

CASES = [(car, way) for car in demo_car_names() for way in WAYS]


def area_mm2(point, triangles):
    a, b, c = point[triangles].swapaxes(0, 1)
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)


@pytest.fixture(params=CASES, ids=["-".join(case) for case in CASES])
def built(request):
    return closed_plan(*request.param)


def test_every_side_pane_has_the_area_of_its_template(built):
    """The triangles in space against the shoelace formula on the template's flat outline."""
    panes = {pane.name: pane for pane in new_panes(built)}
    told = [pane for pane in side_glass(built) if pane.outline_after_mm]
    assert len(told) >= 2
    for pane in told:
        point, normal, triangles = pane_mesh(panes[f"{pane.pane} {pane.side}"])
        expected = shapely.Polygon(pane.outline_after_mm).area
        assert area_mm2(point, triangles) == pytest.approx(expected, rel=1e-9)
        assert np.abs((point - point[0]) @ normal[0]).max() < 1e-6  # flat
        assert (normal[:, 1] > 0).all() == (pane.side == "right")
        a, b, c = point[triangles].swapaxes(0, 1)
        assert (np.cross(b - a, c - a) @ normal[0] > 0).all()


def test_a_side_pane_stands_in_its_opening(built):
    """Its upper corners are told by the report, in space; the plane goes past them as far as it says."""
    panes = {pane.name: pane for pane in new_panes(built)}
    told = [pane for pane in side_glass(built) if pane.outline_after_mm]
    assert len(told) >= 2 and all(len(pane.corners) >= 2 for pane in told)
    for pane in told:
        shown = panes[f"{pane.pane} {pane.side}"]
        for corner in pane.corners:
            away = abs((np.array(corner.after_mm) - shown.edge_mm[0]) @ shown.normal)
            assert away <= pane.off_plane_mm + 1e-6
            nearest = np.linalg.norm((shown.edge_mm - corner.after_mm)[:, [0, 2]], axis=1).min()
            assert nearest < 45.0  # the corner's radius cuts it off


def test_a_fixed_pane_follows_the_edges_of_its_opening_where_the_plan_puts_them(built):
    """Against the layout's own lines around the opening, each where its piece carries it, in side view:
    the legs all along, the rail where one piece carries it (strips of rail bound the door's by then)."""
    panes = {pane.name: pane for pane in new_panes(built)}
    fixed = [pane for pane in side_glass(built) if pane.kind == "fixed"]
    assert bool(fixed) == (built.shape.car.name == read_car(demo_car_path("coupe")).name)
    for pane in fixed:
        name = f"{pane.pane} {pane.side}"
        edge = shapely.LinearRing(panes[name].edge_mm[:, [0, 2]])
        met = 0.0
        for chain in built.layout.chains:
            for cell in (chain.left, chain.right):
                is_edge = chain.line == f"opening {name}" and cell is not None and cell.role == METAL
                if not is_edge or cell.part.endswith("strip"):
                    continue
                placed = built.moves[cell.carrier].points(chain.point_mm)[:, [0, 2]]
                away = shapely.distance(edge, shapely.points(placed))
                is_leg = placed[:, 1].max() < min(corner.after_mm[2] for corner in pane.corners)
                # 0.6: at a hinge, which the pane takes as a point.  The rail is drawn straight from corner to
                # corner: pieces of a split roof, or that of a shifted post beside it, do not lie on one line.
                least = 0.6 if is_leg or not (built.shifts or built.plan.split) else 8.0
                assert away.max() < least, (name, cell.part)
                met += chain.length_mm if is_leg else 0.0
        assert met > 300.0


def test_a_pane_whose_post_misses_steps_at_the_cut_as_its_opening_does():
    """Roof forward: the rear leg's ends stand apart by the post's miss, level; the stock leg was straight."""
    built = closed_plan("coupe", "forward")
    (pane,) = [p for p in side_glass(built) if (p.kind, p.side) == ("fixed", "right")]
    ends = built.ends["C", "right"]
    height = ends.plane.point_mm[2]
    edge = next(p for p in new_panes(built) if p.name == f"{pane.pane} {pane.side}").edge_mm[:, [0, 2]]
    after = np.roll(edge, -1, axis=0)
    (shelf,) = np.nonzero(
        (np.abs(edge[:, 1] - height) < 3) & (np.abs(after[:, 1] - height) < 3) & (edge[:, 0] > 1400)
    )[0]
    run, rise = after[shelf] - edge[shelf]
    assert run == pytest.approx(-89.5, abs=2.0) and abs(rise) < 1.0
    (told,) = [words for words in pane.to_measure if "steps" in words]
    assert told.startswith('The welded opening where its rear edge steps by 3-1/2" (89.')


def test_a_corner_whose_rail_and_leg_are_one_piece_keeps_its_angle():
    """Laid back the roof carries the whole rail and the upper leg of the fixed pane, a rigid piece."""
    (pane,) = [
        p for p in side_glass(closed_plan("coupe", "laid-back")) if (p.kind, p.side) == ("fixed", "right")
    ]
    for corner in pane.corners:
        assert corner.angle_after_deg == pytest.approx(corner.angle_before_deg, abs=1e-3)


def test_the_picture_has_each_pane_once_and_no_half_of_a_stock_one(built):
    anew = {f"pane {pane.name}" for pane in new_panes(built)}
    assert any("windshield" in name for name in anew)
    panes = [patch for patch in patches_of(built) if patch.role == "pane"]
    for name in anew:
        (patch,) = [patch for patch in panes if patch.part == name]
        assert patch.carrier == name and patch.carrier not in built.moves
    assert len(panes) == len({patch.part for patch in panes})


def test_nothing_is_made_anew_without_a_plan():
    built = build_checked(read_car(demo_car_path("coupe")), Plan())
    assert new_panes(built) == ()


def test_a_windshield_spans_the_edge_that_its_metal_leaves():
    """What is drawn is lower by what the cuts take out: between the stock pane's area and what two parallel
    cuts would leave of it, within what the roof's pitch makes of that."""
    built = closed_plan("pickup", "laid-back")
    (pane,) = [pane for pane in new_panes(built) if pane.name.startswith("windshield")]
    (glass,) = [o for o in built.shape.openings if o.name == pane.name]
    stock = glass.outline.grid.point(glass.outline.loop_uv)
    flat = shapely.Polygon((stock - stock[0])[:, [1, 2]])
    new = shapely.Polygon((pane.edge_mm - pane.edge_mm[0])[:, [1, 2]])
    drop = built.plan.roof.front_drop_mm
    lost = flat.area - new.area
    assert lost == pytest.approx(drop * np.ptp(stock[:, 1]), rel=0.06)
    _, _, triangles = pane_mesh(pane)
    assert area_mm2(pane.edge_mm, triangles) > new.area
