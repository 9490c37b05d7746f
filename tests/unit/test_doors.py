"""Doors and side panes: closed forms on flat cabs, and other ways of reckoning on measured cars."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from invented_cars import box_car, flat_car, mirrored_car, mirrored_plan, tan, varied_car, varied_plan
from scipy.interpolate import LinearNDInterpolator

from model.carcheck import check_car
from model.carfile import demo_car_names, demo_car_path, demo_plan_path, read_car, write_car
from model.doorfindings import door_findings
from model.doors import side_glass
from model.errors import MeasureError
from model.evaluate import build_checked, evaluate
from model.measured import Corner
from model.output.doorhtml import side_glass_html
from model.plan import Plan, PostLean, PostShift, RoofMove
from model.planfile import read_plan
from model.plansettings import plan_with_settings
from model.sideplaces import points_of_side

RAKE, TUMBLE, DROP = 32.0, 14.0, 50.0


def lowered(car, drop=DROP, rear=None, **changed):
    move = {"fore_aft": "straight-down", **changed.pop("move", {})}
    roof = RoofMove(front_drop_mm=drop, rear_drop_mm=drop if rear is None else rear, **move)
    return build_checked(car, Plan(roof=roof, kerf_mm=1.2, root_gap_mm=0.8, **changed))


def panes_of(built):
    return {(pane.pane, pane.side): pane for pane in side_glass(built)}


def front_edge(car):
    """Foot and top of the door's front edge in side view, and the tangent of its lean."""
    corners = next(o for o in car.openings if o.name == "door glass").corners
    foot, top = corners[0], corners[3]
    return foot, top, (top.across_mm - foot.across_mm) / (top.up_mm - foot.up_mm)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("fore_aft", ["straight-down", "along-windshield", 20.0])
def test_a_level_rail_grows_by_the_drop_times_the_difference_of_the_leans(side, fore_aft):
    """d (tan a_F − tan a_R) with a_R = 0, however far the roof goes forward; corners go down their legs."""
    car = flat_car(rake_deg=RAKE, tumblehome_deg=TUMBLE)
    built = lowered(car, move={"fore_aft": fore_aft})
    door = panes_of(built)["door glass", side]
    foot, top, slope = front_edge(car)
    front, rear = door.corners
    assert door.kind == "door"
    assert door.rail_after_mm - door.rail_before_mm == pytest.approx(DROP * slope, abs=1e-6)
    assert front.after_mm[0] == pytest.approx(top.across_mm - DROP * slope, abs=1e-6)
    assert rear.after_mm[0] == pytest.approx(700.0, abs=1e-6)
    for corner in door.corners:
        assert corner.after_mm[2] == pytest.approx(top.up_mm - DROP, abs=1e-6)
        assert corner.angle_after_deg == pytest.approx(corner.angle_before_deg, abs=1e-6)
        # The rail comes straight down: its y stays, and the line from the foot leans H tan b / (H − d).
        assert abs(corner.after_mm[1]) == pytest.approx(700 - top.up_mm * tan(TUMBLE), abs=1e-6)
        height = top.up_mm - foot.up_mm
        assert corner.lean_front_before_deg == pytest.approx(TUMBLE, abs=1e-6)
        assert tan(corner.lean_front_after_deg) == pytest.approx(
            height * tan(TUMBLE) / (height - DROP), abs=1e-9
        )
    slide = built.roof.forward_mm
    assert front.jog_mm == pytest.approx(slide - DROP * slope, abs=1e-6)
    assert rear.jog_mm == pytest.approx(slide, abs=1e-6)
    assert door.off_plane_mm == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("cut", ["level", "square"])
def test_legs_are_cut_as_posts_are(cut):
    """Level: d √(1 + tan² a + tan² b), misses d tan a − s and d tan b.  Square: −D·t."""
    car = flat_car(rake_deg=RAKE, tumblehome_deg=TUMBLE)
    built = lowered(car, move={"fore_aft": 20.0}, cut=cut)
    slope = front_edge(car)[2]
    for side in ("right", "left"):
        door = panes_of(built)["door glass", side]
        for leg, a, post in zip(door.legs, (slope, 0.0), "AB", strict=True):
            true = np.sqrt(1 + a * a + tan(TUMBLE) ** 2)
            assert (leg.post, leg.cut) == (post, cut)
            if cut == "level":
                assert leg.take_out_mm == pytest.approx(DROP * true, abs=1e-6)
                assert leg.removed_mm == pytest.approx((DROP + 0.8) * true, abs=1e-6)
                assert leg.miss_fore_aft_mm == pytest.approx(DROP * a - 20, abs=1e-6)
                assert leg.miss_across_mm == pytest.approx(DROP * tan(TUMBLE), abs=1e-6)
            else:
                assert leg.take_out_mm == pytest.approx((20 * a + DROP) / true, abs=1e-6)
            assert tan(leg.lean_side_deg) == pytest.approx(a, abs=1e-9)
            assert leg.lean_front_deg == pytest.approx(TUMBLE, abs=1e-6)


