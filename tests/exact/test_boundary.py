"""Every millimetre of a piece's boundary is accounted for: the file's edges against the live layout."""

import pytest
from cases import CASES, SPLIT_CASES, built_of, read_parts
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE
from OCP.TopExp import TopExp
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape

from model.layout import GLASS_WASTE, METAL, PANE, WASTE
from model.seams import seams_of


def perimeter_mm(shape):
    """Return the length of all edges that belong to one face only."""
    users = TopTools_IndexedDataMapOfShapeListOfShape()
    TopExp.MapShapesAndAncestors_s(shape, TopAbs_EDGE, TopAbs_FACE, users)
    return sum(
        GCPnts_AbscissaPoint.Length_s(BRepAdaptor_Curve(TopoDS.Edge_s(users.FindKey(i))), 1e-9)
        for i in range(1, users.Size() + 1)
        if users.FindFromIndex(i).Size() == 1
    )


def edges_of(built):
    """Give (chain, cell of a piece, kind) for every edge of every piece, from the live layout.

    free: an opening's edge.  border: where the measured skin ends.  seam: a
    side of a named seam.  gap: any other edge beside waste or another piece.
    """
    sides = {(id(s.chain), s.cell.part) for seam in seams_of(built) for s in (*seam.first, *seam.second)}
    for chain in built.layout.chains:
        for cell in (chain.left, chain.right):
            if cell is None or cell.role != METAL:
                continue
            other = chain.beside(cell)
            if other is None:
                other = built.layout.neighbour(chain)
            if other is not None and other.part == cell.part:
                continue  # a fold, or a line the piece is whole across
            if (id(chain), cell.part) in sides:
                kind = "seam"
            elif other is None:
                kind = "border"
            else:
                kind = "free" if other.role in (PANE, GLASS_WASTE) else "gap"
            yield chain, cell, kind


def accounts_of(built):
    """Return {piece: {kind: mm}}."""
    accounts = {}
    for chain, cell, kind in edges_of(built):
        account = accounts.setdefault(cell.part, dict.fromkeys(("free", "border", "seam", "gap"), 0.0))
        account[kind] += chain.length_mm
    return accounts


@pytest.mark.parametrize("case", CASES + SPLIT_CASES)
def test_accounts_add_up_to_the_perimeter_in_the_file(case, stepped):
    parts = read_parts(stepped(case))
    accounts = accounts_of(built_of(case))
    built = built_of(case)
    assert set(accounts) == {piece for piece in built.moves if piece in built.layout.parts}
    for piece, account in accounts.items():
        assert sum(account.values()) == pytest.approx(perimeter_mm(parts[piece][0].wrapped), abs=0.01), (
            piece,
            account,
        )


@pytest.mark.parametrize("case", CASES + SPLIT_CASES)
def test_an_unexplained_gap_lies_beside_waste_that_meets_more_waste(case):
    """A kerf that runs into a slug has no single piece facing it; nothing else goes without a seam."""
    layout = built_of(case).layout
    for chain, cell, kind in edges_of(built_of(case)):
        if kind == "gap":
            other = chain.beside(cell)
            assert other is not None and other.role == WASTE, (chain.line, cell.part)
            beside = [c.beside(other) for c in layout.chains_of[id(other)]]
            assert any(b is not None and b.role == WASTE for b in beside), (chain.line, cell.part)
