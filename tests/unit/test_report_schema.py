"""``--json`` is a contract: the published schemas, and reports held against them."""

import json
from dataclasses import fields

import jsonschema
import pytest
from sample_reports import sample_report, validator

from model import doorreport, postpiecereport, viewreport
from model import report as records
from model.blankreport import Trapezium
from model.doorframes import DoorSeam
from model.files import packaged_schema
from model.panelreport import Misfit, PanelFit, SeamMisfit
from model.piecutreport import PieCutReport
from model.trimreport import TrimLine, TrimStation

RECORDS_BY_SCHEMA = {
    "post": records.PostReport,
    "mark": records.EdgeMark,
    "stretch": records.PostStretch,
    "remedy": records.Remedy,
    "remedy_seam": records.RemedySeam,
    "lean": records.LeanReport,
    "hinge_mark": records.HingeMark,
    "seam": records.SeamReport,
    "pie_cut": PieCutReport,
    "door_seam": DoorSeam,
    "trapezium": Trapezium,
    "station": records.SeamStation,
    "spread": records.Spread,
    "interference": records.Interference,
    "window": records.WindowReport,
    "trim": TrimLine,
    "trim_station": TrimStation,
    "panel_fit": PanelFit,
    "seam_misfit": SeamMisfit,
    "misfit": Misfit,
    "sight": viewreport.Sight,
    "post_sight": viewreport.PostSight,
    "rear_sight": viewreport.RearSight,
    "head": viewreport.HeadReport,
    "view": viewreport.View,
    "totals": records.Totals,
    "finding": records.Finding,
    "side_pane": doorreport.PaneReport,
    "pane_corner": doorreport.PaneCorner,
    "door_leg": doorreport.DoorLeg,
    "well": doorreport.WellReport,
    "new_metal": records.NewMetalReport,
    "post_piece": postpiecereport.PostPieceReport,
    "cut_back_mark": postpiecereport.CutBackMark,
    "post_wall": postpiecereport.PostWall,
    "hinge_piece": postpiecereport.HingePieceReport,
    "hinge_back_mark": postpiecereport.HingeBackMark,
}


def as_json(value):
    """Return what a program on the other side of a pipe would read."""
    return json.loads(json.dumps(value, allow_nan=False))


@pytest.mark.parametrize("name", ["check", "report", "comparison", "verify"])
def test_schema_is_a_schema(name):
    jsonschema.Draft202012Validator.check_schema(packaged_schema(name))


def test_schema_and_records_have_the_same_fields():
    schema = packaged_schema("report")
    assert set(schema["properties"]) == {field.name for field in fields(records.Report)}
    for name, record in RECORDS_BY_SCHEMA.items():
        expected = {field.name for field in fields(record)}
        assert set(schema["$defs"][name]["properties"]) == expected, name
        assert set(schema["$defs"][name]["required"]) == expected, name


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_a_report_keeps_the_contract(unit):
    validator("report").validate(as_json(sample_report(unit).to_json()))


def test_a_comparison_keeps_the_contract():
    validator("comparison").validate(as_json({"reports": [sample_report().to_json()] * 2}))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("posts", 0, "take_out_mm"), "2-1/4"),
        (("posts", 0, "side"), "rear"),
        (("seams", 0, "gap_mm", "mean"), None),
        (("totals", "weld_mm"), -1.0),
        (("plan", "roof", "fore_aft"), "backwards"),
    ],
)
def test_a_broken_report_is_caught(path, value):
    values = as_json(sample_report().to_json())
    place = values
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    assert not validator("report").is_valid(values)