def test_a_rail_turned_by_the_pitch_meets_the_legs_where_long_lines_cross():
    """Upright box, 40 and 70: moved rail and old legs crossed by shapely; angles change by the pitch."""
    built = lowered(box_car(), 40, 70)
    door = panes_of(built)["door glass", "right"]
    pitch = built.roof.pitch_deg
    rail = np.array([c.before_mm for c in door.corners])
    moved = built.moves["roof"].points(rail)[:, [0, 2]]
    way = moved[1] - moved[0]
    long_rail = shapely.LineString([moved[0] - way, moved[1] + way])
    foot, top, _ = front_edge(built.shape.car)
    legs = (
        shapely.LineString([(foot.across_mm, foot.up_mm), (top.across_mm, top.up_mm)]),
        shapely.LineString([(700.0, 0.0), (700.0, 480.0)]),
    )
    for corner, leg in zip(door.corners, legs, strict=True):
        met = leg.intersection(long_rail)
        assert (corner.after_mm[0], corner.after_mm[2]) == pytest.approx((met.x, met.y), abs=1e-9)
    front, rear = door.corners
    # Rear down: the rail's rear end sinks, so the rear corner opens and the front one closes by the pitch.
    assert rear.angle_after_deg - rear.angle_before_deg == pytest.approx(pitch, abs=1e-9)
    assert front.angle_after_deg - front.angle_before_deg == pytest.approx(-pitch, abs=1e-9)


def test_a_shifted_post_takes_its_shift_from_the_fixed_pane_behind_it():
    car = flat_car(rake_deg=RAKE, tumblehome_deg=TUMBLE)
    plan = {"move": {"fore_aft": "along-windshield"}, "shifts": (PostShift(post="B"),)}
    built = lowered(car, **plan)
    pane = panes_of(built)["quarter glass", "right"]
    slide = built.roof.forward_mm
    assert pane.kind == "fixed" and pane.legs == () and pane.well is None
    assert slide == pytest.approx(DROP * tan(RAKE), abs=1e-6)
    assert pane.rail_before_mm - pane.rail_after_mm == pytest.approx(slide, abs=1e-6)
    front, rear = pane.corners
    assert front.after_mm[0] == pytest.approx(front.before_mm[0], abs=1e-6)
    assert rear.after_mm[0] == pytest.approx(rear.before_mm[0] - slide, abs=1e-6)


def test_the_outline_is_the_side_view_stretched_up_the_glass():
    """Sides lean by b before and b' after: areas are those of the side view over cos b and over cos b'."""
    car = flat_car(rake_deg=RAKE, tumblehome_deg=TUMBLE)
    door = panes_of(lowered(car))["door glass", "right"]
    foot, top, slope = front_edge(car)
    height = top.up_mm - foot.up_mm
    for outline, drop, lean in (
        (door.outline_before_mm, 0.0, TUMBLE),
        (door.outline_after_mm, DROP, door.corners[0].lean_front_after_deg),
    ):
        h, cos = height - drop, np.cos(np.radians(lean))
        sharp = h * (700 - foot.across_mm - h * slope / 2)
        angles = [np.pi / 2, np.pi / 2, np.arctan2(1, slope), np.pi - np.arctan2(1, slope)]
        rounded = sharp - sum(20**2 * (1 / np.tan(q / 2) - (np.pi - q) / 2) for q in angles)
        assert shapely.Polygon(outline).area == pytest.approx(rounded / cos, rel=2e-5)
        places = np.array(outline)
        assert np.ptp(places[:, 1]) == pytest.approx(h / cos, abs=1e-6)
        assert places[:, 1].min() == pytest.approx(0, abs=1e-6)
    lean = tan(door.corners[0].lean_front_after_deg)
    assert door.well.swing_mm == pytest.approx((height - DROP) * (lean - tan(TUMBLE)), abs=1e-6)


