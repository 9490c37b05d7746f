"""Bad input: one message with file, place, rule and next step; nothing overwritten or half-written."""

from dataclasses import replace

import pytest
from sample_cars import TINY_CAR_TOML, TINY_PLAN_TOML

from model.carcheck import check_car
from model.carfile import read_car, write_car
from model.errors import FileRefused, MeasureError, PlanError, RoofError
from model.files import LARGEST_BYTES
from model.hooptable import car_with_hoop_table, hoop_table_csv
from model.plan import Plan, PostCut
from model.planfile import read_plan, write_plan


@pytest.fixture
def car(tmp_path):
    return car_from_text(TINY_CAR_TOML, tmp_path)


def car_from_text(text, folder):
    path = folder / "cab.toml"
    path.write_text(text, encoding="utf-8")
    return read_car(path)


def changed(old, new):
    text = TINY_CAR_TOML.replace(old, new, 1)
    assert text != TINY_CAR_TOML, old
    return text


HEAD = [
    ('unit = "in"', 'units = "in"', 'the top of the file has the unknown key "units". Did you mean "unit"?'),
    ('unit = "in"', 'unit = "yard"', "unit must be one of in, mm; got 'yard'"),
    ("schema = 1", "schema = 2", "schema must be one of 1; got 2"),
    ('name = "tiny cab"', 'name = ""', "name must be a name or text; got ''"),
    ('name = "tiny cab"\n', "", 'the top of the file must give "name"; it is missing'),
    ('gauge = "0.9 mm"', "gauge = 0.9", "gauge must be between 0.4 and 3 mm; got 22.86 mm"),
    ('glass = "1/4"', 'glass = "1/4 mile"', "glass must be a length; got '1/4 mile'"),
    ('glass = "1/4"', "glass = 2008-03-14", "glass must be a length; got datetime.date"),
    ('tape = "1/16"', 'tape = "0 mm"', "tape must be between 0.1 and 25 mm"),
    ("seat = [30, 14", "seat = [30, [14]", "seat, y must be a length; got \\[14\\]"),
    (
        'hoop = "rear", row = "crown"',
        'hoop = "tail", row = "crown"',
        'rear_point must be on a hoop.*got "tail"',
    ),
    (
        'hoop = "rear", row = "crown"',
        'hoop = "front", row = "crown"',
        "rear_point must be behind the first hoop",
    ),
    (
        'hoop = "rear", row = "crown"',
        'hoop = "rear", row = "belt"',
        "rear_point must be on a row of the roof",
    ),
    ('hoop = "rear", row = "crown"', 'hoop = "rear"', 'rear_point must give "row"'),
    ('["belt", "mid",', '["mid", "belt",', 'rows must run from "belt" to "crown"; got mid'),
    (
        '"gutter", "shoulder", "crown"]',
        '"drip", "shoulder", "crown"]',
        'hoop "front", right has the unknown key "gutter"',
    ),
    ('"mid", "gutter"', '"mid", "mid", "gutter"', 'row "mid" is given twice'),
]
HOOPS = [
    ("mid = [5, '25 1/2\"', 8]\n", "", 'hoop "front" has no row "mid" on the right. Measure it'),
    (
        "shoulder = [10.5, 15, 18]",
        "shuolder = [10.5, 15, 18]",
        'right has the unknown key "shuolder".*mean "shoulder"',
    ),
    (
        "gutter = [10, 23.5, 16]",
        "gutter = [10, 'wide', 16]",
        "hoop \"front\", right, gutter, y must be a length; got 'wide'",
    ),
    ("gutter = [10, 23.5, 16]", "gutter = [10, 23.5]", r'hoop "front", right, gutter must be \[x, y, z\]'),
    ("gutter = [10, 23.5, 16]", "gutter = [10, inf, 16]", "gutter, y must be a finite length; got inf"),
    ("gutter = [10, 23.5, 16]", "gutter = [10, 235000, 16]", "gutter, y must be at most 10 m"),
    (
        "gutter = [10, 23.5, 16]",
        "gutter = [10, -23.5, 16]",
        'hoop "front", right, row "gutter" must have a positive y',
    ),
    ("gutter = [10, 23.5, 16]", "gutter = [5, 25.5, 8]", 'row "mid" and the row above it are the same point'),
    (
        "crown = [20, 0, 20]",
        "crown = [20, 0.5, 20]",
        'row "crown" must lie on the centre plane y = 0.*tape.*got y = 1/2"',
    ),
    ('"-24-5/8", 17', '"24-5/8", 17', 'hoop "middle", left, row "gutter" must have a negative y'),
    (
        'shoulder = [20, "-15-1/2", 19]',
        'shoulder = [20, "-15-1/2", 19]\ncrown = [21, 0, 20]',
        'left, row "crown" must be the right side\'s point',
    ),
    ('name = "middle"', 'name = "front"', 'hoop "front" is given twice'),
    (
        "belt = [20, 28, 0]",
        "belt = [50, 28, 0]",
        'hoops "front", "middle" and "rear" cross: right, row "belt" folds back',
    ),
    (
        "belt = [44, 26, 0]",
        "belt = [-1, 26, 0]",
        'hoops must be listed from the front rearward; right, row "belt"',
    ),
    ("mid = [42.5, 25, 8]", "mid = [20, 26.75, 8.5]", '"middle" and "rear" are at the same point'),
    ("mid = [5, '25 1/2\"', 8]", "mid = [5, [], 8]", "must be a length; got \\[\\]"),
    (
        "[hoop.right]\nbelt = [0",
        "[hoop.rigth]\nbelt = [0",
        'hoop "front" has the unknown key "rigth".*mean "right"',
    ),
]
PANELS = [
    (
        "mid = { shoulder = [44, 14, 8], crown = [44.5, 0, 8] }\n",
        "",
        'panel "back" has no row "mid/shoulder"',
    ),
    (
        "crown = [44.5, 0, 8]",
        "crown = [44.5, 2, 8]",
        'panel "back", right, row "mid/crown" must lie on the centre plane',
    ),
    (
        "shoulder = [44, 14, 8]",
        "shoulder = [44, -14, 8]",
        'panel "back", right, row "mid/shoulder" must have a positive y',
    ),
    ('[[panel]]\nname = "back"', '[[panel]]\nname = "rear"', 'panel "rear" must be called front or back'),
    ('[[panel]]\nname = "back"', '[[panel]]\nname = "front"', 'panel "front" is given twice'),
]
OPENINGS = [
    (
        'name = "door glass"\nrole',
        'name = "door glass"\nroll',
        'opening "door glass" has the unknown key "roll".*"role"',
    ),
    (
        'role = "side glass"',
        'role = "hatch"',
        'opening "door glass" right, role must be windshield or rear window',
    ),
    ('role = "rear window"', 'role = "windshield"', "grid must be front or roof for a windshield"),
    ('view = "rear"', 'view = "side"', 'opening "rear glass" centre, view must be rear'),
    (
        'view = "rear"\nside = "centre"',
        'view = "rear"\nside = "right"',
        "must have y of 0 or more",
    ),
    (
        'grid = "side"\nview = "side"',
        'grid = "side"\nview = "side"\nside = "centre"',
        "side must be right or left",
    ),
    ("corners = [[9, 2, 1], [36, 2, 2], [35, 13, 2.5], ", "corners = [[9, 2], ", "at least 3 corners; got 2"),
    ("[36, 2, 2]", "[36]", r'opening "door glass", corner 2 must be \[across, up, radius\]'),
    ("[36, 2, 2]", "[36, 2, 14]", "radii of corners .* must fit on the edge between them"),
    ("[36, 2, 2]", "[36, 2, -2]", "corner 2: the radius must not be negative"),
    ("[36, 2, 2], [35, 13, 2.5]", "[35, 13], [36, 2]", "must not cross itself; edges 1 and 3 do"),
    ("[36, 2, 2]", "[9, 2, 2]", "corners 1 and 2 are the same point"),
    (
        "[36, 2, 2], [35, 13, 2.5]",
        "[36, 2], [35, 2], [34, 2], [36, 13]",
        "must not fold back on itself; corner 2 does",
    ),
    (
        "[[1, 3, 1], [19, 3",
        "[[-5, 3, 1], [19, 3",
        'opening "windshield pane" right must have y of 0 or more; got -5"',
    ),
    ('name = "door glass"', 'name = "windshield pane"', 'opening "windshield pane right" is given twice'),
]
POSTS = [
    (
        "cut_at = 5\ncut_to = 13",
        "cut_at = 5\ncut_to = 40",
        'post "A" right, cut_to must be where the post has metal, between z',
    ),
    ("cut_at = 5\ncut_to = 13", "cut_at = 14\ncut_to = 13", 'post "A" right: cut_at must be below cut_to'),
    ("cut_from = 3\n", "", 'post "A" must give "cut_from"; it is missing'),
    ('[10.5, "22-1/2", 15.5]]', '[10.5, "22-1/2", -1]]', "axis must go up from point to point; point 1"),
    (
        '[[1, "25-1/4", 0], [10.5, "22-1/2", 15.5]]',
        "[[1, 25.25, 0]]",
        "axis must have at least 2 points; got 1",
    ),
    ('[[1, "25-1/4", 0]', "[[1, -25.25, 0]", 'post "A" right, axis point 1 must have a positive y'),
    (
        "axis = [[-2, 0, 0]",
        "axis = [[-2, 1, 0]",
        'post "divider" centre, axis point 1 must have y = 0 within the tape',
    ),
    (
        'width = 2\ndepth = "2-1/4"\nwall = "1.2 mm"',
        'width = 2\ndepth = "2-1/4"\nwall = 1',
        "wall must be less than half",
    ),
    ("width = 3", "width = 0", "width must be more than 0"),
    ('name = "B"', 'name = "B.2"', 'must have no "." or "=" in its name'),
    ('name = "B"', 'name = "B"\nside = "port"', "the side must be right or left or centre"),
    ("axis = [[1,", 'side = "left"\naxis = [[1,', 'post "A" left, axis point 1 must have a negative y'),
    (
        "axis = [[41, 25, 0], [40.5, 24, 8], [39.5, 22, 15.5]]",
        "axis = [[-9, 25, 0], [9, 22, 15.5]]",
        "begin with the A-posts",
    ),
    ('name = "B"', 'name = "A"', 'post "A right" is given twice'),
]
KEEP_OUTS = [
    (
        'shape = "sphere"',
        'shape = "ball"',
        'keep_out "driver\'s head", shape must be box, cylinder, sphere; got "ball"',
    ),
    ('shape = "sphere"', 'shape = "box"', "a box must give its size"),
    ("radius = 4", "radius = 4\nto = [1, 2, 3]", "a sphere has no to"),
    ("to = [36, 18, 12]", "to = [36, -18, 12]", 'keep_out "roll bar" must have sizes of more than 0'),
    ("radius = 4", "radius = -4", "must have sizes of more than 0"),
]


