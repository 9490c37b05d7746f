"""The GLB file, read back by a reader of another make (trimesh)."""

import io
from functools import lru_cache

import numpy as np
import pytest

from model.built import build
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.display import KEEP_OUT, POST
from model.evaluate import evaluate
from model.finermesh import finer_mesh
from model.layout import METAL, PANE
from model.namedparts import named_parts
from model.output.glb import FROM_CAR, glb_bytes, linear_of
from model.piececolours import part_rgba
from model.plan import Plan
from model.planfile import read_plan
from model.scene import cell_mesh
from model.sheets import metal_area_mm2, waste_area_mm2

trimesh = pytest.importorskip("trimesh")
CARS = ("coupe", "pickup")


@lru_cache
def car_of(name):
    return read_car(demo_car_path(name))


@lru_cache
def built_of(name):
    """Return what ``coupe`` (its own plan), ``coupe laid-back`` or ``coupe stock`` builds."""
    car_name, _, which = name.partition(" ")
    car, own = car_of(car_name), demo_plan_path(car_name)
    if which == "stock":
        return build(car, Plan())
    return build(car, read_plan(own.with_name(f"{name.replace(' ', '-')}.toml") if which else own, car))


@lru_cache
def scene_of(name):
    return trimesh.load(io.BytesIO(glb_bytes(built_of(name))), file_type="glb", force="scene")


def in_car_frame(scene, name):
    """Return the mesh of a part in mm in the car's frame, where the file puts it."""
    transform, geometry = scene.graph[name]
    mesh = scene.geometry[geometry].copy()
    mesh.apply_transform(transform)
    x, y, z = mesh.vertices.T  # in glTF: to the left, up, to the front
    mesh.vertices = np.stack([-z, -x, y], axis=1) * 1000
    return mesh


def names_of_kind(name, kind):
    return [part.name for part in named_parts(built_of(name)) if part.kind == kind]


@pytest.mark.parametrize("name", [*CARS, "coupe stock", "pickup stock", "coupe laid-back"])
def test_every_part_comes_back_once_where_the_plan_puts_it(name):
    scene, parts = scene_of(name), named_parts(built_of(name))
    assert sorted(scene.graph.nodes_geometry) == sorted(part.name for part in parts)
    assert len({part.name for part in parts}) == len(parts)
    for part in parts:
        mesh = in_car_frame(scene, part.name)
        assert len(mesh.faces) == len(part.triangles), part.name
        expected = part.placed_mm[part.triangles].reshape(-1, 3)
        assert np.abs(mesh.triangles.reshape(-1, 3) - expected).max() < 0.002, part.name  # 32-bit floats


@pytest.mark.parametrize("name", CARS)
def test_the_highest_point_is_the_report_s(name):
    report = evaluate(car_of(name), built_of(name).plan)
    top = max(in_car_frame(scene_of(name), part).bounds[1][2] for part in names_of_kind(name, METAL))
    assert top == pytest.approx(report.totals.height_after_mm, abs=0.4)
    stock = f"{name} stock"
    top = max(in_car_frame(scene_of(stock), part).bounds[1][2] for part in names_of_kind(stock, METAL))
    assert top == pytest.approx(report.totals.height_before_mm, abs=0.4)


@pytest.mark.parametrize("name", CARS)
def test_the_sheet_has_the_skin_s_area(name):
    """Of the stock car all of it; of the chopped one that less what is cut out, by Green's theorem."""
    stock, built = f"{name} stock", built_of(name)
    whole = sum(in_car_frame(scene_of(stock), part).area for part in names_of_kind(stock, METAL))
    assert whole == pytest.approx(metal_area_mm2(built.shape), rel=1e-3)
    left = sum(in_car_frame(scene_of(name), part).area for part in names_of_kind(name, METAL))
    assert left == pytest.approx(metal_area_mm2(built.shape) - waste_area_mm2(built), rel=1e-3)


@pytest.mark.parametrize("name", CARS)
def test_faces_look_out_of_the_car(name):
    """Counter-clockwise seen from outside, as the normals in the file say."""
    for part in named_parts(built_of(name)):
        mesh = scene_of(name).geometry[part.name].copy()
        written = part.normal[part.triangles].sum(axis=1)
        turned = np.einsum("ij,ij->i", mesh.triangles_cross, written) <= 0
        assert mesh.area_faces[turned].sum() <= 1e-3 * mesh.area, part.name  # slivers of three points in line
        if part.kind == KEEP_OUT:
            mesh.merge_vertices(merge_norm=True)
            assert mesh.is_watertight and mesh.volume > 0, part.name