def test_nothing_changes_where_the_roof_is_not_cut():
    assert side_glass(build_checked(flat_car(), Plan())) == ()
    assert evaluate(flat_car()).side_glass == ()


def with_door_glass(car, corners):
    """Return the car with another door glass, (across, up, radius) around."""
    made = tuple(Corner(across_mm=x, up_mm=z, radius_mm=r) for x, z, r in corners)
    openings = (replace(o, corners=made) if o.name == "door glass" else o for o in car.openings)
    return replace(car, openings=tuple(openings))


def test_a_pane_too_low_for_its_radii_has_no_outline_and_is_flagged():
    """Radii of 150 fit on edges of 348, and not on what 80 leave of them."""
    square = [(x, z, 150.0) for x, z in ((250, 60), (700, 60), (700, 408), (250, 408))]
    built = lowered(with_door_glass(box_car(), square), 40.0)
    assert panes_of(built)["door glass", "right"].outline_after_mm
    roof = RoofMove(front_drop_mm=80.0, rear_drop_mm=80.0)
    report = evaluate(with_door_glass(box_car(), square), Plan(roof=roof))
    found = [f for f in report.findings if f.kind == "no room for the pane"]
    assert [f.where for f in found] == ["door glass right", "door glass left"]
    assert found[0].measured == pytest.approx(348 - 80, abs=1e-6)


def test_a_leg_without_room_at_its_post_s_cut_is_cut_in_its_middle():
    """Legs from 60 to 408; 170 and a root gap of 0.8 from 240 do not fit, (468 − 170.8) / 2 does."""
    legs = panes_of(lowered(box_car(), 170.0))["door glass", "right"].legs
    assert len(legs) == 2
    for leg in legs:
        assert leg.cut_height_mm == pytest.approx((60 + 408 - 170.8) / 2, abs=1e-6)
        assert leg.room_mm == pytest.approx((408 - 60 - 170.8) / 2, abs=1e-6)


def test_a_leg_shorter_than_the_drop_is_flagged():
    short = with_door_glass(box_car(), [(250, 80, 5), (700, 80, 5), (700, 245, 5), (250, 245, 5)])
    report = evaluate(short, Plan(roof=RoofMove(front_drop_mm=175.0, rear_drop_mm=175.0)))
    found = [f for f in report.findings if f.kind == "door leg too short"]
    assert len(found) == 4 and all(f.measured > 0 for f in found)
    plain = evaluate(box_car(), Plan(roof=RoofMove(front_drop_mm=50.0, rear_drop_mm=50.0)))
    assert not [f for f in plain.findings if f.kind == "door leg too short"]


def test_a_leg_that_misses_is_flagged_with_its_measure():
    car = flat_car(rake_deg=RAKE, tumblehome_deg=TUMBLE)
    report = evaluate(car, Plan(roof=RoofMove(front_drop_mm=DROP, rear_drop_mm=DROP)))
    found = {f.where: f for f in report.findings if f.kind == "door leg misses"}
    rear = found["door glass right, rear leg"]
    assert rear.measured == pytest.approx(DROP * tan(RAKE), abs=1e-6) and rear.limit == 0.75


@pytest.mark.parametrize("name", demo_car_names())
def test_a_leg_of_a_measured_car_by_a_polyline_on_the_skin(name):
    """The edge of the glass as 4001 points: arc length between the heights where the cuts cross it."""
    car = read_car(demo_car_path(name))
    built = build_checked(car, read_plan(demo_plan_path(name), car))
    roof = built.moves["roof"]
    for pane in side_glass(built):
        for leg, corner in zip(pane.legs, pane.corners, strict=False):
            opening = next(o for o in built.shape.openings if o.name == f"{pane.pane} {pane.side}")
            corners = np.array([(c.across_mm, c.up_mm) for c in opening.opening.corners])
            top = np.array([corner.before_mm[0], corner.before_mm[2]])
            k = int(np.abs(corners - top).sum(axis=1).argmin())
            foot = min(corners[k - 1], corners[(k + 1) % 4], key=lambda p: p[1])
            share = np.linspace(0, 1, 4001)[:, None]
            line = points_of_side(opening.outline.grid, foot + share * (top - foot))
            along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
            s_low = np.interp(leg.cut_height_mm, line[:, 2], along)
            s_take = np.interp(leg.cut_height_mm, roof.points(line)[:, 2], along)
            assert leg.take_out_mm == pytest.approx(s_take - s_low, abs=0.01)
            landing = roof.points([np.interp(s_take, along, line[:, i]) for i in range(3)])
            lower = np.array([np.interp(s_low, along, line[:, i]) for i in range(3)])
            inboard = -1 if pane.side == "right" else 1
            assert leg.miss_fore_aft_mm == pytest.approx(landing[0] - lower[0], abs=0.01)
            assert leg.miss_across_mm == pytest.approx(inboard * (landing - lower)[1], abs=0.01)