@pytest.mark.parametrize(("old", "new", "rule"), HEAD + HOOPS + PANELS + OPENINGS + POSTS + KEEP_OUTS)
def test_a_car_that_cannot_be_right_is_refused(old, new, rule, tmp_path):
    with pytest.raises(MeasureError, match=rule) as refused:
        car_from_text(changed(old, new), tmp_path)
    assert str(refused.value).startswith(f"{tmp_path / 'cab.toml'}: ")
    assert refused.value.next_step


def test_hoops_that_cross_in_side_view_are_refused(car):
    """Every row runs rearward, yet the rear hoop climbs through the front one."""
    front, _, rear = car.hoops
    steep = ((25.4, 660.0, -25.4), (140.0, 635.0, 406.0), *rear.right_mm[2:])
    with pytest.raises(
        MeasureError, match='"front" and "rear" cross, seen from the right, between the rows "belt"'
    ):
        check_car(replace(car, hoops=(front, replace(rear, right_mm=steep))))


def test_a_car_made_in_code_is_held_to_the_same_rules(car):
    hoop = car.hoops[0]
    nan = replace(hoop, right_mm=((float("nan"), 600.0, 0.0), *hoop.right_mm[1:]))
    with pytest.raises(MeasureError, match=r'hoop "front".*right.* must be finite'):
        check_car(replace(car, hoops=(nan, *car.hoops[1:])))
    short = replace(hoop, right_mm=hoop.right_mm[:-1])
    with pytest.raises(MeasureError, match='hoop "front" must have a point for each of the 5 rows; got 4'):
        check_car(replace(car, hoops=(short, *car.hoops[1:])))
    with pytest.raises(MeasureError, match="at least 2 hoops"):
        check_car(replace(car, hoops=car.hoops[:1]))
    with pytest.raises(MeasureError, match="must have a windshield"):
        check_car(replace(car, openings=car.openings[1:]))
    with pytest.raises(MeasureError, match="exactly one rear window; got 0"):
        check_car(replace(car, openings=car.openings[:-1]))
    with pytest.raises(MeasureError, match="it has no back panel"):
        check_car(replace(car, panels=car.panels[:1]))
    with pytest.raises(MeasureError, match="must have posts"):
        check_car(replace(car, posts=()))
    with pytest.raises(MeasureError, match="only the left is given"):
        left = car.all_posts()[3]
        check_car(replace(car, posts=(car.posts[0], left)))


