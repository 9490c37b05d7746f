"""New metal for the CAD kernel: its own area, valid solids of area times gauge, named in the STEP file."""

from functools import lru_cache

import numpy as np
import pytest
from cases import CARS
from new_metal_gaps import CORNER_MM, gaps_by_kernel
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.Geom import Geom_BSplineSurface
from OCP.TopAbs import TopAbs_SOLID
from shipped_plans import closed_plan

from model.exactfaces import area_mm2
from model.exactfillers import filler_face
from model.exactinterference import exact_interference
from model.exactkernel import location_of, surface_of
from model.exactposts import lower_end, post_solid, upper_end
from model.fillers import fillers_of
from model.fillerseams import least_radius_mm
from model.interference import interference_of
from model.newpanes import new_panes, part_name
from model.output.step import STOCK, assembly_of
from model.postpieces import closed_posts
from model.skinlines import curvatures
from model.solids import (
    SURFACES,
    filler_parts,
    post_parts,
    post_piece_parts,
    volume_mm3,
)


@pytest.mark.parametrize("car", CARS)
def test_the_kernel_has_the_live_tiers_surface_and_area(car):
    rng = np.random.default_rng(5)
    for filler in fillers_of(closed_plan(car)):
        surface = surface_of(filler.grid)
        assert isinstance(surface, Geom_BSplineSurface)
        uv = rng.random((40, 2))
        kernel = np.array([surface.Value(u, v).Coord() for u, v in uv.tolist()])
        assert np.abs(kernel - filler.grid.point(uv)).max() < 1e-9
        assert area_mm2(filler_face(filler)) == pytest.approx(filler.grid.area_mm2(), rel=1e-4)


def shrunk_mm3(filler):
    """Return the volume under a filler's outside: g A − g² ∫ H dA + g³/3 ∫ K dA."""
    x, w = np.polynomial.legendre.leggauss(8)
    places, weights = [], []
    for breaks in (filler.grid.breaks_u, filler.grid.breaks_v):
        half, middle = np.diff(breaks) / 2, (breaks[:-1] + breaks[1:]) / 2
        places.append((middle[:, None] + half[:, None] * x).ravel())
        weights.append((half[:, None] * w).ravel())
    uv = np.stack(np.meshgrid(*places, indexing="ij"), axis=-1).reshape(-1, 2)
    _, du, dv = filler.grid.tangents(uv)
    area = np.outer(*weights).ravel() * np.linalg.norm(np.cross(du, dv), axis=1)
    mean, gauss = curvatures(filler.grid, uv)
    g = filler.thickness_mm
    return float(area @ (g - g**2 * mean + g**3 / 3 * gauss))


@pytest.mark.parametrize("car", CARS)
def test_solids_are_valid_and_of_area_times_gauge(car):
    fillers = {filler.name: filler for filler in fillers_of(closed_plan(car))}
    parts = filler_parts(closed_plan(car))
    assert {part.name for part in parts} == set(fillers)
    solids = [part for part in parts if part.shape.ShapeType() == TopAbs_SOLID]
    assert {p.name for p in solids} == {
        f.name for f in fillers.values() if least_radius_mm(f.grid) >= f.thickness_mm
    }
    for part in parts:
        assert BRepCheck_Analyzer(part.shape).IsValid(), part.name
    for part in solids:
        filler = fillers[part.name]
        assert volume_mm3(part.shape, 1e-5) == pytest.approx(shrunk_mm3(filler), rel=1e-4), part.name
        g = filler.thickness_mm
        assert volume_mm3(part.shape, 1e-5) == pytest.approx(g * filler.grid.area_mm2(), rel=0.05), part.name


@pytest.mark.parametrize("car", CARS)
def test_the_kernel_finds_a_root_gap_between_every_filler_and_its_pieces(car):
    built = closed_plan(car)
    gap = built.plan.root_gap_mm
    found = list(gaps_by_kernel(built))
    assert {name for name, *_ in found} == {filler.name for filler in fillers_of(built)}
    for name, piece, point, apart in found:
        assert gap - CORNER_MM < apart < gap + CORNER_MM, (name, piece, point)


@pytest.mark.parametrize("car", CARS)
def test_new_metal_and_new_panes_are_named_in_the_assembly_and_left_out_of_the_stock_car(car):
    names = {filler.name for filler in fillers_of(closed_plan(car))}
    names |= {piece.name for piece in closed_posts(closed_plan(car)).values()}
    names |= {part_name(pane) for pane in new_panes(closed_plan(car))}
    whole = {child.name for child in assembly_of(closed_plan(car), form=SURFACES).children}
    stock = {child.name for child in assembly_of(closed_plan(car), stays=STOCK, form=SURFACES).children}
    assert names <= whole and not names & stock and whole - names == stock


@lru_cache
def posts_and_pieces(car):
    """Return the solids of a closed plan's posts and of the pieces in them, by name."""
    built = closed_plan(car)
    return {part.name: part for part in (*post_piece_parts(built), *post_parts(built))}


@pytest.mark.parametrize("car", CARS)
def test_post_pieces_and_stubs_are_valid_and_as_heavy_as_the_prismatoid_says(car):
    """Stubs and what comes off them for a piece make up the ends that the plan cuts."""
    built = closed_plan(car)
    pieces = closed_posts(built)
    assert pieces
    found = posts_and_pieces(car)
    assert all(BRepCheck_Analyzer(part.shape).IsValid() for part in found.values())
    volume = {name: volume_mm3(part.shape) for name, part in found.items()}
    for key, closed_post in pieces.items():
        assert volume[closed_post.name] == pytest.approx(closed_post.box.metal_mm3, rel=1e-9)
        name = f"post {' '.join(key)}"
        whole = (lower_end(closed_post.ends), upper_end(closed_post.ends))
        for end, stretch in zip(("lower", "upper"), whole, strict=True):
            parts = volume[f"{name} {end}"] + volume.get(f"{name} {end} offcut", 0.0)
            # A bent wall is ruled between its own two ends, the whole and the two parts a little differently.
            assert parts == pytest.approx(volume_mm3(post_solid(stretch)), rel=1e-5), (name, end)


@pytest.mark.parametrize("car", CARS)
def test_a_post_piece_shares_nothing_with_its_stubs_and_stands_a_root_gap_off(car):
    built = closed_plan(car)
    parts = posts_and_pieces(car)
    assert closed_posts(built)
    for key, closed_post in closed_posts(built).items():
        piece = parts[closed_post.name].shape
        for end in ("lower", "upper"):
            part = parts[f"post {' '.join(key)} {end}"]
            stub = part.shape.Moved(location_of(part.move))
            assert volume_mm3(BRepAlgoAPI_Common(piece, stub).Shape()) == pytest.approx(0.0, abs=1e-6)
            apart = BRepExtrema_DistShapeShape(piece, stub).Value()
            assert apart == pytest.approx(built.plan.root_gap_mm, abs=1e-6)


@pytest.mark.heavy
def test_what_can_be_formed_runs_into_nothing_on_the_pickup_in_either_tier():
    built = closed_plan("pickup")
    formed = {f.name for f in fillers_of(built) if least_radius_mm(f.grid) >= f.thickness_mm}
    assert formed
    live = {frozenset(i.pieces) for i in interference_of(built, fillers_of(built))}
    exact = {frozenset(b.pieces) for b in exact_interference(built)}
    assert not [pieces for pieces in live | exact if pieces & formed]
