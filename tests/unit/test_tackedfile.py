"""The sheet of marked points, and reading it back; bad input is one message with place and next step."""

import tomllib
from functools import lru_cache

import jsonschema
import pytest

from model.carfile import demo_car_path, demo_plan_path, demo_tacked_path, read_car
from model.cli import DONE, REFUSED, main
from model.errors import FileRefused, MeasureError
from model.files import packaged_schema
from model.planfile import read_plan
from model.tackedfile import read_tacked
from model.tackedfit import sheet_of

KNOWN = ("door, gutter, right", "door, gutter, left", "A, left, rear outer")
GOOD = """\
schema = 1
car = "Bramble coupe"
plan = "two and a quarter, three at the rear"
tape = "1/32"

[[point]]
name = "door, gutter, right"
x = "18-3/4"
y = ""
z = "1421 mm"

[[point]]
name = "my own"
before = [40, -12, "61-3/4"]
z = 59
"""


@lru_cache(maxsize=1)
def coupe():
    car = read_car(demo_car_path("coupe"))
    return car, read_plan(demo_plan_path("coupe"), car)


def read(text, folder):
    path = folder / "measured.toml"
    path.write_text(text, encoding="utf-8")
    return read_tacked(path, *coupe(), KNOWN)


def test_lengths_are_as_a_tape_shows_them(tmp_path):
    tacked = read(GOOD, tmp_path)
    assert tacked.tape_mm == pytest.approx(25.4 / 32)
    first, own = tacked.points
    assert first.at_mm == (pytest.approx(18.75 * 25.4), None, 1421.0) and first.before_mm is None
    assert own.at_mm == (None, None, pytest.approx(59 * 25.4))
    assert own.before_mm == pytest.approx((40 * 25.4, -12 * 25.4, 61.75 * 25.4))
    jsonschema.Draft202012Validator(packaged_schema("measured")).validate(tomllib.loads(GOOD))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('car = "Bramble coupe"', 'car = "Dray pickup"', 'car must be "Bramble coupe".*Take the car'),
        (
            'plan = "two and a quarter,',
            'plan = "three,',
            "plan must be .*Take the plan that this roof",
        ),
        ("schema = 1", "schema = 2", "schema must be one of 1; got 2"),
        ("schema = 1", "shcema = 1", 'unknown key "shcema".*Did you mean "schema"'),
        ('tape = "1/32"', 'tape = "2"', "tape must be between 0.1 and 25 mm; got 2"),
        ('"18-3/4"', '"18 and a bit"', 'point "door, gutter, right", x must be a length'),
        ('"1421 mm"', "nan", "z must be a finite length"),
        (
            "door, gutter, right",
            "door, guter, right",
            'a marked point.*Did you mean "door, gutter, right"',
        ),
        ("before = [40, -12, ", "before = [40, ", "before must be"),
        ('before = [40, -12, "61-3/4"]\n', "", 'point "my own" must be a marked point.*before = '),
        ('name = "my own"', 'name = "door, gutter, right"', "must be given once; it is given twice"),
        ('name = "my own"\n', "", 'point 2 must give "name"'),
    ],
)
def test_bad_input_is_named(tmp_path, old, new, said):
    assert old in GOOD
    with pytest.raises(MeasureError, match=rf"(?s)measured\.toml: .*{said}"):
        read(GOOD.replace(old, new, 1), tmp_path)


def test_half_a_file_is_refused(tmp_path):
    with pytest.raises(FileRefused, match="complete"):
        read(GOOD[: GOOD.rindex("61-3/4")], tmp_path)


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_the_sheet_is_a_file_with_nothing_measured_yet(tmp_path, name):
    car = read_car(demo_car_path(name))
    plan = read_plan(demo_plan_path(name), car)
    text = sheet_of(car, plan)
    values = tomllib.loads(text)
    jsonschema.Draft202012Validator(packaged_schema("measured")).validate(values)
    assert len(values["point"]) == 8 and values["car"] == car.name and values["plan"] == plan.name
    sides = {point["name"].rpartition(", ")[2] for point in values["point"]}
    assert {"right", "left"} <= sides
    (tmp_path / "sheet.toml").write_text(text, encoding="utf-8")
    with pytest.raises(MeasureError, match="at least one point must be measured; none is. Fill in"):
        read_tacked(tmp_path / "sheet.toml", car, plan, {point["name"] for point in values["point"]})


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_the_files_that_ship_keep_the_schema(name):
    values = tomllib.loads(demo_tacked_path(name).read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(packaged_schema("measured")).validate(values)


def test_the_commands(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["points", "coupe", "coupe-plan", "-o", "sheet.toml"]) == DONE
    assert capsys.readouterr().out == "wrote sheet.toml\n"
    text = (tmp_path / "sheet.toml").read_text(encoding="utf-8")
    filled = text.replace('z = ""  # planned at', "z = 55  # planned at", 1)
    (tmp_path / "sheet.toml").write_text(filled.replace("z = 55", 'z = "49-3/4"'), encoding="utf-8")
    assert main(["fitted", "coupe", "coupe-plan", "sheet.toml"]) == DONE
    assert "Nothing checks these readings" in capsys.readouterr().out
    assert main(["fitted", "coupe", "coupe-plan", "coupe-tacked", "--json"]) == DONE
    assert '"left_out"' in capsys.readouterr().out
    for words in (
        ["fitted", "coupe", "coupe-plan", "nowhere.toml"],
        ["fitted", "pickup", "pickup-plan", "coupe-tacked"],
        ["fitted", "coupe", "coupe-plan"],
        ["points", "coupe", "coupe-plan", "-o", "no/such/folder/a.toml"],
    ):
        assert main(words) == REFUSED
        said = capsys.readouterr()
        assert said.out == "" and said.err.count("\n") == 1 and "Traceback" not in said.err
