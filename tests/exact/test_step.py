"""The STEP file: names, colours and millimetres, through CadQuery and through a reader of another make."""

import numpy as np
import pytest
from cases import CARS, built_of, car_of, read_parts
from part21 import Enum, Ref, StepFile

from model.built import remembered_shape
from model.errors import FileRefused
from model.exactfaces import area_mm2
from model.layout import METAL, PANE
from model.namedparts import named_parts
from model.output import step
from model.output.step import colour_of, write_step
from model.piececolours import part_rgba
from model.solids import SOLIDS, SURFACES, exact_parts, volume_mm3

CASE = {car: f"{car} own plan" for car in CARS}


@pytest.fixture(scope="module", params=CARS)
def car(request):
    return request.param


@pytest.fixture(scope="module")
def file(car, stepped):
    return StepFile(stepped(CASE[car]))


def test_names_and_colours_survive_cadquery(car, stepped):
    parts = exact_parts(built_of(CASE[car]), form=SURFACES)
    read = read_parts(stepped(CASE[car]))
    assert set(read) == {part.name for part in parts}
    for part in parts:
        shape, _, colours = read[part.name]
        assert shape.isValid(), part.name
        assert colours, part.name
        for colour in colours:
            assert colour.toTuple() == pytest.approx(colour_of(part), abs=2e-3), part.name
        assert area_mm2(shape.wrapped) == pytest.approx(area_mm2(part.shape), rel=1e-8), part.name


def test_glb_has_the_same_parts_in_the_same_colours(car):
    """All but what is cut out; the outside of every sheet has the area that the kernel integrates."""
    built = built_of(CASE[car])
    exact = {part.name: part for part in exact_parts(built, form=SURFACES) if not part.is_removed}
    meshed = {part.name: part for part in named_parts(built)}
    assert set(meshed) == set(exact)
    for name, part in meshed.items():
        assert part_rgba(part.kind, part.carrier) == colour_of(exact[name]), name
        if part.kind in (METAL, PANE):
            a, b, c = part.point_mm[part.triangles].swapaxes(0, 1)
            area = np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2
            assert area == pytest.approx(area_mm2(exact[name].shape), rel=2e-3), name


def test_lengths_are_millimetres_and_angles_radians(file):
    units = [e for e in file.entities.values() if any(kind == "LENGTH_UNIT" for kind, _ in e)]
    assert units
    for unit in units:
        assert dict(unit)["SI_UNIT"] == [Enum("MILLI"), Enum("METRE")]
    for unit in (e for e in file.entities.values() if any(kind == "PLANE_ANGLE_UNIT" for kind, _ in e)):
        assert dict(unit)["SI_UNIT"] == [None, Enum("RADIAN")]


def test_every_part_is_a_named_product(car, file):
    products = [p[0] for p in file.of("PRODUCT").values()]
    expected = {part.name for part in exact_parts(built_of(CASE[car]), form=SURFACES)}
    assert sorted(products) == sorted([*expected, f"{car_of(car).name} (chopped)", "removed"])


def test_every_part_is_placed_once_in_the_assembly(car, file):
    """Following usage from product to product: removed parts under ``removed``, the rest under the car."""
    names = {}
    for number, (_, _, formation, _) in file.of("PRODUCT_DEFINITION").items():
        names[number] = file.get(file.get(formation)[2])[0]
    under = {}
    for _, _, _, parent, child, *_ in file.of("NEXT_ASSEMBLY_USAGE_OCCURRENCE").values():
        assert names[child.to] not in under
        under[names[child.to]] = names[parent.to]
    for part in exact_parts(built_of(CASE[car]), form=SURFACES):
        assert under[part.name] == ("removed" if part.is_removed else f"{car_of(car).name} (chopped)")


def test_colours_are_in_the_file(car, file):
    found = {tuple(round(c, 2) for c in colour[1:]) for colour in file.of("COLOUR_RGB").values()}
    for part in exact_parts(built_of(CASE[car]), form=SURFACES):
        assert any(np.abs(np.subtract(colour_of(part)[:3], f)).max() < 0.011 for f in found), part.name


def test_every_face_of_a_part_belongs_to_something_coloured(file):
    """Followed in the file's own references: what is styled holds every face."""
    coloured = set()
    for _, _, item in file.of("STYLED_ITEM").values():
        coloured |= file.reached_from(item.to)
    assert set(file.of("ADVANCED_FACE")) <= coloured


def test_surfaces_in_the_file_are_the_measured_skin(car, file):
    """Poles read as text equal the live tier's, to the last digit written."""
    grids = [g.poles_mm for g in remembered_shape(car_of(car)).skin.grids.values()]
    surfaces = [*file.of("B_SPLINE_SURFACE_WITH_KNOTS").items()]
    count = 0
    for number, parameters in surfaces:
        poles = parameters[3] if len(parameters) > 6 else dict(file.entities[number])["B_SPLINE_SURFACE"][2]
        points = np.array([[file.get(p)[1] for p in row] for row in poles])
        if points.shape in [g.shape for g in grids]:
            assert min(np.abs(points - g).max() for g in grids if g.shape == points.shape) < 1e-9
            count += 1
    assert count >= len(grids)


def test_apostrophes_survive(file):
    names = [p[0] for p in file.of("PRODUCT").values()]
    assert "keep-out driver's head" in names


def test_moves_are_rotations_in_the_file(file):
    """Axes of every placement are of length one and square to each other.

    The file has twelve digits: each component is off by 5e-13, z·z by 2 √3 times that at most."""
    for _, at, axis, ref in file.of("AXIS2_PLACEMENT_3D").values():
        assert isinstance(at, Ref)
        if axis is not None and ref is not None:
            z, x = np.array(file.get(axis)[1]), np.array(file.get(ref)[1])
            assert z @ x == pytest.approx(0, abs=2e-12) and z @ z == pytest.approx(1, abs=2e-12)


@pytest.mark.heavy
def test_solids_survive_too(car, stepped):
    parts = exact_parts(built_of(CASE[car]), form=SOLIDS)
    read = read_parts(stepped(CASE[car], form=SOLIDS))
    assert set(read) == {part.name for part in parts}
    for part in parts:
        shape, _, colours = read[part.name]
        assert shape.isValid(), part.name
        assert len(colours) in (1, len(shape.Solids())), part.name
        for colour in colours:
            assert colour.toTuple() == pytest.approx(colour_of(part), abs=2e-3), part.name
        assert volume_mm3(shape.wrapped) == pytest.approx(volume_mm3(part.shape), rel=1e-6), part.name


def test_a_folder_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(FileRefused, match="folder"):
        write_step(built_of("pickup own plan"), tmp_path / "nowhere" / "roof.step", form=SURFACES)


def test_an_older_file_stays_when_writing_fails(tmp_path, monkeypatch):
    path = tmp_path / "roof.step"
    path.write_text("older")

    def broken(*_, **__):
        raise RuntimeError("kernel gave up")

    monkeypatch.setattr(step, "assembly_of", broken)
    with pytest.raises(RuntimeError):
        write_step(built_of("pickup own plan"), path)
    assert path.read_text() == "older"
    assert [p.name for p in tmp_path.iterdir()] == ["roof.step"]


def test_unknown_choices_are_named(tmp_path):
    with pytest.raises(ValueError, match="stays must be"):
        write_step(built_of("pickup own plan"), tmp_path / "a.step", stays="lowered")
    with pytest.raises(ValueError, match="form must be"):
        write_step(built_of("pickup own plan"), tmp_path / "a.step", form="mesh")
