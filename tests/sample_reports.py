"""A report made by hand, with every kind of entry a report may have; and the published schemas."""

import jsonschema
from referencing import Registry, Resource

from model.blankreport import Trapezium
from model.doorreport import DoorLeg, PaneCorner, PaneReport, WellReport
from model.files import packaged_schema
from model.panelreport import Misfit, PanelFit, SeamMisfit
from model.plan import NewMetal, Plan, PostCut, PostShift, RoofMove, WindowMove
from model.plandict import plan_to_dict
from model.postpiecereport import CutBackMark, HingeBackMark, HingePieceReport, PostPieceReport, PostWall
from model.report import (
    EdgeMark,
    Finding,
    HingeMark,
    Interference,
    LeanReport,
    NewMetalEdge,
    NewMetalReport,
    PostReport,
    PostStretch,
    Remedy,
    RemedySeam,
    Report,
    SeamReport,
    SeamStation,
    Spread,
    Totals,
    WindowReport,
)
from model.trimreport import TrimLine, TrimStation
from model.viewreport import HeadReport, PostSight, RearSight, Sight, View


def sample_post(post="B", side="right", **changed):
    """Return a post that misses 1-7/16 in forward and 9/16 in inboard."""
    edges = tuple(
        EdgeMark(
            edge=edge,
            lower_mm=(1016.0, 584.2, 1270.0),
            upper_mm=(1016.0, 580.0, 1330.0),
            take_out_mm=58.9,
            removed_mm=59.7,
        )
        for edge in ("axis", "front outer", "front inner", "rear inner", "rear outer")
    )
    values = {
        "post": post,
        "side": side,
        "cut": "level",
        "cut_height_mm": 1270.0,
        "lean_side_deg": 0.0,
        "lean_front_deg": 14.0,
        "drop_mm": 57.15,
        "take_out_mm": 58.9,
        "removed_mm": 59.7,
        "miss_fore_aft_mm": -36.5,
        "miss_across_mm": 14.25,
        "tilt_deg": 0.7,
        "shift_mm": 0.0,
        "bead_mm": 272.0,
        "edges": edges,
        "remedy": "shift the upper end 1-7/16 in rearward",
        "remedies": (
            Remedy(
                kind="pie cut",
                way="in",
                by_mm=14.25,
                numbers={"mouth_mm": 14.25, "leg_mm": 210.0},
                seams=(RemedySeam(name="pie cut", length_mm=210.0),),
                reason="",
                text="draw the lower end in",
            ),
        ),
        "stretch": PostStretch(
            needed_mm=186.7,
            clear_from_mm=1066.8,
            clear_to_mm=1390.65,
            from_mm=1200.0,
            to_mm=1381.0,
            cut_at_mm=1263.5,
            sagitta_mm=0.4,
            at_plan_sagitta_mm=1.6,
        ),
    }
    return PostReport(**{**values, **changed})


def sample_lean():
    """Return a lower end laid back from 32° to 36.67° about a hinge 14 in below its upper cut."""
    edges = tuple(
        HingeMark(
            edge=edge,
            foot_mm=(150.0, 610.0, 1066.8),
            loose_mm=(151.0, 609.8, 1069.2),
            removed_mm=2.4,
            gap_mm=4.8,
        )
        for edge in ("axis", "front outer", "front inner", "rear inner", "rear outer")
    )
    return LeanReport(
        hinge_mm=(150.0, 610.0, 1066.8),
        height_mm=355.6,
        turn_deg=4.67,
        lean_side_before_deg=32.0,
        lean_side_after_deg=36.67,
        lean_front_before_deg=11.5,
        lean_front_after_deg=11.5,
        mouth_mm=4.8,
        edges=edges,
        piece=HingePieceReport(
            name="hinge piece A right",
            length_mm=12.7,
            edges=(HingeBackMark(edge="axis", loose_mm=(158.0, 610.0, 1079.5), back_mm=12.7),),
        ),
    )


