"""Sheet steel by gauge number, and in a car file; the table itself is among the outside checks."""

from dataclasses import replace

import jsonschema
import pytest
from sample_cars import TINY_CAR_TOML

from model.carfile import read_car, write_car
from model.errors import MeasureError
from model.files import packaged_schema
from model.gauges import OUNCES, is_gauge, sheet_kg_m2, thickness_mm


@pytest.mark.parametrize("text", ["18 ga", "18ga", "18 GA.", "No. 18 gauge", " 18 gauge "])
def test_a_gauge_as_people_write_it(text):
    assert is_gauge(text)
    assert thickness_mm(text) == pytest.approx(0.0478 * 25.4, abs=1e-12)


@pytest.mark.parametrize("value", ["0.9 mm", "1/16", 1.2, "ga", "18", "18 gallons", None])
def test_what_is_no_gauge(value):
    assert not is_gauge(value)


@pytest.mark.parametrize("text", ["9 ga", "25 ga", "118 ga"])
def test_a_gauge_out_of_the_table(text):
    with pytest.raises(MeasureError, match="gauge must be a sheet gauge from 10 ga to 24 ga; got"):
        thickness_mm(text)


def test_a_higher_number_is_thinner():
    thick = [thickness_mm(f"{number} ga") for number in OUNCES]
    assert thick == sorted(thick, reverse=True)


def test_steel_weighs_less_than_its_gauge_says():
    """41.82 lb/ft² to an inch is 8039 kg/m³, 2.4 % above 7850."""
    weight = OUNCES[18] / 16 * 0.45359237 / 0.3048**2
    assert weight / sheet_kg_m2(thickness_mm("18 ga")) == pytest.approx(1.024, abs=1e-3)


def test_in_a_car_file(tmp_path):
    text = TINY_CAR_TOML.replace('gauge = "0.9 mm"', 'gauge = "19 ga"').replace(
        'wall = "1.2 mm"', 'wall = "16 gauge"', 1
    )
    (tmp_path / "car.toml").write_text(text, encoding="utf-8")
    car = read_car(tmp_path / "car.toml")
    assert car.gauge_mm == pytest.approx(0.0418 * 25.4)
    assert car.posts[0].wall_mm == pytest.approx(0.0598 * 25.4)
    write_car(car, tmp_path / "again.toml")
    again = read_car(tmp_path / "again.toml")
    assert again.gauge_mm == pytest.approx(car.gauge_mm, abs=1e-9)
    assert replace(again, gauge_mm=car.gauge_mm, posts=car.posts) == car


def test_a_wrong_gauge_in_a_car_file_names_its_place(tmp_path):
    (tmp_path / "car.toml").write_text(
        TINY_CAR_TOML.replace('wall = "1.2 mm"', 'wall = "30 ga"', 1), encoding="utf-8"
    )
    with pytest.raises(MeasureError, match='post "A", wall must be a sheet gauge'):
        read_car(tmp_path / "car.toml")


@pytest.mark.parametrize(("text", "is_valid"), [("18 ga", True), ("0.9 mm", True), ("18 gallons", False)])
def test_the_schema_knows_gauges(text, is_valid):
    schema = packaged_schema("car")
    thickness = {"$ref": "#/$defs/thickness", "$defs": schema["$defs"]}
    assert jsonschema.Draft202012Validator(thickness).is_valid(text) == is_valid