@pytest.mark.parametrize("name", demo_car_names())
def test_a_corner_lies_on_the_moved_skin_by_triangles(name):
    """A fine lattice of the side, moved with the roof and cut into triangles: y at the corner's x and z."""
    car = read_car(demo_car_path(name))
    built = build_checked(car, read_plan(demo_plan_path(name), car))
    t = np.linspace(0, 1, 241)
    for side in ("right", "left"):
        grid = built.shape.skin.grids[f"side {side}"]
        lattice = grid.point(np.stack(np.meshgrid(t, t, indexing="ij"), axis=-1).reshape(-1, 2))
        moved = built.moves["roof"].points(lattice)
        corners = panes_of(built)["door glass", side].corners
        assert len(corners) == 2
        for corner in corners:
            x, y, z = corner.after_mm
            near = moved[np.abs(moved[:, [0, 2]] - (x, z)).max(axis=1) < 60]  # cells are 10 mm wide
            y_of = LinearNDInterpolator(near[:, [0, 2]], near[:, 1])
            assert y == pytest.approx(float(y_of(x, z)), abs=0.05)


@pytest.mark.parametrize("key", [2, 5, 8])
def test_a_mirrored_car_has_mirrored_panes(key):
    car = varied_car(key)
    plan = varied_plan(car, key)
    ours = panes_of(build_checked(car, plan))
    theirs = panes_of(build_checked(mirrored_car(car), mirrored_plan(plan)))
    assert len(ours) == len(theirs)
    for (name, side), pane in ours.items():
        other = theirs[name, {"right": "left", "left": "right"}[side]]
        assert other.rail_after_mm == pytest.approx(pane.rail_after_mm, abs=1e-6)
        assert other.height_after_mm == pytest.approx(pane.height_after_mm, abs=1e-6)
        for a, b in zip(pane.corners, other.corners, strict=True):
            assert b.after_mm == pytest.approx((a.after_mm[0], -a.after_mm[1], a.after_mm[2]), abs=1e-6)
            assert b.lean_front_after_deg == pytest.approx(a.lean_front_after_deg, abs=1e-6)
        for a, b in zip(pane.legs, other.legs, strict=True):
            assert b.take_out_mm == pytest.approx(a.take_out_mm, abs=1e-6)
            assert b.miss_across_mm == pytest.approx(a.miss_across_mm, abs=1e-6)


@pytest.mark.parametrize("key", [1, 4, 7, 10])
def test_outlines_are_whole_and_lie_within_the_opening_s_length(key):
    car = varied_car(key)
    for pane in side_glass(build_checked(car, varied_plan(car, key))):
        if pane.outline_after_mm:
            assert shapely.Polygon(pane.outline_after_mm).is_valid
        assert shapely.Polygon(pane.outline_before_mm).is_valid


def with_well(car, name="door glass", **measures):
    """Return the car with the well of one opening measured."""
    openings = tuple(replace(o, **measures) if o.name == name else o for o in car.openings)
    return replace(car, openings=openings)


def test_a_pane_goes_down_by_the_lesser_of_its_height_and_the_well():
    """H / cos b before, (H − d) / cos b' after; deeper, between, and shallower wells."""
    car = flat_car(rake_deg=RAKE, tumblehome_deg=TUMBLE)
    foot, top, _ = front_edge(car)
    height = top.up_mm - foot.up_mm
    before = height / np.cos(np.radians(TUMBLE))
    lean = np.arctan(height * tan(TUMBLE) / (height - DROP))
    after = (height - DROP) / np.cos(lean)
    for depth in (before + 20, (before + after) / 2, 200.0):
        well = panes_of(lowered(with_well(car, well_mm=depth)))["door glass", "left"].well
        assert well.depth_mm == depth and well.room_mm is None
        assert well.stroke_before_mm == pytest.approx(min(before, depth), abs=1e-6)
        assert well.stroke_after_mm == pytest.approx(min(after, depth), abs=1e-6)
        assert well.stands_before_mm == pytest.approx(max(before - depth, 0), abs=1e-6)
        assert well.stands_after_mm == pytest.approx(max(after - depth, 0), abs=1e-6)