def sample_seam(name="B right, lower", **changed):
    """Return a seam with one overlap."""
    station = SeamStation(
        at_mm=(1000.0, 580.0, 1270.0),
        along_mm=0.0,
        gap_mm=-1.2,
        step_mm=0.4,
        angle_first_deg=4.3,
        angle_second_deg=4.3,
    )
    values = {
        "name": name,
        "kind": "skin",
        "side": "right",
        "pieces": ("body", "roof"),
        "length_mm": 812.8,
        "edge_mm": 830.0,
        "over_post_mm": 17.2,
        "facing_mm": 800.0,
        "gap_mm": Spread(min=-1.2, mean=0.8, max=3.175),
        "step_mm": Spread(min=-6.35, mean=0.1, max=0.4),
        "min_at_mm": (1000.0, 580.0, 1270.0),
        "max_at_mm": (1200.0, -584.2, 1270.0),
        "stations": (station,),
    }
    return SeamReport(**{**values, **changed})


def sample_panel_fit():
    """Return a fit of down and lay-down that stops at the latter's limit."""

    def off(rms_mm, step_mm):
        return Misfit(rms_mm=rms_mm, gap_mm=1.5875, step_mm=step_mm, break_deg=-2.5, facing=1.0)

    seam = SeamMisfit(
        seam="window panel to roof", weight=1.0, before=off(7.9375, 12.7), after=off(3.175, 6.35)
    )
    return PanelFit(
        free=("window_down", "lay_down"),
        at_limit=("lay_down",),
        opening_mm=1.2,
        proud_mm=0.0,
        sinks_mm=71.4375,
        sink_limit_mm=76.2,
        rms_before_mm=7.9375,
        rms_after_mm=3.175,
        seams=(seam,),
    )


def sample_filler(**changed):
    """Return a filler with one end free and one left open."""
    edges = tuple(
        NewMetalEdge(piece=piece, length_mm=mm, tangent_break_deg=0.1, off_root_gap_mm=0.02)
        for piece, mm in (("body", 254.0), ("roof", 260.0))
    )
    values = {
        "name": "filler B right, side skin",
        "kind": "skin",
        "side": "right",
        "pieces": ("body", "roof"),
        "gauge_mm": 1.0,
        "area_mm2": 6451.6,
        "mass_kg": 0.0506,
        "width_min_mm": 19.05,
        "width_max_mm": 31.75,
        "closes_gap_mm": 33.3,
        "closes_step_mm": -4.0,
        "ends": ("opening", "corner"),
        "open_corner_mm": 25.4,
        "edges": edges,
        "least_radius_mm": 38.1,
        "blank_mm": (285.75, 57.15),
        "crown_mm": 3.175,
        "max_strain": -0.0123,
        "doubt_strain": 0.001,
        "can_be_rolled": False,
        "trapezium": Trapezium(
            along_mm=(254.0, 260.35),
            ends_mm=(31.75, 30.1625),
            diagonals_mm=(257.175, 262.0),
            off_mm=3.175,
            limit_mm=0.79375,
            is_enough=False,
        ),
    }
    return NewMetalReport(**{**values, **changed})


def sample_post_piece(side="right"):
    """Return a post's piece, 4 in long, and what is told of it as new metal."""
    name = f"post piece B {side}"
    wall = PostWall(
        wall="front",
        corners_mm=((0.0, 0.0), (50.8, 0.0), (57.15, 104.775), (6.35, 104.775)),
        diagonal=(1, 3),
        diagonal_mm=113.78,
        twist_mm=0.79375,
        area_mm2=5322.57,
    )
    piece = PostPieceReport(
        name=name,
        lower_back_mm=92.075,
        upper_back_mm=9.525,
        length_mm=101.6,
        climb=0.385,
        set_in_mm=0.0,
        edges=(
            CutBackMark(
                edge="axis",
                lower_mm=(1016.0, 584.2, 1177.925),
                upper_mm=(1016.0, 580.0, 1339.85),
                lower_back_mm=95.25,
                upper_back_mm=9.525,
            ),
        ),
    )
    metal = sample_filler(
        name=name,
        kind="post piece",
        side=side,
        ends=(f"post B {side} lower", f"post B {side} upper"),
        open_corner_mm=0.0,
        blank_mm=None,
        crown_mm=None,
        max_strain=None,
        doubt_strain=None,
        can_be_rolled=None,
        mass_kg=0.321,
        walls=(wall,),
    )
    return piece, metal


