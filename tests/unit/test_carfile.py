"""A car file holds what was measured, and gives it back."""

import json
import tomllib
from dataclasses import replace

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sample_cars import TINY_CAR_MM_TOML, TINY_CAR_TOML

from model.carfile import car_toml, demo_car_names, demo_car_path, read_car, write_car
from model.errors import FileRefused, MeasureError
from model.files import packaged_schema
from model.hooptable import car_with_hoop_table, hoop_table_csv

CARS = pytest.mark.parametrize("text", [TINY_CAR_TOML, TINY_CAR_MM_TOML], ids=["in", "mm"])


def car_from_text(text, folder):
    path = folder / "car.toml"
    path.write_text(text, encoding="utf-8")
    return read_car(path)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("tiny")


@pytest.fixture(scope="module")
def tiny(folder):
    return car_from_text(TINY_CAR_TOML, folder)


def test_what_was_measured_is_read(tiny):
    assert tiny.name == "tiny cab"
    assert (tiny.gauge_mm, tiny.glass_mm, tiny.tape_mm) == (0.9, 6.35, 1.5875)
    assert tiny.hoops[0].right_mm[1] == (127.0, 647.7, 203.2)
    assert tiny.rear_point_mm == (1016.0, 0.0, 482.6)
    assert tiny.seat_mm == (762.0, 355.6, -254.0)
    assert tiny.panel("back").right_mm[1][0] == pytest.approx((44 * 25.4, 355.6, 203.2))
    assert tiny.openings[0].corners[1].radius_mm == pytest.approx(38.1)
    assert [(p.name, p.side) for p in tiny.posts] == [("A", "right"), ("B", "right"), ("divider", "centre")]
    assert [k.shape for k in tiny.keep_outs] == ["sphere", "cylinder", "box"]


def test_the_left_side_is_read_where_it_was_measured_and_shares_the_crown(tiny):
    middle = tiny.hoop("middle")
    assert middle.left_mm[2] == (511.175, -625.475, 431.8)
    assert middle.left_mm[-1] == middle.right_mm[-1]
    assert tiny.hoop("front").left_mm is None


def test_a_crown_within_the_tape_counts_as_the_centreline(tmp_path):
    off = TINY_CAR_TOML.replace('crown = [11, 0, "18-3/4"]', 'crown = [11, "1/16", "18-3/4"]')
    assert car_from_text(off, tmp_path).hoops[0].right_mm[-1] == pytest.approx((11 * 25.4, 0.0, 18.75 * 25.4))


@CARS
def test_a_written_car_reads_back_the_same(text, tmp_path):
    car = car_from_text(text, tmp_path)
    write_car(car, tmp_path / "again.toml")
    assert read_car(tmp_path / "again.toml") == car


def test_a_written_car_looks_as_the_shop_types_it(tiny):
    text = car_toml(tiny)
    assert 'belt = [0, "26-1/2", 0]' in text
    assert 'gauge = "0.9 mm"' in text
    assert "[44, 14, 8]" in text
    assert '    [19, 3, "1-1/2"],\n' in text


@settings(max_examples=25, deadline=None)
@given(
    move=st.tuples(*[st.floats(-5, 5)] * 3),
    radius=st.floats(0, 20),
    name=st.text(min_size=1).filter(str.strip),
)
def test_any_car_comes_back_within_a_millionth_of_a_millimetre(tiny, folder, move, radius, name):
    hoop = tiny.hoops[1]
    moved = tuple(a + b for a, b in zip(hoop.right_mm[1], move, strict=True))
    hoop = replace(hoop, right_mm=(hoop.right_mm[0], moved, *hoop.right_mm[2:]))
    corner = replace(tiny.openings[1].corners[0], radius_mm=radius)
    opening = replace(tiny.openings[1], corners=(corner, *tiny.openings[1].corners[1:]))
    car = replace(
        tiny,
        name=name.encode("utf-8", "ignore").decode(),
        hoops=(tiny.hoops[0], hoop, tiny.hoops[2]),
        openings=(tiny.openings[0], opening, tiny.openings[2]),
    )
    write_car(car, folder / "any.toml")
    again = read_car(folder / "any.toml")
    assert again.name == car.name
    assert again.hoops[1].right_mm[1] == pytest.approx(moved, abs=1e-9)
    assert again.openings[1].corners[0].radius_mm == pytest.approx(radius, abs=1e-9)