def test_a_lower_edge_that_swings_out_past_the_room_is_flagged():
    """h (tan b' − tan b) with h = H − d, all the way down: (H − d) (H / (H − d) − 1) tan b = d tan b."""
    car = flat_car(rake_deg=RAKE, tumblehome_deg=TUMBLE)
    swing = DROP * tan(TUMBLE)
    plan = Plan(roof=RoofMove(front_drop_mm=DROP, rear_drop_mm=DROP, fore_aft="straight-down"))
    for room, count in ((swing + 0.01, 0), (swing - 0.01, 2)):
        report = evaluate(with_well(car, well_room_mm=room), plan)
        found = [f for f in report.findings if f.kind == "pane no longer clears the door"]
        assert len(found) == count
        assert all(f.measured == pytest.approx(swing, abs=1e-6) and f.limit == room for f in found)


def test_a_pane_that_stands_up_more_than_before_is_flagged():
    built = lowered(with_well(flat_car(), well_mm=200.0))
    pane = panes_of(built)["door glass", "right"]
    assert "pane no longer goes down" not in {f.kind for f in door_findings(built, (pane,))}
    taller = replace(pane, well=replace(pane.well, stands_after_mm=pane.well.stands_before_mm + 3))
    found = {f.kind: f for f in door_findings(built, (taller,))}["pane no longer goes down"]
    assert found.measured - found.limit == pytest.approx(3, abs=1e-9)


def test_a_measured_well_makes_any_pane_between_two_posts_a_door_s():
    plain = panes_of(lowered(flat_car()))["quarter glass", "right"]
    wound = panes_of(lowered(with_well(flat_car(), "quarter glass", well_mm=400.0)))["quarter glass", "right"]
    assert (plain.kind, wound.kind) == ("fixed", "door")
    assert [leg.post for leg in wound.legs] == ["B", "C"]
    asked = [text.split(":")[0] for text in wound.to_measure]
    assert "well_room" in asked and "well" not in asked


@pytest.mark.parametrize(
    ("name", "measures", "words"),
    [
        ("door glass", {"well_mm": 0.0}, "well must be more than 0"),
        ("door glass", {"well_mm": 1500.0}, "well must be more than 0 and at most"),
        ("door glass", {"well_room_mm": -3.0}, "well_room must be more than 0"),
        ("rear window", {"well_mm": 300.0}, "well must be that of side glass"),
    ],
)
def test_a_well_that_cannot_be_right_is_refused(name, measures, words):
    with pytest.raises(MeasureError, match=words):
        check_car(with_well(flat_car(), name, **measures))


def test_a_well_is_written_and_read_back(tmp_path):
    car = with_well(read_car(demo_car_path("coupe")), well_mm=431.8, well_room_mm=15.875)
    write_car(car, tmp_path / "car.toml")
    again = read_car(tmp_path / "car.toml")
    assert again == car
    left = next(o for o in again.all_openings() if (o.name, o.side) == ("door glass", "left"))
    assert (left.well_mm, left.well_room_mm) == (431.8, 15.875)


def test_the_notebook_draws_every_pane_stock_and_lowered():
    car = read_car(demo_car_path("coupe"))
    panes = side_glass(build_checked(car, read_plan(demo_plan_path("coupe"), car)))
    html = side_glass_html(panes, "in")
    assert html.count("<polygon") == 2 * len(panes) == 8
    assert html.count("leg, take-out") == 4 and "23-1/2&quot;" in html
    closed = replace(panes[0], outline_after_mm=())
    assert side_glass_html((closed,), "mm").count("<polygon") == 1
    assert side_glass_html((), "in") == ""