BAD_FILES = [
    (b"", "must not be empty. Perhaps it was never finished"),
    (b"  \n\n", "must not be empty"),
    (b'name = "caf\xe9"\n', "line 1 must be UTF-8 text; byte 0xe9 is not"),
    (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "line 1 must be UTF-8 text; byte 0x89"),
    (b"name = 1\0\0\0", "must be text; it holds binary data"),
    ("name = 'cab'".encode("utf-16"), "must be UTF-8 text; it is UTF-16"),
    (
        TINY_CAR_TOML.split("gutter =")[0].encode() + b"gutter = [1, 2",
        "line 18, the last, must be complete.*half-written",
    ),
    (b'name = "cab', "line 1, the last, must be complete"),
    (b'name = "cab"\nrows = belt\n', r"must be TOML: .*line 2.*Compare that line"),
    (b'name = "cab"\nname = "cab"\n', "must be TOML: .*line 2"),
    (b"a = " + b"[" * 5000, "nested so deeply"),
    (b"#" * (LARGEST_BYTES + 1), "must be at most 5,000,000 bytes"),
]


@pytest.mark.parametrize(("content", "rule"), BAD_FILES)
def test_a_file_that_is_no_car_is_refused(content, rule, tmp_path, car):
    path = tmp_path / "odd.toml"
    path.write_bytes(content)
    for read in (read_car, lambda p: read_plan(p, car)):
        with pytest.raises(FileRefused, match=rule) as refused:
            read(path)
        assert str(refused.value).startswith(f"{path}: ")
        assert refused.value.next_step