def sample_trim(**changed):
    """Return a trim line of the roof above the window panel, 1/2 in deep at the centreline."""
    stations = tuple(
        TrimStation(
            edge_mm=(2100.0, along, 1260.0),
            line_mm=(2100.0 + depth, along, 1260.0),
            from_mark_mm=along,
            depth_mm=depth,
        )
        for along, depth in ((-203.2, 0.0), (0.0, 12.7), (203.2, 6.35))
    )
    values = {
        "seam": "window panel to roof",
        "piece": "roof",
        "other": "window panel",
        "reason": "it would leave too little flange",
        "mark": "centreline",
        "mark_mm": (2100.0, 0.0, 1260.0),
        "plus_way": "to the right",
        "minus_way": "to the left",
        "length_mm": 406.4,
        "lap_mm": 11.9,
        "apart_mm": 6.35,
        "area_mm2": 3225.8,
        "stations": stations,
    }
    return TrimLine(**{**values, **changed})


def sample_finding(message, measured, limit, unit="mm", kind="ends miss"):
    """Return a finding at the right B-post."""
    return Finding(
        kind=kind,
        where="B right",
        message=message,
        measured=measured,
        limit=limit,
        unit=unit,
        source="assumed: half a wall thickness",
    )


def sample_view():
    """Return a view with every kind of entry, the owner's eye ahead of no pane."""
    return View(
        sights=(
            Sight(
                eye="V1",
                eye_mm=(1185.6, -360.6, 1223.8),
                up_before_deg=11.8,
                up_after_deg=6.9,
                down_before_deg=8.4,
                down_after_deg=8.4,
            ),
            Sight(
                eye="own",
                eye_mm=(1160.0, -355.6, 1240.0),
                up_before_deg=None,
                up_after_deg=None,
                down_before_deg=None,
                down_after_deg=None,
            ),
        ),
        posts=(
            PostSight(
                post="A",
                side="left",
                two_eye_before_deg=5.1,
                two_eye_after_deg=5.8,
                one_eye_before_deg=9.3,
                one_eye_after_deg=None,
            ),
        ),
        rear=RearSight(
            mirror_before_mm=(320.0, 0.0, 1360.0),
            mirror_after_mm=(286.0, 0.0, 1302.0),
            is_mirror_measured=False,
            up_before_deg=2.2,
            up_after_deg=1.4,
            down_before_deg=6.0,
            down_after_deg=6.2,
            width_before_deg=24.0,
            width_after_deg=23.9,
        ),
        head=HeadReport(
            stature_mm=1778.0,
            crown_mm=(1251.0, -355.6, 1360.0),
            clearance_before_mm=175.0,
            clearance_after_mm=106.4,
        ),
        to_measure=("Measure the middle of the inside mirror.",),
    )


def sample_pane(**changed):
    """Return a door's pane whose front corner is re-made."""
    corner = PaneCorner(
        corner="front",
        before_mm=(406.4, 581.3, 1409.7),
        after_mm=(369.3, 580.6, 1350.7),
        angle_before_deg=123.5,
        angle_after_deg=122.9,
        lean_front_before_deg=11.4,
        lean_front_after_deg=13.5,
        jog_mm=-3.8,
    )
    leg = DoorLeg(
        leg="front",
        post="B",
        cut="level",
        cut_height_mm=1143.0,
        lean_side_deg=32.2,
        lean_front_deg=9.9,
        take_out_mm=68.9,
        removed_mm=69.8,
        lower_mm=(238.6, 641.7, 1143.0),
        upper_mm=(275.4, 630.9, 1201.4),
        miss_fore_aft_mm=-35.3,
        miss_across_mm=10.7,
        bead_mm=92.0,
        room_mm=184.0,
    )
    values = {
        "pane": "door glass",
        "side": "right",
        "kind": "door",
        "rail_before_mm": 559.9,
        "rail_after_mm": 596.9,
        "height_before_mm": 419.7,
        "height_after_mm": 362.6,
        "off_plane_mm": 3.9,
        "outline_before_mm": ((0.0, 0.0), (800.0, 0.0), (800.0, 419.7)),
        "outline_after_mm": ((0.0, 0.0), (800.0, 0.0), (800.0, 362.6)),
        "corners": (corner,),
        "legs": (leg,),
        "well": WellReport(
            depth_mm=None,
            room_mm=None,
            stands_before_mm=None,
            stands_after_mm=None,
            stroke_before_mm=None,
            stroke_after_mm=None,
            swing_mm=16.2,
        ),
        "to_measure": ("How deep the pane sits in its channels.",),
    }
    return PaneReport(**{**values, **changed})


