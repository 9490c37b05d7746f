"""Solids with their gauge: valid, and of the volume that area and curvature say."""

import numpy as np
import pytest
from cases import CASES, built_of, car_of, faces_of
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.gp import gp_Pnt
from OCP.TopAbs import TopAbs_IN, TopAbs_OUT
from quadrature import cell_integrals

from model.exactposts import foot, lower_end, post_solid, slug, upper_end, wedge, whole_post
from model.exactsheets import Sheets
from model.layout import GLASS_WASTE, METAL, PANE, WASTE
from model.postlines import PostLine
from model.skinlines import curvatures
from model.solids import keep_out_solid, volume_mm3


def check_solids(case, roles):
    """V = g A − g² ∫ H dA + g³/3 ∫ K dA."""
    car, faces = built_of(case).shape.car, faces_of(case)
    sheets = Sheets(faces)
    for cell in faces.layout.cells:
        if cell.role not in roles:
            continue
        gauge = car.glass_mm if cell.role in (PANE, GLASS_WASTE) else car.gauge_mm
        solid = sheets.solid(cell, gauge)
        area, mean, gauss = cell_integrals(faces, cell)
        assert BRepCheck_Analyzer(solid).IsValid(), cell.part
        expected = gauge * area - gauge**2 * mean + gauge**3 / 3 * gauss
        assert volume_mm3(solid) == pytest.approx(expected, rel=2e-6), cell.part


@pytest.mark.parametrize("case", ["coupe own plan", "pickup own plan"])
def test_pieces_are_valid_and_of_the_right_volume(case):
    check_solids(case, (METAL,))


@pytest.mark.heavy
@pytest.mark.parametrize("case", CASES)
def test_panes_and_what_is_removed_too(case):
    check_solids(case, (METAL, WASTE, PANE, GLASS_WASTE))


@pytest.mark.parametrize("case", ["coupe own plan", "pickup own plan"])
def test_gauge_lies_under_the_measured_outside(case):
    car, faces = built_of(case).shape.car, faces_of(case)
    sheets = Sheets(faces)
    for part in ("body", "roof", "window panel"):
        cell = max((c for c in faces.layout.parts[part]), key=lambda c: c.polygon.area)
        assert cell.role == METAL
        classify = BRepClass3d_SolidClassifier(sheets.solid(cell, car.gauge_mm))
        place = np.array([cell.polygon.representative_point().coords[0]])
        point, _, _, normal = cell.grid.frame(place)
        for depth, state in (  # within a hundredth of a face the kernel's classifier answers by chance
            (-0.03, TopAbs_OUT),
            (0.03, TopAbs_IN),
            (car.gauge_mm - 0.03, TopAbs_IN),
            (car.gauge_mm + 0.03, TopAbs_OUT),
        ):
            classify.Perform(gp_Pnt(*(point - depth * normal)[0].tolist()), 1e-6)
            assert classify.State() == state, (part, depth)


def test_curvatures_of_the_live_tier_match_the_kernel():
    from OCP.GeomLProp import GeomLProp_SLProps

    from model.exactkernel import surface_of

    grid = built_of("coupe own plan").shape.skin.grids["roof"]
    uv = np.random.default_rng(4).random((100, 2))
    surface, (mean, gauss) = surface_of(grid), curvatures(grid, uv)
    for i, (u, v) in enumerate(uv.tolist()):
        at = GeomLProp_SLProps(surface, u, v, 2, 1e-9)
        assert abs(at.MeanCurvature()) == pytest.approx(abs(mean[i]), abs=1e-12)
        assert at.GaussianCurvature() == pytest.approx(gauss[i], abs=1e-14)


@pytest.mark.parametrize("case", CASES)
def test_post_ends_are_valid_hollow_boxes(case):
    """A straight one has its section times its length along the axis, however its ends are cut."""
    built = built_of(case)
    for key, ends in built.ends.items():
        post, line = ends.line.post, ends.line
        section = post.width_mm * post.depth_mm - (post.width_mm - 2 * post.wall_mm) * (
            post.depth_mm - 2 * post.wall_mm
        )
        zero, one = np.zeros(5), np.ones(5)
        total, start, below = 0.0, zero, ()
        if ends.hinge is not None:
            low, start = line.crossing(ends.hinge.foot), line.crossing(ends.hinge.loose)
            below = ((foot(ends), zero, low), (wedge(ends), low, start))
        for stretch, low, high in (
            *below,
            (lower_end(ends), start, ends.s_lower),
            (slug(ends), ends.s_lower, ends.s_upper),
            (upper_end(ends), ends.s_upper, one),
        ):
            solid = post_solid(stretch)
            assert BRepCheck_Analyzer(solid).IsValid(), key
            length = PostLine.lengths(line, low, high)[0]
            volume = volume_mm3(solid)
            total += volume
            assert volume == pytest.approx(section * length, rel=1e-9 if line.is_straight else 0.01), key
        whole = volume_mm3(post_solid(whole_post(line)))
        assert total == pytest.approx(whole, rel=1e-9 if line.is_straight else 1e-4), key


@pytest.mark.parametrize("case", CASES)
def test_post_ends_have_the_live_corners(case):
    for ends in built_of(case).ends.values():
        for stretch, at, s in ((lower_end(ends), 1.0, ends.s_lower), (upper_end(ends), 0.0, ends.s_upper)):
            corners = np.array([corner(at) for corner in stretch.outer])
            assert np.abs(corners - ends.line.lines(s)[1:]).max() < 1e-9
            inner = np.array([corner(at) for corner in stretch.inner])
            if at == 1.0:
                assert np.abs(ends.plane.height_above(inner)).max() < 1e-9
            else:
                height = ends.plane_in_place.height_above(ends.move.points(inner))
                assert np.abs(height - ends.opening_mm).max() < 1e-9


def test_a_keep_out_has_its_volume():
    volumes = {
        "sphere": lambda k: 4 / 3 * np.pi * k.radius_mm**3,
        "cylinder": lambda k: np.pi * k.radius_mm**2 * np.linalg.norm(np.subtract(k.to_mm, k.at_mm)),
        "box": lambda k: np.prod(k.size_mm),
    }
    for body in car_of("coupe").keep_outs:
        assert volume_mm3(keep_out_solid(body)) == pytest.approx(volumes[body.shape](body), rel=1e-6)
