"""Every grid is cut up without hole or overlap, and every edge of every piece is accounted for."""

from functools import lru_cache

import numpy as np
import pytest
import shapely
from invented_cars import box_car, cell_area_mm2, flat_car, grid_area_mm2, varied_car, varied_plan, wedge_car

from model.carfile import (
    demo_car_names,
    demo_car_path,
    demo_closed_path,
    demo_laid_back_path,
    demo_plan_path,
    read_car,
)
from model.evaluate import build_checked
from model.layout import BODY, METAL, PANE, ROOF, WASTE, WINDOW
from model.plan import Plan, PostCut, PostShift, RoofMove, WindowMove
from model.planfile import read_plan
from model.seams import seams_of
from model.trimmings import is_cut_off, piece_of

# The demo cars with their own plans, a flat one, and varied ones; more of them under -m heavy.
PATHS = {"": demo_plan_path, "laid back": demo_laid_back_path, "closed": demo_closed_path}
OTHERS = [f"{name} {way}" for way in ("laid back", "closed") for name in demo_car_names()]
FEW = [*demo_car_names(), "wedge", *OTHERS, 1, 3, 6, 15]
MANY = [pytest.param(seed, marks=pytest.mark.heavy) for seed in range(24) if seed not in FEW]
EVERY = FEW + MANY


@lru_cache(maxsize=40)
def built_of(key):
    if key == "wedge":
        plan = Plan(
            roof=RoofMove(front_drop_mm=50, rear_drop_mm=62),
            window=WindowMove(forward_mm=15, lay_down_deg=2),
            shifts=(PostShift(post="B"),),
            cuts=(PostCut(post="C", height_mm=225.0),),
        )
        return build_checked(wedge_car(), plan)
    if isinstance(key, int):
        return build_checked(varied_car(key), varied_plan(varied_car(key), key))
    name, _, way = key.partition(" ")
    car = read_car(demo_car_path(name))
    return build_checked(car, read_plan(PATHS[way](name), car))


def grids_of(built):
    return built.shape.skin.grids.values()


@pytest.mark.parametrize("key", EVERY)
def test_cells_tile_every_grid(key):
    built = built_of(key)
    for grid in grids_of(built):
        cells = [c for c in built.layout.cells if c.grid is grid]
        assert sum(c.polygon.area for c in cells) == pytest.approx(1, abs=1e-9)
        assert shapely.union_all([c.polygon for c in cells]).area == pytest.approx(1, abs=1e-9)
        whole = sum(cell_area_mm2(c) for c in cells)
        assert whole == pytest.approx(grid_area_mm2(grid), rel=1e-5)


@pytest.mark.parametrize("key", EVERY)
def test_every_chain_has_its_two_cells_on_its_two_sides(key):
    """0.02 mm to the left of a chain's middle lies its left cell, to the right its right one."""
    built = built_of(key)
    for chain in built.layout.chains:
        i = len(chain.uv) // 2 - (len(chain.uv) == 2)
        a, b = chain.uv[i : i + 2] if len(chain.uv) == 2 else chain.uv[i - 1 : i + 1]
        size = np.linalg.norm(np.diff(chain.grid.point(np.array([a, b])), axis=0))
        if size < 0.5:
            continue  # a crumb of a chain between two nodes
        along = (b - a) / size
        for side, cell in ((1, chain.left), (-1, chain.right)):
            _, du, dv, _ = chain.grid.frame(((a + b) / 2)[None])
            tangent = du[0] * along[0] + dv[0] * along[1]
            across = (
                np.cross(chain.grid.normal(((a + b) / 2)[None])[0] * chain.grid.outward, tangent)
                * side
                * 0.02
            )
            basis = np.stack([du[0], dv[0]], axis=1)
            step = np.linalg.lstsq(basis, across, rcond=None)[0]
            spot = shapely.Point((a + b) / 2 + step)
            if cell is None:
                assert chain.line.startswith("border")
            else:
                assert cell.polygon.distance(spot) < 1e-9, chain.line