def sample_report(unit="in", name="two and a quarter", **changed):
    """Return a report of a plan that uses every part of a plan."""
    plan = Plan(
        car="tiny cab",
        name=name,
        roof=RoofMove(front_drop_mm=57.15, rear_drop_mm=76.2),
        window=WindowMove(forward_mm=50.8, lay_down_deg=4.0),
        cuts=(PostCut(post="B", side="right", height_mm=1270.0),),
        shifts=(PostShift(post="B"),),
        new_metal=NewMetal(),
    )
    values = {
        "car": {"name": "tiny cab", "unit": unit},
        "plan": plan_to_dict(plan),
        "posts": (sample_post(piece=sample_post_piece()[0]), sample_post(side="left")),
        "seams": (
            sample_seam(),
            sample_seam("strip", kind="strip", gap_mm=None, step_mm=None, min_at_mm=None, max_at_mm=None),
        ),
        "trims": (sample_trim(), sample_trim(seam="shallow", stations=sample_trim().stations[:1] * 2)),
        "interference": (
            Interference(
                pieces=("roof", "roll bar"),
                volume_mm3=16387.064,
                depth_mm=12.7,
                area_mm2=400.0,
                at_mm=(1270.0, 0.0, 1500.0),
            ),
        ),
        "window": WindowReport(
            rear_rake_before_deg=50.0,
            rear_rake_after_deg=54.0,
            rear_forward_mm=50.8,
            rear_down_mm=70.0,
            rear_lay_down_deg=4.0,
            rear_pivot_mm=(2540.0, 0.0, 1016.0),
            rear_opening_change_mm=0.0,
            windshield_rake_before_deg=32.0,
            windshield_rake_after_deg=32.7,
            windshield_height_before_mm=330.2,
            windshield_height_after_mm=262.0,
            windshield_plumb_before_mm=279.4,
            windshield_plumb_after_mm=222.25,
            fit=sample_panel_fit(),
        ),
        "view": sample_view(),
        "totals": Totals(
            weld_mm=9563.1,
            weld_by_kind_mm={"skin": 9000.0, "post": 563.1},
            weld_by_side_mm={"right": 4800.0, "left": 4763.1},
            front_drop_mm=57.15,
            rear_drop_mm=76.2,
            roof_forward_mm=35.7,
            roof_pitch_deg=0.7,
            height_before_mm=1587.5,
            height_after_mm=1524.0,
            headroom_before_mm=939.8,
            headroom_after_mm=870.0,
            skin_area_mm2=5.0e6,
            removed_area_mm2=2.5e5,
        ),
        "new_metal": (sample_filler(), sample_post_piece()[1]),
        "findings": (
            sample_finding("the ends meet askew.", 0.7, 0.5, "deg", "tilt"),
            sample_finding("the upper end lands forward of the lower one.", 36.5, 1.5),
            sample_finding("the roof stands in the roll bar.", 16387.064, 0.0, "mm3", "interference"),
        ),
        "side_glass": (sample_pane(),),
    }
    return Report(**{**values, **changed})


def validator(name):
    """Return a validator that knows the report's schema by its id."""
    resource = Resource.from_contents(packaged_schema("report"))
    registry = Registry().with_resource(resource.id(), resource)
    return jsonschema.Draft202012Validator(packaged_schema(name), registry=registry)
