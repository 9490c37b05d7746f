"""What exact solids have in common, in words."""

from types import SimpleNamespace

from model.output.exactinterference import NONE, UNDECIDED, interference_html, interference_text

CAR, PLAN = SimpleNamespace(name="Box", unit="mm"), SimpleNamespace(name="low")
BODY = {
    "pieces": ["roof", "seat <back>"],
    "volume_mm3": 2500.0,
    "depth_mm": 2.5,
    "at_mm": [100.0, 20.0, 1300.0],
    "is_valid": False,
}
PAIR = ["roof", "filler <A>"]


def test_a_pair_that_nothing_could_tell_of_is_named_beside_what_is_found():
    text = interference_text([BODY], [PAIR], CAR, PLAN)
    assert "roof and seat <back> ?" in text and "doubts its own result at 1" in text
    assert f"  ? {UNDECIDED}: roof and filler <A>" in text.splitlines()
    assert f"{UNDECIDED.capitalize()}: roof and filler &lt;A&gt;" in interference_html([BODY], [PAIR], "mm")


def test_where_nothing_is_found_what_is_not_decided_is_still_named():
    text = interference_text([], [PAIR], CAR, PLAN)
    assert NONE in text and UNDECIDED in text
    html = interference_html([], [PAIR], "mm")
    assert NONE in html and "filler &lt;A&gt;" in html
    assert UNDECIDED not in interference_text([], [], CAR, PLAN)