@pytest.mark.parametrize("key", EVERY)
def test_perimeter_of_every_piece(key):
    """The chains around a piece, less those inside it, against the outline of the union of its cells,
    drawn by another library and carried onto the skin sixteen times as densely.

    A chain's length is that of the smooth curve, which exceeds its chords' by c²/24R²: 4e-5 at the most
    for chords that stray 0.008 mm from an arc of R ≥ 40."""
    built = built_of(key)
    for part, cells in built.layout.parts.items():
        for grid in {c.grid.name: c.grid for c in cells}.values():
            own = [c for c in cells if c.grid is grid]
            # Two cells of one piece may touch along a flange or kerf line that ends in it.
            chains = {id(ch): ch for c in own for ch in built.layout.chains_of[id(c)]}.values()
            edge = [ch for ch in chains if not (_in(ch.left, own) and _in(ch.right, own))]
            outline = shapely.boundary(shapely.union_all([c.polygon for c in own], grid_size=0))
            expected = 0.0
            for ring in shapely.get_parts(outline):
                uv = shapely.get_coordinates(ring)
                dense = np.concatenate(
                    [
                        p + np.linspace(0, 1, 16, endpoint=False)[:, None] * (q - p)
                        for p, q in zip(uv[:-1], uv[1:], strict=True)
                    ]
                    + [uv[-1:]]
                )
                expected += np.linalg.norm(np.diff(grid.point(dense), axis=0), axis=1).sum()
            assert sum(ch.length_mm for ch in edge) == pytest.approx(expected, rel=4e-5, abs=0.01), (
                part,
                grid.name,
            )


def _in(cell, cells):
    return any(cell is c for c in cells)


@pytest.mark.parametrize("key", EVERY)
def test_every_edge_is_free_or_in_one_seam_or_beside_waste_that_joins_nothing(key):
    """Each stretch of a piece's edge is counted once at most; a stretch beside a slug or a kerf is left out
    of the seams only where the waste has no second piece beside it (a window's edge beside a slug)
    or the waste is a shifted post's trimming."""
    built = built_of(key)
    seams = seams_of(built)
    sides = [(id(s.chain), s.cell.part) for seam in seams for s in (*seam.first, *seam.second)]
    gutter = [
        x
        for seam in seams
        if "gutter" in seam.name
        for x in ((id(s.chain), s.cell.part) for s in (*seam.first, *seam.second))
    ]
    once = [x for x in sides if x not in gutter]
    assert len(once) == len(set(once))
    in_seam = set(sides)
    for cell in built.layout.cells:
        if cell.role != METAL:
            continue
        for chain in built.layout.chains_of[id(cell)]:
            other = chain.beside(cell)
            if other is None or other.role in (PANE, "glass waste") or other.part == cell.part:
                continue
            if (id(chain), cell.part) in in_seam:
                continue
            assert other.role == WASTE, (cell.part, other.part, chain.line)
            touching = {
                c.part
                for ch in built.layout.chains_of[id(other)]
                if (c := ch.beside(other)) is not None and c.role == METAL
            }
            assert touching == {cell.part} or other.part.startswith("trimming B"), (
                cell.part,
                other.part,
                touching,
            )


def _is_beside(line, grid, point):
    """Whether a point lies within 90 mm of a post's axis at its height, on the post's side of the car."""
    if grid.kind in ("roof", "back") or (grid.kind == "side" and grid.side != line.post.side):
        return False
    axis = line.frame(line.axis_at_height(point[2]))[0][0]
    return abs(point - axis)[0 if grid.kind == "side" else 1] < 90