@CARS
def test_the_hoop_table_goes_to_a_spreadsheet_and_back(text, tmp_path):
    car = car_from_text(text, tmp_path)
    table = hoop_table_csv(car)
    assert car_with_hoop_table(car, table) == car
    pasted = "\ufeff" + table.replace(",", "\t").replace("\n", "\r\n") + "\r\n\t\t\t\t\t\r\n"
    assert car_with_hoop_table(car, pasted) == car
    assert car_with_hoop_table(car, table.replace(",", ";")) == car


def test_the_hoop_table_has_no_cell_that_a_spreadsheet_takes_for_a_date(tiny):
    cells = hoop_table_csv(tiny).replace("\n", ",").split(",")
    assert "18 3/4" in cells
    assert not [c for c in cells if "-" in c.lstrip("-")]


def test_a_hoop_table_without_panels_leaves_the_panels(tiny):
    lines = hoop_table_csv(tiny).splitlines()
    hoops_only = "\n".join(line for line in lines if "/crown" not in line and "/shoulder" not in line)
    assert car_with_hoop_table(tiny, hoops_only).panels == tiny.panels


def test_a_car_file_may_name_its_hoop_table(tiny, tmp_path):
    head, rest = TINY_CAR_TOML.split("[[hoop]]", 1)
    tail = rest[rest.index("[[opening]]") :]
    (tmp_path / "points.csv").write_text(hoop_table_csv(tiny), encoding="utf-8")
    assert car_from_text(head + 'hoop_table = "points.csv"\n\n' + tail, tmp_path) == tiny


@CARS
def test_the_schema_accepts_what_the_reader_accepts(text, tmp_path):
    validator = jsonschema.Draft202012Validator(packaged_schema("car"))
    validator.check_schema(validator.schema)
    car = car_from_text(text, tmp_path)
    for version in (text, car_toml(car)):
        assert not list(validator.iter_errors(tomllib.loads(version)))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('unit = "in"', 'unit = "cubit"'),
        ('tape = "1/16"', 'tape = "a bit"'),
        ('tape = "1/16"', 'tpae = "1/16"'),
        ("schema = 1", "schema = 2"),
        ('belt = [0, "26-1/2", 0]', 'belt = [0, "26-1/2"]'),
        ('grid = "back"', 'grid = "side"'),
        ('role = "rear window"', 'role = "side glass"'),
        ('shape = "sphere"', 'shape = "box"'),
        ('width = "1-1/4"', "width = true"),
        ('rows = ["belt"', 'rows = ["sill"'),
        ("cut_to = 15", ""),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(old, new, tmp_path):
    text = TINY_CAR_TOML.replace(old, new, 1)
    assert text != TINY_CAR_TOML
    assert list(jsonschema.Draft202012Validator(packaged_schema("car")).iter_errors(tomllib.loads(text)))
    with pytest.raises(MeasureError):
        car_from_text(text, tmp_path)


def test_schemas_describe_themselves_to_a_reader():
    for name in ("car", "plan"):
        text = json.dumps(packaged_schema(name))
        assert text.count('"description"') > 15


@pytest.mark.parametrize("name", demo_car_names())
def test_demo_cars_read_back_and_agree_with_the_schema(name, tmp_path):
    path = demo_car_path(name)
    car = read_car(path)
    write_car(car, tmp_path / "again.toml")
    assert read_car(tmp_path / "again.toml") == car
    jsonschema.validate(tomllib.loads(path.read_text(encoding="utf-8")), packaged_schema("car"))


def test_an_unknown_demo_car_is_refused():
    with pytest.raises(FileRefused, match=r"^coop\.toml: is not among the demo cars\. "):
        demo_car_path("coop")