@pytest.mark.parametrize("name", demo_car_names())
def test_an_outline_of_a_measured_car_by_a_plane_fitted_in_y(name):
    """y = a + b x + c z through feet and new corners by lstsq: heights grow by
    √(1 + c² / (1 + b²)), areas of the side view by √(1 + b² + c²)."""
    car = read_car(demo_car_path(name))
    built = build_checked(car, read_plan(demo_plan_path(name), car))
    for pane in side_glass(built):
        opening = next(o.opening for o in built.shape.openings if o.name == f"{pane.pane} {pane.side}")
        grid = built.shape.skin.grids[f"side {pane.side}"]
        feet = points_of_side(grid, sorted((c.across_mm, c.up_mm) for c in opening.corners if c.up_mm < 1200))
        corners = np.array([c.after_mm for c in pane.corners])
        x, y, z = np.concatenate([feet, corners]).T
        _, b, c = np.linalg.lstsq(np.stack([np.ones(4), x, z], axis=1), y, rcond=None)[0]
        outline = np.array(pane.outline_after_mm)
        assert outline[:, 1].min() == pytest.approx(0, abs=1e-6)  # level on the car, level here
        plumb = corners[:, 2].max() - feet[0, 2]
        assert pane.height_after_mm <= plumb * np.sqrt(1 + c * c / (1 + b * b)) * 1.001
        # A rail that falls peaks in a rounded corner, up to 6 mm lower on the quarter glass.
        assert pane.height_after_mm == pytest.approx(plumb * np.sqrt(1 + c * c / (1 + b * b)), abs=6.5)
        places = [feet[0], feet[1], corners[1], corners[0]]
        sharp = shapely.Polygon([(p[0], p[2]) for p in places])
        lost = 1 - shapely.Polygon(outline).area / (sharp.area * np.sqrt(1 + b * b + c * c))
        # What the radii cut off; a fixed pane has the step of its post beside, which may be outside that.
        assert (0 if pane.kind == "door" else -0.02) < lost < 0.02


def test_a_leg_leans_with_the_post_beside_it():
    """Straight down with the A-posts laid back: the corner is where the leg, turned about the post's hinge by
    the change of the post's lean, crosses the rail that came down by d; the rear leg stays upright."""
    car = flat_car(rake_deg=RAKE)
    built = lowered(car, leans=(PostLean(post="A"),))
    door = panes_of(built)["door glass", "right"]
    foot, top, slope = front_edge(car)
    ends = built.ends["A", "right"]
    hinge = np.array(ends.hinge.point_mm)[[0, 2]]
    before, after = ends.line.frame(0.5)[1][0], ends.lower_move.vectors(ends.line.frame(0.5)[1][0])
    turn = np.arctan2(after[0], after[2]) - np.arctan2(before[0], before[2])
    assert np.degrees(turn) > 2
    cos, sin = np.cos(turn), np.sin(turn)
    turned = [
        hinge + np.array([[cos, sin], [-sin, cos]]) @ (np.array([c.across_mm, c.up_mm]) - hinge)
        for c in (foot, top)
    ]
    way = turned[1] - turned[0]
    leg = shapely.LineString([turned[0], turned[0] + 2 * way])
    rail = shapely.LineString([(0, top.up_mm - DROP), (1500, top.up_mm - DROP)])
    met = leg.intersection(rail)
    assert (door.corners[0].after_mm[0], door.corners[0].after_mm[2]) == pytest.approx(
        (met.x, met.y), abs=1e-6
    )
    assert door.corners[1].after_mm[0] == pytest.approx(700.0, abs=1e-6)
    assert door.rail_after_mm == pytest.approx(700.0 - met.x, abs=1e-6)
    kept = panes_of(lowered(car))["door glass", "right"]
    # The leg stands 160 mm behind the post it leans with, so it does not quite meet where the post does.
    assert abs(door.legs[0].miss_fore_aft_mm) < 0.5 * abs(kept.legs[0].miss_fore_aft_mm)
    assert slope > 0 and door.legs[1].miss_fore_aft_mm == pytest.approx(0, abs=1e-6)


def test_a_cut_through_a_doors_lower_edge_is_told_and_nothing_made_up():
    """Found by random slider moves: a front leg that was the level lower edge had no length to be cut at."""
    car = read_car(demo_car_path("pickup"))
    plan = Plan(roof=RoofMove(front_drop_mm=40.0, rear_drop_mm=40.0), cut="square")
    told = {}
    for height in ("44-1/2", "48-1/2"):
        report = evaluate(car, plan_with_settings(plan, [f"cut_height.A={height}"], car))
        found = [f for f in report.findings if f.kind == "cut through a pane's lower edge"]
        told[height] = (
            [f.where for f in found],
            sorted(p.side for p in report.side_glass if p.kind == "door"),
        )
        for finding in found:
            assert finding.limit == pytest.approx(44.5 * 25.4), finding.message
            assert "Cut A higher" in finding.message
    assert told["48-1/2"] == ([], ["left", "right"])
    assert told["44-1/2"][1] == [] and sorted(told["44-1/2"][0]) == ["door glass left", "door glass right"]
