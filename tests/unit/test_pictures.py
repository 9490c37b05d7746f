"""Pictures for a message: every view before and after, checked in the pixels of the PNG."""

import io
import re
from dataclasses import replace
from functools import lru_cache
from xml.etree import ElementTree

import numpy as np
import pytest

from model.carfile import demo_car_path, demo_plan_path, read_car
from model.errors import FileRefused
from model.evaluate import build_checked, fit_report_of
from model.output.pictures import WIDTH_PX, drops_said, pictures_of, png_of, write_pictures
from model.piececolours import COLOURS, rgb_of
from model.plan import Plan
from model.planfile import read_plan
from model.silhouette import VIEWS

Image = pytest.importorskip("PIL.Image")
CARS = ("coupe", "pickup")


@lru_cache
def built_of(name):
    car = read_car(demo_car_path(name))
    return build_checked(car, read_plan(demo_plan_path(name), car))


@lru_cache
def drawn(name):
    built = built_of(name)
    return pictures_of(built, fit_report_of(built))


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """The coupe's pictures, written into a folder."""
    built = built_of("coupe")
    return write_pictures(built, fit_report_of(built), tmp_path_factory.mktemp("pictures") / "views")


def view_box(svg):
    return [float(number) for number in re.search(r'viewBox="([^"]+)"', svg).group(1).split()]


def pixels_of(svg):
    return np.asarray(Image.open(io.BytesIO(png_of(svg))).convert("RGB"), float)


@pytest.mark.parametrize("name", CARS)
def test_every_view_is_there_before_and_after_at_the_same_place(name):
    stems = [*(view.replace(" ", "-") for view in VIEWS), "drivers-eye"]
    expected = {f"{stem}-{state}" for stem in stems for state in ("before", "after")} | {"side-dimensions"}
    assert set(drawn(name)) == expected
    for svg in drawn(name).values():
        ElementTree.fromstring(svg)
    for stem in stems:
        before, after = (drawn(name)[f"{stem}-{state}"] for state in ("before", "after"))
        assert view_box(before) == view_box(after)
        assert before != after


@pytest.mark.parametrize("name", CARS)
def test_the_roof_in_the_side_view_is_as_high_as_the_report_says(name):
    """The topmost pixel of roof's colour after, of body's before: within two pixels, 2.7 mm at most."""
    totals = fit_report_of(built_of(name)).totals
    for state, colour, height_mm in (
        ("before", "body", totals.height_before_mm),
        ("after", "roof", totals.height_after_mm),
    ):
        svg = drawn(name)[f"side-{state}"]
        pixels, (_, top, wide, _) = pixels_of(svg), view_box(svg)
        hue = np.array(rgb_of(COLOURS[colour]), float)
        tone = pixels.sum(axis=2) / hue.sum()
        is_colour = (np.abs(pixels - tone[..., None] * hue).max(axis=2) < 4) & (tone > 0.75) & (tone < 1.02)
        row = np.nonzero(is_colour.sum(axis=1) > 20)[0].min()
        per_pixel = wide / WIDTH_PX
        assert -(top + row * per_pixel) == pytest.approx(height_mm, abs=2.5 * per_pixel)


@pytest.mark.parametrize("name", CARS)
def test_left_and_right_of_a_front_view_are_alike(name):
    """The demo cars' sheet is measured on one side: their front views are symmetric to a few pixels."""
    pixels = pixels_of(drawn(name)["front-before"])[: int(WIDTH_PX * 0.3)]
    ink = pixels.sum(axis=2) < 740
    columns = np.nonzero(ink.any(axis=0))[0]
    assert abs((columns.min() + columns.max()) / 2 - (WIDTH_PX - 1) / 2) < WIDTH_PX * 0.02


def test_the_words_under_a_picture_say_what_it_shows():
    report = fit_report_of(built_of("coupe"))
    assert drops_said(report) == 'roof down 2-1/4" in front, 3" at the rear, rear window 1-1/2" forward'
    for moves, said in (
        ((0.0, 50.8), '2" down'),
        ((-25.4, 9.0), '1" rearward'),
        ((0.0, 0.0), "cut out and set back where it was"),
    ):
        window = replace(report.window, rear_forward_mm=moves[0], rear_down_mm=moves[1])
        assert drops_said(replace(report, window=window)).endswith(f"rear window {said}")
    assert drops_said(report).replace('"', "&quot;") in drawn("coupe")["side-after"]
    assert "not an engineering approval" in drawn("coupe")["side-after"]
    stock = build_checked(built_of("coupe").shape.car, Plan())
    assert drops_said(fit_report_of(stock)) == "stock"
    assert set(pictures_of(stock, fit_report_of(stock))) == {
        f"{v.replace(' ', '-')}-before" for v in (*VIEWS, "drivers-eye")
    }


def test_words_stay_on_the_paper(files):
    """Nothing but paper along the rims, where a line too long would run out."""
    pictures = [file for file in files if file.suffix == ".png"]
    assert len(pictures) == 15
    for picture in pictures:
        pixels = np.asarray(Image.open(picture).convert("RGB"))
        assert (pixels[:, -8:] == 255).all() and (pixels[:, :8] == 255).all() and (pixels[-4:] == 255).all()
        assert (pixels[-60:] < 200).any(), "no words under the picture: is a font installed?"


def test_files_are_pictures_and_a_file_in_the_way_is_refused(files, tmp_path):
    built = built_of("coupe")
    assert len(files) == 30 and {file.suffix for file in files} == {".svg", ".png"}
    for file in files:
        if file.suffix == ".png":
            assert Image.open(file).size[0] == WIDTH_PX
            assert file.stat().st_size < 400_000
    (tmp_path / "taken").write_text("")
    with pytest.raises(FileRefused, match="folder"):
        write_pictures(built, fit_report_of(built), tmp_path / "taken")
    with pytest.raises(FileRefused, match="Make it first"):
        write_pictures(built, fit_report_of(built), tmp_path / "no" / "such")
