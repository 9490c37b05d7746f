"""New metal in pictures: triangles that lie on it, face outward, and carry its name and colour."""

import numpy as np
import pytest
from shipped_plans import closed_plan

from model.display import patches_of
from model.fillers import fillers_of
from model.fillersheets import filler_mesh
from model.namedparts import named_parts
from model.piececolours import FILLER_COLOUR, colour_of


@pytest.fixture(scope="module")
def built():
    """Return the closed pickup."""
    return closed_plan("pickup")


def test_triangles_make_up_the_area_and_face_outward(built):
    for filler in fillers_of(built):
        mesh = filler_mesh(filler, per_span=4)
        a, b, c = (mesh.point_mm[mesh.triangles[:, k]] for k in range(3))
        square = np.cross(b - a, c - a)
        assert np.linalg.norm(square, axis=1).sum() / 2 == pytest.approx(filler.grid.area_mm2(), rel=2e-3)
        assert ((square * mesh.normal[mesh.triangles[:, 0]]).sum(axis=1) > 0).all()


def test_every_filler_is_a_named_part_of_its_own_colour(built):
    names = {filler.name for filler in fillers_of(built)}
    assert len(names) == 12  # ten along the seams, and two corner patches
    assert names <= {patch.name for patch in patches_of(built)}
    assert names <= {part.name for part in named_parts(built)}
    assert {colour_of(name) for name in names} == {FILLER_COLOUR}
    assert FILLER_COLOUR not in {colour_of(name) for name in built.moves}