def test_a_car_file_cut_off_anywhere_is_one_clear_refusal(tmp_path):
    """Wherever a copy stopped, no other error than ours comes out."""
    for end in range(0, len(TINY_CAR_TOML) - 200, 37):
        with pytest.raises(RoofError, match=r"cab.toml: "):
            car_from_text(TINY_CAR_TOML[:end], tmp_path)


def test_missing_files_and_folders_are_refused(tmp_path):
    with pytest.raises(FileRefused, match=r"none.toml: is not there. Check the name"):
        read_car(tmp_path / "none.toml")
    with pytest.raises(FileRefused, match="must be a file; it is a folder"):
        read_car(tmp_path)
    with pytest.raises(FileRefused, match=r"points.csv: is not there"):
        head, rest = TINY_CAR_TOML.split("[[hoop]]", 1)
        car_from_text(head + 'hoop_table = "points.csv"\n' + rest[rest.index("[[opening]]") :], tmp_path)
    with pytest.raises(MeasureError, match='hoop_table must be the only place for hoops; "front"'):
        car_from_text(changed("[[hoop]]", 'hoop_table = "points.csv"\n[[hoop]]'), tmp_path)
    with pytest.raises(FileRefused, match=r"cannot be read|is not there"):
        read_car("bad\0name.toml")


