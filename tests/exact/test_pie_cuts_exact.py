"""Pie cuts for the CAD kernel: the turned end meets the roof's end across; the sheet over it is let be."""

from functools import lru_cache

import numpy as np
import pytest
from cases import car_of
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeVertex
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepGProp import BRepGProp
from OCP.GeomAbs import GeomAbs_Plane
from OCP.gp import gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_FACE
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

from model.carfile import demo_plan_path
from model.evaluate import build_checked
from model.exactfaces import area_mm2, exact_faces
from model.exactkernel import location_of
from model.piecuts import pie_cut_report
from model.plan import PostPieCut
from model.planfile import read_plan
from model.solids import post_parts, skin_parts, volume_mm3

CASES = [("coupe", "C"), ("pickup", "rear corner")]


@lru_cache
def built_of(name, post):
    car = car_of(name)
    plan = read_plan(demo_plan_path(name), car)
    return build_checked(car, plan.changed(pie_cuts=(PostPieCut(post=post),) if post else ()))


@lru_cache
def placed_posts(name, post):
    parts = post_parts(built_of(name, post))
    return {part.name: part.shape.Moved(location_of(part.move)) for part in parts if not part.is_removed}


@lru_cache
def skins(name, post):
    built = built_of(name, post)
    parts = skin_parts(built, exact_faces(built.layout))
    return {part.name: part for part in parts if not part.is_removed}


def end_faces(solid, normal):
    """Return (height along a normal, centre) of the flat faces square to it, lowest first."""
    out, faces = [], TopExp_Explorer(solid, TopAbs_FACE)
    while faces.More():
        face = TopoDS.Face_s(faces.Current())
        surface = BRepAdaptor_Surface(face)
        if surface.GetType() == GeomAbs_Plane:
            axis = np.array(surface.Plane().Axis().Direction().Coord())
            if abs(axis @ normal) > 1 - 1e-9:
                found = GProp_GProps()
                BRepGProp.SurfaceProperties_s(face, found)
                centre = np.array(found.CentreOfMass().Coord())
                out.append((float(centre @ normal), centre))
        faces.Next()
    return sorted(out, key=lambda item: item[0])


def distance_mm(shape, point):
    vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*map(float, point))).Vertex()
    return BRepExtrema_DistShapeShape(shape, vertex).Value()


@pytest.mark.parametrize(("name", "post"), CASES)
@pytest.mark.parametrize("side", ["right", "left"])
def test_both_sides_of_the_wedge_close_to_a_root_gap(name, post, side):
    """The loose side as an edge, moved as the solid of the lower end is; the other side as it stays."""
    built = built_of(name, post)
    pie = next(p for p in built.pie_cuts if p.key == (post, side))
    cut = pie_cut_report(pie, built.plan.root_gap_mm)
    lower = next(p for p in post_parts(built) if p.name == f"post {post} {side} lower")

    def edge(a, b):
        return BRepBuilderAPI_MakeEdge(gp_Pnt(*map(float, a)), gp_Pnt(*map(float, b))).Edge()

    end, loose, stays = (np.array(point) for point in (cut.end_mm, cut.loose_mm, cut.stays_mm))
    turned = edge(end, loose).Moved(location_of(lower.move))
    back = stays - built.plan.root_gap_mm * pie.move.vectors(pie.across)
    assert distance_mm(turned, back) < 1e-6  # closed to the last bit but for the root gap
    assert distance_mm(turned, stays) == pytest.approx(built.plan.root_gap_mm, abs=1e-6)
    assert distance_mm(edge(end, loose), stays) > cut.mouth_mm - built.plan.root_gap_mm


@pytest.mark.parametrize(("name", "post"), CASES)
@pytest.mark.parametrize("side", ["right", "left"])
def test_solids_of_the_drawn_in_end_and_the_roof_s_end_meet_across(name, post, side):
    built = built_of(name, post)
    ends = built.ends[post, side]
    normal = ends.plane_in_place.normal
    posts = placed_posts(name, post)
    lower, upper = (posts[f"post {post} {side} {end}"] for end in ("lower", "upper"))
    assert BRepCheck_Analyzer(lower).IsValid() and BRepCheck_Analyzer(upper).IsValid()
    assert volume_mm3(lower) == pytest.approx(
        volume_mm3(placed_posts(name, None)[f"post {post} {side} lower"]), rel=1e-9
    )
    top, bottom = end_faces(lower, normal)[-1], end_faces(upper, normal)[0]
    assert bottom[0] - top[0] == pytest.approx(ends.opening_mm, abs=1e-6)
    n = ends.plane.normal  # across is square to the post's own fore-and-aft, which turns with it
    across = np.cross(n, np.array([1.0, 0.0, 0.0]) - n[0] * n)
    across = ends.lower_move.vectors(across / np.linalg.norm(across))
    # Centres of two hollow sections, each bent a little its own way from the axis that meets.
    assert abs((bottom[1] - top[1]) @ across) < 0.25
    before = placed_posts(name, None)
    plain = built_of(name, None).ends[post, side]
    a = end_faces(before[f"post {post} {side} lower"], plain.plane.normal)[-1]
    b = end_faces(before[f"post {post} {side} upper"], plain.plane.normal)[0]
    assert abs((b[1] - a[1])[1]) > 10.0


@pytest.mark.parametrize(("name", "post"), CASES)
def test_the_sheet_stays_as_it_was_and_the_post_comes_off_it_by_what_the_report_says(name, post):
    """How far the outer face's middle is from the sheet of the body over it, by the kernel."""
    pulled, plain = skins(name, post), skins(name, None)
    assert pulled.keys() == plain.keys()
    body = pulled["body"].shape
    assert volume_mm3(body) == pytest.approx(volume_mm3(plain["body"].shape), rel=1e-9)
    for pie in built_of(name, post).pie_cuts:
        lower = placed_posts(name, post)[f"post {' '.join(pie.key)} lower"]
        assert volume_mm3(BRepAlgoAPI_Common(lower, body).Shape()) == pytest.approx(0.0, abs=1e-6)
        before, after = (distance_mm(body, p) for p in (pie.outer_mm, pie.move.points(pie.outer_mm)))
        assert before < 15.0  # the box stands just inside its sheet
        assert 0.85 * pie.sheet_in_mm < after - before < 1.01 * pie.sheet_in_mm


def test_the_sheet_over_the_post_has_the_area_it_had():
    faces = [exact_faces(built_of("coupe", post).layout) for post in ("C", None)]
    cells = [[c for c in built_of("coupe", post).layout.cells if c.part == "body"] for post in ("C", None)]
    areas = [area_mm2(face.sheet(own)) for face, own in zip(faces, cells, strict=True)]
    assert areas[0] == pytest.approx(areas[1], rel=1e-9)