@pytest.mark.parametrize("key", EVERY)
def test_parts_are_named_rightly(key):
    """Random points: below the lower cut is body, or beside a leaned post above its hinge what turns with it;
    above the upper roof, between them slug or lost glass;
    the panel is what lies inside the flange line, a pane what lies inside an opening."""
    built = built_of(key)
    rng = np.random.default_rng(11)
    plan = built.plan
    for grid in grids_of(built):
        uv = rng.uniform(0, 1, (1500, 2))
        points = grid.point(uv)
        low, up = (cut.height_above(grid, points) for cut in (built.lower, built.upper))
        cells = [c for c in built.layout.cells if c.grid is grid]
        tree = shapely.STRtree([c.polygon for c in cells])
        i, j = tree.query(shapely.points(uv), predicate="within")
        assert len(i) == len(uv)
        inside = {
            o.name: shapely.contains_xy(shapely.Polygon(o.outline.loop_uv), *uv.T)
            for o in built.shape.openings
            if o.outline.grid is grid
        }
        panel = kerf = np.zeros(len(uv), bool)
        if plan.window is not None and built.shape.rear_window.outline.grid is grid:
            w = plan.window.flange_mm
            panel = shapely.contains_xy(shapely.Polygon(built.shape.flange(w).loop_uv), *uv.T)
            wide = built.shape.flange(w + max(plan.kerf_mm, plan.root_gap_mm))
            kerf = shapely.contains_xy(shapely.Polygon(wide.loop_uv), *uv.T) & ~panel
        for p, c in zip(i, j, strict=True):
            cell = cells[c]
            part, carrier = cell.part, cell.carrier
            if is_cut_off(part):  # from a piece, and then it is waste
                assert (cell.role, carrier) == (WASTE, BODY)
                part = carrier = piece_of(part)
            if min(abs(low[p]), abs(up[p])) < 0.05:  # chords of the cut lines stray this much at most
                continue
            in_opening = [name for name, m in inside.items() if m[p]]
            below, above = low[p] < 0, up[p] > 0 and low[p] > 0
            if in_opening:
                assert in_opening[0] in cell.part
                assert cell.role == PANE if panel[p] or below or above else cell.role == "glass waste"
            elif kerf[p]:
                assert cell.part == "trimming rear window"
            elif panel[p]:
                assert part == WINDOW and (cell.role == METAL or is_cut_off(cell.part))
            elif below:
                heights = [
                    (lean, lean.hinge.foot.height_above(points[p]), lean.hinge.loose.height_above(points[p]))
                    for lean in built.leans
                    if _is_beside(built.shape.lines[lean.key], grid, points[p])
                ]
                if any(min(abs(foot), abs(loose)) < 0.05 for _, foot, loose in heights):
                    continue
                turned = [lean.piece for lean, _, loose in heights if loose > 0]
                cut = [f"hinge {lean.name}" for lean, foot, loose in heights if loose < 0 < foot]
                assert part == (*turned, *cut, BODY)[0]
                assert carrier == (*turned, BODY)[0]
            elif above:
                ours = [s for s in built.shifts if grid.name == f"side {s.key[1]}"]
                what = next((w for s in ours for a, b, w in s.bounds if a < points[p, 0] < b), None)
                expected = (
                    ROOF
                    if what is None
                    else f"trimming {ours[0].name}"
                    if what == "trimming"
                    else f"{ours[0].name} {what}"
                )
                assert part == expected
            else:
                assert cell.part.startswith("slug ") and cell.role == WASTE


@pytest.mark.parametrize("key", EVERY)
def test_in_a_posts_zone_the_slug_lies_between_its_own_two_planes(key):
    """Within a post width of the axis: lower edge on the post's plane, upper edge brought onto it by the
    post's own move and lifted by the opening, square to the plane."""
    built = built_of(key)
    checked = 0
    for chain in built.layout.chains:
        if chain.line not in ("lower", "upper") or chain.grid.kind != "side":
            continue
        zones = built.shape.zones[chain.grid.name]
        weights = zones.weights(chain.point_mm)
        for k, post in enumerate(zones.keys):
            own = weights[:, k] == 1.0
            ends = built.ends[post]
            point = chain.point_mm[own]
            if chain.line == "lower":
                off = ends.plane_in_place.height_above(ends.lower_move.points(point))
            else:
                off = ends.plane_in_place.height_above(ends.move.points(point)) - ends.opening_mm
            assert np.abs(off).max(initial=0) < 0.01
            checked += own.sum()
    assert checked > 30


@pytest.mark.parametrize("car", [flat_car(), wedge_car(), varied_car(2), varied_car(7)], ids=lambda c: c.name)
def test_no_plan_is_identity(car):
    built = build_checked(car, Plan())
    assert {c.part for c in built.layout.cells if c.role == METAL} == {BODY}
    assert not [c for c in built.layout.cells if c.role not in (METAL, PANE)]
    assert list(built.moves) == [BODY] and built.moves[BODY].is_identity
    assert seams_of(built) == () and built.ends == {} and built.shifts == ()