def test_left_stays_left_and_the_front_looks_along_z():
    """glTF: y up, front along +z, so +x is the car's left; a mirrored car would have determinant −1."""
    assert np.linalg.det(FROM_CAR[:3, :3]) * 1e9 == pytest.approx(1.0)
    scene = scene_of("coupe")
    head = scene.geometry["keep-out driver's head"].copy()
    head.apply_transform(scene.graph["keep-out driver's head"][0])
    built = built_of("coupe")
    assert built.shape.car.driver != "right" and head.centroid[0] > 0
    transform, geometry = scene.graph["post A right lower"]
    post = scene.geometry[geometry].copy()
    post.apply_transform(transform)
    assert post.centroid[0] < 0 and post.centroid[2] > scene.centroid[2]


@pytest.mark.parametrize("name", CARS)
def test_colours_are_those_of_the_view(name):
    scene = scene_of(name)
    for part in named_parts(built_of(name)):
        material = scene.geometry[part.name].visual.material
        *rgb, opacity = part_rgba(part.kind, part.carrier)
        expected = [*map(linear_of, rgb), opacity]
        assert np.array(material.baseColorFactor) / 255 == pytest.approx(expected, abs=1 / 255), part.name
        assert material.doubleSided
        assert material.alphaMode == ("BLEND" if part.kind in (PANE, KEEP_OUT) else "OPAQUE")


def test_srgb_is_undone_on_both_branches():
    """Where the two branches meet they agree; white and black stay; the inverse gives it back."""
    assert linear_of(0.0) == 0.0 and linear_of(1.0) == pytest.approx(1.0)
    assert linear_of(0.04045) == pytest.approx(linear_of(0.040450001), abs=1e-7)
    for linear in (0.01, 0.2, 0.7):
        assert linear_of(1.055 * linear ** (1 / 2.4) - 0.055) == pytest.approx(linear, rel=1e-9)


def test_a_leaned_post_is_there_with_its_foot_and_its_lower_end_turned():
    parts = {part.name: part for part in named_parts(built_of("coupe laid-back"))}
    lowered = [name for name, part in parts.items() if part.kind == POST and name.endswith("lower")]
    leaned = [name for name in lowered if not parts[name].move.is_identity]
    assert leaned
    for name in leaned:
        assert parts[name.replace("lower", "foot")].move.is_identity
        assert parts[name].carrier in built_of("coupe laid-back").moves


def test_upper_and_lower_ends_of_a_post_part_where_the_report_says():
    """A post's ends stand the root gap apart, square to the cut, for the slug was wider than the kerf."""
    built, scene = built_of("coupe"), scene_of("coupe")
    assert names_of_kind("coupe", POST)
    for key, ends in built.ends.items():
        name = f"post {' '.join(key)}"
        low, high = (in_car_frame(scene, f"{name} {end}").vertices for end in ("lower", "upper"))
        normal, point = ends.plane.normal, ends.plane.point_mm
        apart = ((high - point) @ normal).min() - ((low - point) @ normal).max()
        assert apart == pytest.approx(built.plan.root_gap_mm, abs=0.01), name


def test_an_edge_of_a_finer_mesh_sags_no_more_than_asked():
    """On the skin itself, at five places along every edge; and the whole region is still covered."""
    layout = built_of("coupe").layout
    for cell in [cell for cell in layout.cells if cell.part in ("body", "roof")]:
        coarse = cell_mesh(cell)
        fine = finer_mesh(cell.grid, coarse, 0.05)
        assert len(fine.triangles) > len(coarse.triangles)
        assert np.abs(_area_uv(fine) - _area_uv(coarse)) < 1e-9
        ends = fine.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
        for share in (0.25, 0.5, 0.75):
            along = (1 - share) * fine.uv[ends[:, 0]] + share * fine.uv[ends[:, 1]]
            chord = (1 - share) * fine.point_mm[ends[:, 0]] + share * fine.point_mm[ends[:, 1]]
            assert np.linalg.norm(cell.grid.point(along) - chord, axis=1).max() < 0.08


def _area_uv(mesh):
    a, b, c = mesh.uv[mesh.triangles].swapaxes(0, 1)
    return np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]).sum() / 2