@pytest.mark.parametrize(
    ("old", "new", "rule"),
    [
        (
            "hoop,row,side,x,y,z",
            "hoop,row,side,x,y",
            'table.csv, line 1 must have the column "z" once; got 0',
        ),
        ("hoop,row,side", "hoop,line,side", 'line 1 has the unknown column "line"'),
        (
            "front,mid,right,5,25 1/2,8",
            "front,mid,right,5,25 1/2",
            "line 3 must have 6 cells; got 5.*half-written",
        ),
        (
            "front,mid,right,5,25 1/2,8",
            "front,mid,right,5,8-Mar,8",
            "line 3, y must be a length; got '8-Mar'.*spreadsheet",
        ),
        ("front,mid,right,5,25 1/2,8", "front,mid,right,5,,8", "line 3, y must not be empty"),
        (
            "front,mid,right,5,25 1/2,8",
            "front,midd,right,5,25,8",
            'line 3 has the unknown row "midd".*mean "mid"',
        ),
        (
            "front,mid,right,5,25 1/2,8",
            "front,mid,starboard,5,25,8",
            "line 3 must have the side right or left",
        ),
        ("front,mid,right,5,25 1/2,8", ",mid,right,5,25,8", "line 3 must name its hoop"),
        ("front,mid,right,5,25 1/2,8\n", "", 'table.csv, hoop "front" has no row "mid" on the right'),
        ("front,mid,right", "front,belt,right", 'line 3 gives front, row "belt", right a second time'),
        ("back,mid/crown", "tail,mid/crown", "a panel must be front or back; got 'tail'"),
        ("back,mid/crown", "back,mid/gutter", 'unknown row "gutter"'),
        ("back,mid/crown", "back,mid/crown/x", "must have a row such as belt/crown"),
        (
            "middle,belt,right,20,",
            "middle,belt,right,50,",
            'table.csv: hoops "front", "middle" and "rear" cross',
        ),
    ],
)
def test_a_hoop_table_that_cannot_be_right_is_refused(car, old, new, rule):
    table = hoop_table_csv(car)
    assert old in table
    with pytest.raises(MeasureError, match=rule):
        car_with_hoop_table(car, table.replace(old, new, 1), "table.csv")


def test_an_empty_hoop_table_is_refused(car):
    with pytest.raises(MeasureError, match=r"table.csv must not be empty"):
        car_with_hoop_table(car, "\n", "table.csv")


def test_a_plan_from_another_car_is_neither_read_nor_written(car, tmp_path):
    (tmp_path / "plan.toml").write_text(TINY_PLAN_TOML.replace("tiny cab", "other"), encoding="utf-8")
    with pytest.raises(PlanError, match=r'car in .*plan.toml must be "tiny cab", .*got "other". Take a plan'):
        read_plan(tmp_path / "plan.toml", car)
    with pytest.raises(PlanError, match="must name a post of this car"):
        write_plan(Plan(cuts=(PostCut(post="Q"),)), car, tmp_path / "plan.toml")
    assert "other" in (tmp_path / "plan.toml").read_text(encoding="utf-8")


def test_a_car_that_would_be_refused_is_not_written(car, tmp_path):
    with pytest.raises(MeasureError, match="gauge must be between"):
        write_car(replace(car, gauge_mm=22.0), tmp_path / "new.toml")
    assert not (tmp_path / "new.toml").exists()
