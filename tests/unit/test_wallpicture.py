"""The drawing of a post piece's walls: true size, seen from outside, every side with its length."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from sample_reports import sample_post_piece
from shipped_plans import closed_plan

from model.evaluate import fit_report_of
from model.hingepieces import hinge_pieces
from model.output.wallpicture import BARS_MM, TOO_TALL, outline_on_paper, walls_svg
from model.postpieces import closed_posts
from model.units import shown

SVG = "{http://www.w3.org/2000/svg}"


def built_of(name):
    return closed_plan(name, "laid-back")


def drawn(metal, unit="in"):
    return ElementTree.fromstring(walls_svg(metal, unit=unit))


def outlines(tree):
    """Return the closed paths of a drawing as corners on paper, (4, 2) each."""
    paths = [path.get("d") for path in tree.iter(f"{SVG}path")]
    numbers = [[float(x) for x in re.findall(r"-?\d+\.?\d*", d)] for d in paths if d.endswith("Z")]
    return [np.array(found).reshape(4, 2) for found in numbers]


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_a_unit_of_the_drawing_is_a_millimetre_of_paper_and_the_bar_says_so(unit):
    tree = drawn(sample_post_piece()[1], unit)
    width, height = tree.get("viewBox").split()[2:]
    assert (tree.get("width"), tree.get("height")) == (f"{width}mm", f"{height}mm")
    bars = [float(r.get("width")) for r in tree.iter(f"{SVG}rect") if r.get("height") == "2.5"]
    assert sum(bars) == BARS_MM[unit]
    words = " ".join(text.text for text in tree.iter(f"{SVG}text"))
    assert f"{shown(BARS_MM[unit], unit)} on paper" in words and "licensed practice" in words


@pytest.mark.parametrize("side", ["right", "left", "centre"])
def test_outlines_have_the_walls_own_sides_and_diagonals(side):
    _, metal = sample_post_piece(side)
    (corners,) = outlines(drawn(metal))
    flat = np.array(metal.walls[0].corners_mm)
    for i, j in ((0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3)):
        expected = np.linalg.norm(flat[i] - flat[j])
        assert np.linalg.norm(corners[i] - corners[j]) == pytest.approx(expected, abs=2e-3)


def test_every_side_is_given_and_a_wall_longer_than_paper_is_told():
    _, metal = sample_post_piece()
    words = [text.text for text in drawn(metal).iter(f"{SVG}text")]
    for mm in (50.8, 104.967, metal.walls[0].diagonal_mm):
        assert any(shown(mm, "in", 32) in line for line in words)
    assert not any(TOO_TALL[:20] in line for line in words)
    report = fit_report_of(built_of("coupe"))
    tall = next(m for m in report.new_metal if m.name == "post piece C right")
    assert any(TOO_TALL[:20] in text.text for text in drawn(tall).iter(f"{SVG}text"))


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_walls_are_seen_from_outside(name):
    """On paper, rim × side comes up out of the sheet as the wall's own do out of the post."""
    built = built_of(name)
    metals = {metal.name: metal for metal in fit_report_of(built).new_metal}
    pieces = [*closed_posts(built).values(), *hinge_pieces(built).values()]
    assert {piece.key[1] for piece in pieces} >= {"right", "left"}
    for piece in pieces:
        middle = piece.box.corners_mm.mean(axis=(0, 1))
        for i, wall in enumerate(metals[piece.name].walls):
            a, b, c, d = piece.box.wall_mm(i)
            out = np.cross(b - a, d - a) @ ((a + b + c + d) / 4 - middle)
            p = outline_on_paper(wall, piece.key[1])
            (rim_x, rim_y), (up_x, up_y) = p[1] - p[0], p[3] - p[0]
            assert np.sign(rim_x * up_y - rim_y * up_x) == np.sign(out), (piece.name, wall.wall)
            assert p.min() == pytest.approx(0.0, abs=1e-9)
            lower, upper = (p[0] + p[1]) / 2, (p[2] + p[3]) / 2
            assert lower[1] < upper[1]
