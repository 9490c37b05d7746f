"""Every piece in the STEP file, moved by its inverse, with slugs and trimmings, is the stock skin again."""

import cadquery as cq
import numpy as np
import pytest
from cases import CASES, SPLIT_CASES, built_of, read_parts
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepClass import BRepClass_FaceExplorer, BRepClass_FClassifier
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.GeomAPI import GeomAPI_ProjectPointOnSurf
from OCP.gp import gp_Pnt, gp_Pnt2d
from OCP.TopAbs import TopAbs_IN, TopAbs_ON

from model.exactfaces import area_mm2
from model.exactkernel import location_of
from model.moves import IDENTITY
from model.newpanes import new_panes, part_name

POINTS = 250  # on each car, spread over the skin by area


def new_pane_names(case):
    """Return the names of the panes that are made anew, each by the name of the opening's stock pane."""
    return {part_name(pane) for pane in new_panes(built_of(case))}


def put_back(case, stepped):
    """Return the skin's faces from the file, each piece moved by the inverse of the plan's move."""
    built, anew = built_of(case), new_pane_names(case)
    skin = {}
    for name, (shape, _, _) in read_parts(stepped(case)).items():
        if name.startswith(("post ", "keep-out ")) or name in anew:
            continue
        carrier = name.rsplit(" on ", 1)[-1] if " on " in name else built.layout.parts[name][0].carrier
        is_scrap = name.rsplit(" on ", 1)[0] in anew  # stock glass lies with what is removed, where it was
        back = IDENTITY if is_scrap else built.moves[carrier].inverse()
        skin[name] = shape.moved(cq.Location(location_of(back))).Faces()
    return skin


@pytest.mark.parametrize("case", CASES + SPLIT_CASES)
def test_pieces_tile_the_stock_skin(case, stepped):
    built, skin = built_of(case), put_back(case, stepped)
    area = sum(area_mm2(face.wrapped) for faces in skin.values() for face in faces)
    assert area == pytest.approx(built.shape.skin.area_mm2, rel=1e-6)


@pytest.mark.parametrize("case", CASES + SPLIT_CASES)
def test_no_hole_and_no_overlap(case, stepped):
    """Points spread over the stock skin lie in exactly one face each."""
    built = built_of(case)
    faces = [face for faces in put_back(case, stepped).values() for face in faces]
    boxes = np.array([_box(face.wrapped) for face in faces])
    surfaces = [BRep_Tool.Surface_s(face.wrapped) for face in faces]
    explorers = [BRepClass_FaceExplorer(face.wrapped) for face in faces]
    for point in _spread(built.shape.skin, POINTS):
        near = (boxes[:, 0] - 1e-3 <= point).all(axis=1) & (point <= boxes[:, 1] + 1e-3).all(axis=1)
        inside = 0
        for i in np.nonzero(near)[0]:
            foot = GeomAPI_ProjectPointOnSurf(gp_Pnt(*point.tolist()), surfaces[i])
            if foot.NbPoints() and foot.LowerDistance() < 1e-6:
                u, v = foot.LowerDistanceParameters()
                state = BRepClass_FClassifier(explorers[i], gp_Pnt2d(u, v), 1e-9).State()
                inside += state in (TopAbs_IN, TopAbs_ON)
        assert inside == 1, point


def _box(shape):
    box = Bnd_Box()
    BRepBndLib.Add_s(shape, box)
    return np.array(box.Get()).reshape(2, 3)


def _spread(skin, count):
    """Return points of the skin at random, evenly by area."""
    rng = np.random.default_rng(5)
    out = []
    for grid in skin.grids.values():
        share = int(np.ceil(count * grid.area_mm2() / skin.area_mm2))
        uv = rng.random((20 * share, 2))
        _, du, dv, _ = grid.frame(uv)
        size = np.linalg.norm(np.cross(du, dv), axis=1)
        out.append(grid.point(uv[rng.choice(len(uv), share, p=size / size.sum())]))
    return np.concatenate(out)


def _matrix(placed):
    trsf = placed.wrapped.Transformation()
    return np.array([[trsf.Value(i, j) for j in range(1, 5)] for i in range(1, 4)])


@pytest.mark.parametrize("case", CASES + SPLIT_CASES)
def test_placements_in_the_file_are_the_plans_moves(case, stepped):
    built = built_of(case)
    for name, (_, placed, _) in read_parts(stepped(case)).items():
        matrix = _matrix(placed)
        if name in built.moves:
            assert np.abs(matrix - built.moves[name].matrix()[:3]).max() < 1e-9, name
        if name.startswith("post ") and name.endswith("upper"):
            key = tuple(name.removeprefix("post ").removesuffix(" upper").rsplit(" ", 1))
            assert np.abs(matrix - built.ends[key].move.matrix()[:3]).max() < 1e-9, name
        if name.startswith("post ") and name.endswith("lower"):
            key = tuple(name.removeprefix("post ").removesuffix(" lower").rsplit(" ", 1))
            assert np.abs(matrix - built.ends[key].lower_move.matrix()[:3]).max() < 1e-9, name


@pytest.mark.parametrize("case", CASES + SPLIT_CASES)
def test_stock_state_is_cut_but_in_place(case, stepped):
    chopped, stock = read_parts(stepped(case)), read_parts(stepped(case, stays="stock"))
    anew = new_pane_names(case)
    assert anew and not anew & set(stock)
    assert set(chopped) - anew == set(stock)
    for _, placed, _ in stock.values():
        assert np.array_equal(_matrix(placed), np.eye(4)[:3])


@pytest.mark.parametrize("case", SPLIT_CASES)
def test_halves_in_the_file_stand_the_spread_apart(case, stepped):
    """The kernel's own least distance between the placed halves; both edges were one line in y = 0."""
    built, parts = built_of(case), read_parts(stepped(case))
    for end in ("front", "rear"):
        right, left = (parts[f"roof {end} {side}"][0].wrapped for side in ("right", "left"))
        apart = BRepExtrema_DistShapeShape(right, left)
        assert apart.Value() == pytest.approx(built.parts.spread_mm, abs=1e-4)


@pytest.mark.parametrize("car", ["coupe", "pickup"])
def test_without_a_plan_the_whole_car_is_written(car, stepped):
    built = built_of(f"{car} stock")
    parts = read_parts(stepped(f"{car} stock"))
    skin = [n for n in parts if not n.startswith(("post ", "keep-out "))]
    area = sum(area_mm2(parts[name][0].wrapped) for name in skin)
    assert area == pytest.approx(built.shape.skin.area_mm2, rel=1e-6)
    assert {n for n in skin if not n.startswith("pane ")} == {"body"}
    assert {n for n in parts if n.startswith("post ")} == {f"post {' '.join(k)}" for k in built.shape.lines}
