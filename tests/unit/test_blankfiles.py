"""``plumbdrop blanks``: a drawing for every piece of new metal that can be formed."""

import re
from functools import lru_cache
from xml.etree import ElementTree

import numpy as np
import pytest
from shipped_plans import closed_plan

import model.metalblanks
import model.output.blankfiles
from model import cli
from model.evaluate import fit_report_of
from model.fillers import fillers_of
from model.metalblanks import can_be_formed, filler_blank
from model.output.blankfiles import blank_drawings, stem_of, without_blank

CARS = ("coupe", "pickup")


@lru_cache
def drawn(name):
    built = closed_plan(name)
    return blank_drawings(built, fit_report_of(built))


@pytest.mark.parametrize("name", CARS)
def test_every_piece_has_a_drawing_or_is_told_to_have_none(name):
    report = fit_report_of(closed_plan(name))
    told = {stem_of(each) for each in without_blank(closed_plan(name), report)}
    assert set(drawn(name)) | told == {stem_of(metal.name) for metal in report.new_metal}
    assert not set(drawn(name)) & told and len(drawn(name)) >= 2
    for svg in drawn(name).values():
        words = [text.text for text in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]
        assert words[0].startswith(("filler ", "post piece "))
        assert any(w.startswith("Caution: ") for w in words)


def from_edge(run, edge, point):
    """Return how far a point is from one of a run's edges, along its samples. [mm]"""
    samples = run.laid.point_mm[run.laid.starts[edge] : run.laid.starts[edge + 1]]
    a, b = samples[:-1], samples[1:]
    t = np.clip(np.sum((point - a) * (b - a), axis=1) / np.sum((b - a) ** 2, axis=1), 0, 1)
    return np.linalg.norm(a + t[:, None] * (b - a) - point, axis=1).min()


def test_sides_lie_by_the_pieces_they_are_named_for():
    """The sheet's first column lies a root gap from the first piece's edge, its last from the second's."""
    built = closed_plan("coupe")
    fillers = [filler for filler in fillers_of(built) if stem_of(filler.name) in drawn("coupe")]
    assert len(fillers) >= 6
    for filler in fillers:
        ends = filler.grid.frame(np.array([[0.5, 0.0], [0.5, 1.0]]))[0]
        for edge, point in zip((filler.run.first, filler.run.second), ends, strict=True):
            assert from_edge(filler.run, edge, point) == pytest.approx(built.plan.root_gap_mm, abs=0.3), (
                filler.name
            )
        assert all(piece in drawn("coupe")[stem_of(filler.name)] for piece in filler.seam.pieces)


@pytest.mark.parametrize("name", CARS)
def test_the_demo_fillers_lie_flat_and_still(name):
    """Half as many spans would change no side or diagonal by half a millimetre."""
    for filler in fillers_of(closed_plan(name)):
        if stem_of(filler.name) in drawn(name):
            blank = filler_blank(filler, 12.7)
            assert blank.is_settled and blank.doubt_mm < 0.5, filler.name


def test_a_blank_in_doubt_is_none(monkeypatch):
    """The coupe's filler at the roof has folds too close to one another: told, not drawn."""
    built = closed_plan("coupe")
    tight = {m.name for m in fit_report_of(built).new_metal if not can_be_formed(m)}
    assert set(without_blank(built, fit_report_of(built))) - tight == {"filler window panel to roof"}
    flat = next(f for f in fillers_of(built) if f.name == "filler C left, roof skin")
    doubt = filler_blank(flat, 12.7).doubt_mm
    assert doubt > 0.0
    monkeypatch.setattr(model.metalblanks, "LARGEST_DOUBT_MM", doubt / 2)
    assert filler_blank(flat, 12.8) is None  # another trim, for the blank is remembered


def test_the_command(tmp_path, capsys, monkeypatch):
    """Every drawing in both forms, and a line for what has none; the first alone is turned into pixels."""
    folder, pixels, turned = tmp_path / "blanks", model.output.blankfiles.png_of, []

    def first_only(svg):
        turned.append(svg)
        return pixels(svg) if len(turned) == 1 else b""

    monkeypatch.setattr(model.output.blankfiles, "png_of", first_only)
    assert cli.main(["blanks", "coupe", "coupe-closed", "-o", str(folder)]) == cli.DONE
    said = capsys.readouterr().out
    files = sorted(path.name for path in folder.iterdir())
    assert sorted(f"{stem}.{ending}" for stem in drawn("coupe") for ending in ("svg", "png")) == files
    assert {path.read_text(encoding="utf-8") for path in folder.glob("*.svg")} == set(turned)
    assert re.search(rf"wrote {len(files)} files into ", said)
    (picture,) = [path for path in folder.glob("*.png") if path.stat().st_size]
    assert picture.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    without = without_blank(closed_plan("coupe"), fit_report_of(closed_plan("coupe")))
    assert without and all(f"no blank: {each}" in said for each in without)


def test_a_plan_without_new_metal(tmp_path, capsys):
    assert cli.main(["blanks", "coupe", "coupe-plan", "-o", str(tmp_path / "none")]) == cli.REFUSED
    assert "new_metal must be in a plan for it to have blanks" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()
