"""The driver's view by other means: rays through the kernel's surfaces, solids cut by trimesh."""

import numpy as np
import pytest
import trimesh
from cases import CARS, built_of
from OCP.Geom import Geom_Line
from OCP.GeomAPI import GeomAPI_IntCS
from OCP.gp import gp_Dir, gp_Pnt
from shapely import Point, Polygon

from model.exactkernel import surface_of
from model.layout import ROOF
from model.moves import IDENTITY
from model.occupant import eye_points_mm
from model.view import view_report

STEP = [f"{car} {plan}" for car in CARS for plan in ("stock", "own plan", "square", "laid back")]


def pane_of(built, y):
    """The pane ahead, as a plain polygon of its measured corners: no radius reaches the plane of an eye."""
    for pane in built.shape.windshield:
        polygon = Polygon([(c.across_mm, c.up_mm) for c in pane.opening.corners])
        if polygon.bounds[0] < y < polygon.bounds[2]:
            return pane, polygon
    raise AssertionError("no pane ahead")


def last_through_deg(built, eye, up, move):
    """Halve the elevation between inside and outside the opening, on rays met with the kernel's surface."""
    pane, polygon = pane_of(built, eye[1])
    surface, back = surface_of(pane.outline.grid), move.inverse()

    def passes(angle):
        start = back.points(eye)
        way = back.vectors(np.array([-np.cos(angle), 0.0, np.sin(angle)]))
        met = GeomAPI_IntCS(Geom_Line(gp_Pnt(*map(float, start)), gp_Dir(*map(float, way))), surface)
        points = [met.Point(i + 1) for i in range(met.NbPoints())]
        return any(polygon.contains(Point(p.Y(), p.Z())) for p in points)

    z = [c.up_mm for c in pane.opening.corners]
    edge = back.inverse().points([0.0, 0.0, min(z) + (0.8 if up else 0.2) * (max(z) - min(z))])[2]
    inside = np.arctan2(edge - eye[2], eye[0] - surface.Value(0.5, 0.5).X())
    outside = np.radians(60 if up else -60)
    assert passes(inside) and not passes(outside)
    for _ in range(40):
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if passes(middle) else (inside, middle)
    return np.degrees(inside)


@pytest.mark.parametrize("name", STEP)
def test_up_and_down_by_rays(name):
    """The top belongs to the roof and the bottom to the body on both cars."""
    built = built_of(name)
    roof = built.moves.get(ROOF, IDENTITY)
    for sight in view_report(built).sights:
        eye = np.array(sight.eye_mm)
        assert sight.up_before_deg == pytest.approx(last_through_deg(built, eye, True, IDENTITY), abs=1e-3)
        assert sight.up_after_deg == pytest.approx(last_through_deg(built, eye, True, roof), abs=1e-3)
        assert -sight.down_after_deg == pytest.approx(last_through_deg(built, eye, False, IDENTITY), abs=1e-3)


def section(meshes, origin, normal):
    """Points where a plane cuts solids."""
    found = [m.section(plane_origin=origin, plane_normal=normal) for m in meshes]
    return np.concatenate([s.vertices for s in found if s is not None])


@pytest.mark.parametrize("name", STEP)
@pytest.mark.parametrize("side", ["right", "left"])
def test_what_an_a_post_hides_by_solids(name, side):
    """The box as solids, cut and moved by trimesh; glass edges from the dense outline, each of its points
    moved with the half it lies in; the head turned by small steps until the outer eye no longer sees past."""
    built = built_of(name)
    car, line = built.shape.car, built.shape.lines["A", side]
    ends = built.ends.get(("A", side))
    corners = line.lines(np.array([[-0.05] * 5, [1.05] * 5]))[:, 1:].reshape(-1, 3)
    box = trimesh.convex.convex_hull(corners)
    meshes = [box]
    if ends is not None:
        low = box.slice_plane(ends.plane.point_mm, -ends.plane.normal, cap=True)
        back, joint = ends.move.inverse(), ends.plane_in_place
        high = box.slice_plane(back.points(joint.point_mm), back.vectors(joint.normal), cap=True)
        meshes = [low, high.apply_transform(ends.move.matrix())]
        if ends.hinge is not None:
            hinge, up = np.array(ends.hinge.point_mm), np.array(ends.hinge.foot.normal)
            turned = low.slice_plane(hinge, up, cap=True).apply_transform(ends.lower_move.matrix())
            meshes = [low.slice_plane(hinge, -up, cap=True), turned, meshes[1]]
    sign = 1.0 if side == "right" else -1.0
    eyes = eye_points_mm(car.seat_mm, car.driver.back_deg)
    neck = eyes["P1" if sign * car.seat_mm[1] > 0 else "P2"]

    def azimuth(points, start):
        away = np.asarray(points)[:, :2] - start[:2]
        return np.arctan2(sign * away[:, 1], -away[:, 0])

    def glass(role, z):
        """The sheet's edge beside the post at a height."""
        rows = []
        for opening in built.shape.openings:
            is_pane = role == "windshield" and opening.opening.role == role
            is_door = role == "door" and opening.name == f"door glass {side}"
            if not (is_pane or is_door):
                continue
            edge = opening.outline.grid.point(opening.outline.loop_uv)
            pieces = np.stack([edge, np.roll(edge, -1, axis=0)], axis=1)
            fine = np.concatenate([a + np.linspace(0, 1, 400)[:, None] * (b - a) for a, b in pieces])
            if ends is not None:
                over = joint.height_above(ends.move.points(fine)) >= 0
                under = ends.plane.height_above(fine) <= 0
                above_hinge = np.zeros(len(fine), bool)
                if ends.hinge is not None:
                    above_hinge = ends.hinge.foot.height_above(fine) > 0
                stays, turns = fine[under & ~above_hinge], fine[under & above_hinge]
                fine = np.concatenate([stays, ends.lower_move.points(turns), ends.move.points(fine[over])])
            rows.append(fine[np.abs(fine[:, 2] - z) < 0.1])
        rows = np.concatenate(rows)
        seen = azimuth(rows, neck)
        return rows[[seen.argmax() if role == "windshield" else seen.argmin()]]

    sections = []
    for climb, role in ((2.0, "windshield"), (-5.0, "door")):
        slope = np.tan(np.radians(climb))
        z = (cut := section(meshes, eyes["Pm"], [slope, 0, 1]))[cut[:, 0].argmin(), 2]
        sections.append(np.concatenate([section(meshes, [0, 0, z], [0, 0, 1]), glass(role, z)]))
    upper, lower = sections
    turns = np.radians(np.arange(0, 90, 0.0005))
    ahead = np.stack([-np.cos(turns), sign * np.sin(turns)], axis=1)
    across = np.stack([np.sin(turns), sign * np.cos(turns)], axis=1)
    outer = neck[:2] + np.sqrt(104**2 - 32.5**2) * ahead + 32.5 * across
    beyond = np.max([np.einsum("ij,ij->i", point[:2] - outer, across) for point in lower], axis=0)
    turn = np.argmax(beyond < 0)  # the first at which nothing lies outward of the line of sight
    hidden = np.degrees(turns[turn] - azimuth(upper, outer[turn] - 65 * across[turn]).min())
    (post,) = (p for p in view_report(built).posts if (p.post, p.side) == ("A", side))
    assert post.two_eye_after_deg == pytest.approx(hidden, abs=0.02)
