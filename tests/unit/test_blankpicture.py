"""The drawing of a blank, read again: lines where the blank has them, strains in words, heights."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from model.blanks import blank_of
from model.ordinates import ordinates_of, step_for
from model.output.blankpicture import DIMENSION_INK, INK, MARGIN_PX, WIDTH_PX, blank_svg, fact_lines
from model.output.strainmarks import CLASSES, colour_of, labels_of, legend, worked_strains
from model.outside.knownsheets import cylinder_sheet, frustum_sheet, torus_sheet

SVG = "{http://www.w3.org/2000/svg}"
SHEETS = {
    "dome": torus_sheet(600, 250, 40, -20, 50),
    "saddle": torus_sheet(600, 250, 50, 140, 210),
    "cone": frustum_sheet(400, 250, 200, angle_deg=200),
    "quarter": cylinder_sheet(60, 90, 700),
    "strip": torus_sheet(900, 500, 40, 30, 36, rows=61, columns=7),
}


@pytest.fixture(scope="module")
def blanks():
    return {name: blank_of(sheet, trim_mm=12.7, gauge_mm=1.214) for name, sheet in SHEETS.items()}


def drawn(blank, unit="in", **options):
    return ElementTree.fromstring(blank_svg(blank, name="filler, <roof> & body", unit=unit, **options))


def words_of(svg):
    return [element.text for element in svg.iter(f"{SVG}text")]


def lines_of(svg, **attributes):
    """Return the points of the closed paths that have these attributes, as drawn."""
    out = []
    for path in svg.iter(f"{SVG}path"):
        if all(path.get(key.replace("_", "-")) == value for key, value in attributes.items()):
            if path.get("d").endswith("Z"):
                out.append(np.array(re.findall(r"-?[\d.]+", path.get("d")), float).reshape(-1, 2))
    return out


@pytest.mark.parametrize("name", SHEETS)
def test_cut_and_net_line_are_drawn_to_one_scale(blanks, name):
    blank = blanks[name]
    svg = drawn(blank)
    (cut,) = lines_of(svg, stroke=INK, stroke_width="2.2")
    (net,) = lines_of(svg, stroke_dasharray="7 4")
    scale = np.ptp(cut[:, 0]) / blank.length_mm
    assert 0 < scale * blank.length_mm <= WIDTH_PX - 2 * MARGIN_PX + 0.1
    origin = np.array([cut[:, 0].min(), cut[:, 1].max()])
    for line, outline in ((cut, blank.trim_outline_mm), (net, blank.outline_mm)):
        assert (line - origin) / scale * [1, -1] == pytest.approx(outline, abs=0.02 / scale)
    bar = [float(r.get("width")) for r in svg.iter(f"{SVG}rect") if r.get("height") == "8"]
    (told,) = [re.search(r"\(([\d.]+) mm\)", w)[1] for w in words_of(svg) if re.fullmatch(r'\d+" \(.*\)', w)]
    assert sum(bar) / scale == pytest.approx(float(told), rel=0.005)


@pytest.mark.parametrize("name", SHEETS)
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_nothing_is_cut_off(blanks, name, unit):
    svg = drawn(blanks[name], unit, side_names=("roof", "body, rear quarter", "", "window panel"))
    height = float(svg.get("height"))
    upright = {text for group in svg.iter(f"{SVG}g") if group.get("transform") for text in group}
    assert len(upright) == 1
    for text in set(svg.iter(f"{SVG}text")) - upright:
        wide = 0.56 * float(text.get("font-size")) * len(text.text)  # a little over the mean letter
        x, y = float(text.get("x")), float(text.get("y"))
        left = x - wide / 2 if text.get("text-anchor") == "middle" else x
        assert 0 <= y <= height and -2 <= left and left + wide <= WIDTH_PX + 6, text.text
    points = np.array([re.findall(r"-?[\d.]+", p.get("points")) for p in svg.iter(f"{SVG}polygon")], float)
    assert points.min() > 0 and points[:, ::2].max() < WIDTH_PX and points[:, 1::2].max() < height


def test_the_sizes_are_those_of_the_rectangle(blanks):
    words = words_of(drawn(blanks["quarter"]))
    assert '28-9/16" (725.4 mm)' in words  # 700 and twice 12.7
    arc = np.pi / 2 * (60 - 0.607) + 25.4
    assert f'4-11/16" ({arc:.1f} mm)' in words
    words = words_of(drawn(blanks["quarter"], "mm"))
    assert '725.4 mm (28-9/16")' in words


def test_dome_and_saddle_say_where(blanks):
    """In a dome the middle is stretched and the rim shrunk; a saddle is the other way round."""
    for name, in_middle in (("dome", "STRETCH"), ("saddle", "SHRINK")):
        blank = blanks[name]
        labels = labels_of(blank.strain_map)
        middle = np.array([blank.length_mm, blank.width_mm]) / 2
        off = {label.words: np.abs(np.array(label.at_mm) - middle) / middle for label in labels}
        assert {words.split()[0] for words in off} == {"STRETCH", "SHRINK"}
        for words, share in off.items():
            assert share.max() < 0.35 if words.startswith(in_middle) else share.max() > 0.7, (words, share)
        drawn_words = words_of(drawn(blank))
        assert all(label.words in drawn_words for label in labels)
        most = max(labels, key=lambda label: abs(label.strain))
        assert most.words.endswith(f"{abs(most.strain) * 100:.1f} %")
        assert abs(most.strain) == np.abs(worked_strains(blank.strain_map)[0]).max()


def test_each_cell_has_the_colour_of_its_class(blanks):
    strains, _ = worked_strains(blanks["dome"].strain_map)
    colours = [p.get("fill") for p in drawn(blanks["dome"]).iter(f"{SVG}polygon")]
    assert colours == [colour_of(s) for s in strains.ravel()]
    assert {colour_of(s) for s in (0.0005, -0.0005)} == {"#ffffff"}
    assert colour_of(0.015) == CLASSES[3].stretch_colour and colour_of(-0.015) == CLASSES[3].shrink_colour
    assert colour_of(0.01) == CLASSES[2].stretch_colour  # up to and with its limit


def lightness(colour):
    """Return CIE L* of an sRGB colour."""
    rgb = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    y = linear @ [0.2126, 0.7152, 0.0722]
    return 116 * np.cbrt(y) - 16 if y > 0.008856 else 903.3 * y


def test_sizes_keep_apart_in_grey():
    for k in (0, 1):
        light = [lightness(row[k]) for row in legend()]
        assert all(a - b > 4 for a, b in zip(light, light[1:], strict=False)), light


def test_what_needs_no_stretching_has_no_legend_of_strains(blanks):
    for name in ("cone", "quarter", "strip"):
        words = words_of(drawn(blanks[name]))
        assert not any(w in ("stretch", "shrink") or w.startswith(("STRETCH", "SHRINK")) for w in words)
    assert any(
        "bend lines lie along the base line, all the same way" in f
        for f in fact_lines(blanks["quarter"], "in")
    )
    cone = " ".join(fact_lines(blanks["cone"], "in"))
    half = 100 * 75 / np.hypot(75, 200)  # half of the sector: 200° × sine of half the cone's angle, halved
    fan = int(re.search(r"up to (\d+)° either side", cone)[1])
    assert half - 4 < fan <= half and "square to the base line" in cone
    assert "straightest lines still bow 0.7 mm" in " ".join(fact_lines(blanks["strip"], "in"))
    assert "bend line" in words_of(drawn(blanks["cone"])) and "bend line" not in words_of(
        drawn(blanks["strip"])
    )


def test_a_rough_strain_is_told(blanks):
    smooth = blanks["dome"]
    assert "rough" not in " ".join(fact_lines(smooth, "in"))
    rough = replace(smooth, doubt_strain=0.6 * abs(smooth.max_strain))
    told = f"a look half as fine differs by {rough.doubt_strain * 100:.1f} %"
    assert told in " ".join(fact_lines(rough, "in"))
    unsettled = replace(smooth, is_settled=False)
    assert "did not come to rest" in " ".join(fact_lines(unsettled, "in"))


def test_sides_are_named_and_cautioned(blanks):
    svg = drawn(blanks["dome"], side_names=("roof", "", "", "window panel"))
    words = words_of(svg)
    assert words.count("roof") == 1 and words.count("window panel") == 1
    assert any(w.startswith("Caution: ") for w in words)
    assert svg.get("aria-label") == "Blank of filler, <roof> & body" == svg.find(f"{SVG}title").text
    named = [t for t in svg.iter(f"{SVG}text") if t.text == "roof"][0]
    assert named.get("fill") == DIMENSION_INK


def test_heights_of_an_outline():
    house = [(0, 0), (100, 0), (100, 40), (50, 80), (0, 40)]
    rows = ordinates_of(np.array(house, float), 25)
    read = np.array([(r.along_mm, r.lower_mm, r.upper_mm) for r in rows])
    expected = [(0, 0, 40), (25, 0, 60), (50, 0, 80), (75, 0, 60), (100, 0, 40)]
    assert read == pytest.approx(np.array(expected), abs=1e-5)
    assert [r.along_mm for r in ordinates_of(np.array(house, float), 30)] == [0, 30, 60, 90]


@pytest.mark.parametrize(
    "length_mm, unit, step_mm",
    [(150, "in", 12.7), (340, "in", 50.8), (2000, "in", 304.8), (115, "mm", 10), (900, "mm", 100)],
)
def test_the_least_step_of_a_rule_that_gives_few_stations(length_mm, unit, step_mm):
    assert step_for(length_mm, unit) == pytest.approx(step_mm)


def test_heights_of_a_cone_are_on_its_circles(blanks):
    """The cut line of an unrolled cone: circles about one centre, 12.7 mm outside the net radii."""
    blank = blanks["cone"]
    slant = np.hypot(75, 200)
    large = (200 - 0.607 * 200 / slant) * slant / 75 + 12.7
    rows = [r for r in ordinates_of(blank.trim_outline_mm, 50) if 150 < r.along_mm < 550]
    apex = np.array([blank.length_mm / 2, large])  # lowest point at height 0
    for row in rows:
        assert np.hypot(*(np.array([row.along_mm, row.lower_mm]) - apex)) == pytest.approx(large, abs=0.05)
    assert len(rows) >= 6