@pytest.mark.parametrize(("kerf", "gap"), [(1.6, 0.8), (0.6, 1.4)])
def test_a_cut_without_a_drop_opens_everywhere_by_the_greater_of_kerf_and_root_gap(kerf, gap):
    """Square to the plane at the posts (box car: everywhere), and exactly that around the window panel."""
    plan = Plan(
        roof=RoofMove(fore_aft="straight-down"),
        window=WindowMove(down_mm=0.0, flange_mm=20),
        kerf_mm=kerf,
        root_gap_mm=gap,
    )
    built = build_checked(box_car(tumblehome_deg=9.0), plan)
    wide = max(kerf, gap)
    assert {round(e.opening_mm, 12) for e in built.ends.values()} == {wide}
    for chain in built.layout.chains:
        if chain.line == "upper":
            np.testing.assert_allclose(chain.point_mm[:, 2], 240 + wide, atol=1e-9)
        if chain.line == "lower":
            np.testing.assert_allclose(chain.point_mm[:, 2], 240, atol=1e-9)
    # Flat back: distance from every kerf point to the flange line in the plane.
    y_z = {}
    for name in (20, 20 + wide):
        outline = built.shape.flange(name)
        y_z[name] = outline.grid.point(np.concatenate([outline.loop_uv, outline.loop_uv[:1]]))[:, 1:]
    inner, outer = (shapely.LinearRing(p) for p in y_z.values())
    assert max(inner.distance(shapely.Point(p)) for p in y_z[20 + wide]) == pytest.approx(wide, abs=2e-3)
    assert min(inner.distance(shapely.Point(p)) for p in y_z[20 + wide]) == pytest.approx(wide, abs=2e-3)
    assert outer.length - inner.length == pytest.approx(2 * np.pi * wide, abs=0.02)


@pytest.mark.parametrize("by", [30.0, -30.0, 2.0, -2.0, 0.5, -0.5])
def test_strip_and_trimmings_of_a_shifted_post_add_up(by):
    """From the post's piece: kerf, strip, kerf on one side and a kerf on the other: |s| + 2 kerfs in all,
    so that after the shift three seams of one kerf each are left: strip width |s| − kerf."""
    car = flat_car()
    built = build_checked(
        car,
        Plan(
            roof=RoofMove(front_drop_mm=30, rear_drop_mm=30),
            shifts=(PostShift(post="B", by=by),),
            kerf_mm=1.2,
        ),
    )
    kerf = 1.2
    assert len(built.shifts) == 2
    for shift in built.shifts:
        width = {}
        for a, b, what in shift.bounds:
            assert b > a
            width[what] = width.get(what, 0) + b - a
        edges = sorted([a for a, _, _ in shift.bounds] + [b for _, b, _ in shift.bounds])
        assert all(x == y for x, y in zip(edges[1:-1:2], edges[2:-1:2], strict=True))  # no hole, no overlap
        total = sum(width.values()) - width["upper"]
        assert total == pytest.approx(abs(by) + 2 * kerf, abs=1e-12)
        if abs(by) > kerf:
            assert width["strip"] == pytest.approx(abs(by) - kerf, abs=1e-12)
            strip = next((a, b) for a, b, w in shift.bounds if w == "strip")
            upper = next((a, b) for a, b, w in shift.bounds if w == "upper")
            moved = sorted(
                [
                    (strip[0] + shift.strip_moves_mm, strip[1] + shift.strip_moves_mm),
                    (upper[0] + by, upper[1] + by),
                ]
            )
            low, high = shift.bounds[0][0], shift.bounds[-1][1]
            assert moved[0][0] - low == pytest.approx(kerf, abs=1e-9)
            assert moved[1][0] - moved[0][1] == pytest.approx(kerf, abs=1e-9)
            assert high - moved[1][1] == pytest.approx(kerf, abs=1e-9)
        else:
            assert "strip" not in width
