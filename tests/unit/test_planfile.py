"""A plan file holds what was decided; settings change it one by one."""

import json
import tomllib

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sample_cars import TINY_CAR_TOML, TINY_PLAN_TOML

from model.carfile import read_car
from model.errors import PlanError
from model.files import packaged_schema
from model.plan import WAYS, GivenPlane, NewMetal, Plan, PostCut, PostShift, RoofMove, RoofSplit, WindowMove
from model.plandict import plan_from_dict, plan_to_dict
from model.planfile import plan_toml, read_plan, write_plan
from model.plansettings import SETTINGS, plan_with_settings

TINY_PLAN = Plan(
    car="tiny cab",
    name="forward and pitched",
    roof=RoofMove(front_drop_mm=57.15, rear_drop_mm=76.2),
    window=WindowMove(forward_mm=76.2, lay_down_deg=4.5),
    cuts=(
        PostCut(post="B", height_mm=127.0, plane="square"),
        PostCut(post="A", side="left", plane=GivenPlane(rises_rearward_deg=5.0, rises_inboard_deg=-2.5)),
    ),
    shifts=(PostShift(post="B"),),
    kerf_mm=1.5875,
    root_gap_mm=0.79375,
)
POST_SIDES = [("A", None), ("A", "left"), ("B", "right"), ("B", None), ("divider", "centre")]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("plans")


@pytest.fixture(scope="module")
def car(folder):
    (folder / "car.toml").write_text(TINY_CAR_TOML, encoding="utf-8")
    return read_car(folder / "car.toml")


def plan_from_text(text, car, folder):
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    return read_plan(folder / "plan.toml", car)


def test_what_was_decided_is_read(car, folder):
    assert plan_from_text(TINY_PLAN_TOML, car, folder) == TINY_PLAN


def test_a_written_plan_reads_back_the_same(car, folder):
    write_plan(TINY_PLAN, car, folder / "again.toml")
    assert read_plan(folder / "again.toml", car) == TINY_PLAN
    assert 'front_drop = "2-1/4"' in (folder / "again.toml").read_text(encoding="utf-8")


def test_an_empty_plan_is_the_car_as_it_stands(car, folder):
    assert plan_from_text("# nothing yet\n", car, folder) == Plan()
    write_plan(Plan(), car, folder / "stock.toml")
    assert read_plan(folder / "stock.toml", car) == Plan()


lengths = st.floats(-300, 300).map(lambda value: round(value, 6))
small = st.floats(0, 10)
planes = st.sampled_from([None, "level", "square"]) | st.builds(
    GivenPlane, rises_rearward_deg=st.floats(-80, 80), rises_inboard_deg=st.floats(-80, 80)
)
plans = st.builds(
    Plan,
    car=st.sampled_from(["", "tiny cab"]),
    name=st.sampled_from(["a", 'two "words"', "½ off\\"]),
    roof=st.none()
    | st.builds(
        RoofMove,
        front_drop_mm=lengths,
        rear_drop_mm=lengths,
        fore_aft=st.sampled_from(["along-windshield", "straight-down"]) | lengths,
    ),
    window=st.none()
    | st.builds(
        WindowMove,
        forward_mm=st.just("fit") | lengths,
        down_mm=st.none() | st.just("fit") | lengths,
        lay_down_deg=st.just("fit") | st.floats(-90, 90),
        proud_mm=lengths,
        sink_mm=st.none() | lengths,
        flange_mm=st.floats(0, 300),
    ),
    cut=st.sampled_from(["level", "square"]),
    cuts=st.lists(
        st.builds(
            lambda place, height, plane: PostCut(post=place[0], side=place[1], height_mm=height, plane=plane),
            st.sampled_from(POST_SIDES),
            st.none() | st.floats(80, 325),
            planes,
        ),
        max_size=4,
    ).map(tuple),
    shifts=st.lists(
        st.builds(
            lambda place, by: PostShift(post=place[0], side=place[1], by=by),
            st.sampled_from(POST_SIDES),
            st.just("line-up") | lengths,
        ),
        max_size=3,
    ).map(tuple),
    kerf_mm=small,
    root_gap_mm=small,
)
apart = st.just("meet") | st.floats(0, 300).map(lambda value: round(value, 6))
splits = st.builds(RoofSplit, spread_mm=apart, lengthen_mm=st.none() | apart) | st.builds(
    RoofSplit, lengthen_mm=apart, across_at_mm=st.none() | st.floats(280, 1016)
)
plans = plans | st.builds(
    lambda plan, roof, split, way: plan.changed(roof=roof, split=split, way=way),
    plans,
    st.builds(RoofMove, front_drop_mm=lengths, rear_drop_mm=lengths),
    splits,
    st.sampled_from(["", *WAYS]),
)


@settings(max_examples=60, deadline=None)
@given(plan=plans)
def test_any_plan_means_the_same_after_writing_and_reading(car, folder, plan):
    write_plan(plan, car, folder / "any.toml")
    again = read_plan(folder / "any.toml", car)
    assert (again.car, again.name, again.cut) == (plan.car, plan.name, plan.cut)
    assert again.kerf_mm == pytest.approx(plan.kerf_mm, abs=1e-9)
    for part in ("roof", "window"):
        old, new = plan_to_dict(plan)[part], plan_to_dict(again)[part]
        assert new == (old and pytest.approx(old, abs=1e-9))
    assert again.way == plan.way
    old, new = plan_to_dict(plan)["split"], plan_to_dict(again)["split"]
    assert (old is None) == (new is None)
    for name, value in (old or {}).items():
        assert new[name] == (pytest.approx(value, abs=1e-9) if isinstance(value, float) else value)
    for post in car.all_posts():
        old, new = plan.cut_of(post.name, post.side), again.cut_of(post.name, post.side)
        assert new.plane == old.plane
        assert new.height_mm == (old.height_mm and pytest.approx(old.height_mm, abs=1e-9))
        old, new = plan.shift_of(post.name, post.side), again.shift_of(post.name, post.side)
        assert new == (old if old is None or isinstance(old, str) else pytest.approx(old, abs=1e-9))
    jsonschema.validate(tomllib.loads(plan_toml(plan, car.unit)), packaged_schema("plan"))


@settings(max_examples=60, deadline=None)
@given(plan=plans)
def test_any_plan_survives_json(plan):
    assert plan_from_dict(json.loads(json.dumps(plan_to_dict(plan)))) == plan


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"kerf": 1}, 'plan has the unknown key "kerf".*Did you mean "kerf_mm"'),
        ({"kerf_mm": "wide"}, "plan.kerf_mm must be a finite number; got 'wide'"),
        ({"kerf_mm": None}, "plan.kerf_mm must be a finite number"),
        ({"kerf_mm": float("nan")}, "must be a finite number"),
        ({"roof": {"front_drop": 1}}, "plan.roof has the unknown key"),
        ({"cuts": [{}]}, 'plan.cuts 1 must give "post"'),
        ({"cuts": "B"}, "plan.cuts must be a list"),
        ({"window": 3}, "plan.window must be an object"),
        ({"cut": "sideways"}, "cut must be level or square"),
        ({"shifts": [{"post": "B", "by": "up"}]}, "shift.B must be line-up"),
    ],
)
def test_dicts_that_are_no_plan_are_refused(change, rule):
    with pytest.raises(PlanError, match=rule):
        plan_from_dict({**plan_to_dict(TINY_PLAN), **change})


@pytest.mark.parametrize(
    ("setting", "expected"),
    [
        ("front_drop=2", {"roof": RoofMove(front_drop_mm=50.8, rear_drop_mm=76.2)}),
        ("rear_drop = 50 mm", {"roof": RoofMove(front_drop_mm=57.15, rear_drop_mm=50.0)}),
        (
            "fore_aft=straight-down",
            {"roof": RoofMove(front_drop_mm=57.15, rear_drop_mm=76.2, fore_aft="straight-down")},
        ),
        ("fore_aft=1-1/2", {"roof": RoofMove(front_drop_mm=57.15, rear_drop_mm=76.2, fore_aft=38.1)}),
        ("window_forward=4", {"window": WindowMove(forward_mm=101.6, lay_down_deg=4.5)}),
        ("window_down=1", {"window": WindowMove(forward_mm=76.2, lay_down_deg=4.5, down_mm=25.4)}),
        ("window_down=auto", {"window": WindowMove(forward_mm=76.2, lay_down_deg=4.5)}),
        ("window_forward=fit", {"window": WindowMove(forward_mm="fit", lay_down_deg=4.5)}),
        ("window_down=FIT", {"window": WindowMove(forward_mm=76.2, lay_down_deg=4.5, down_mm="fit")}),
        ("lay_down=fit", {"window": WindowMove(forward_mm=76.2, lay_down_deg="fit")}),
        (
            "window_proud=-1/16",
            {"window": WindowMove(forward_mm=76.2, lay_down_deg=4.5, proud_mm=-1.5875)},
        ),
        ("window_sink=1", {"window": WindowMove(forward_mm=76.2, lay_down_deg=4.5, sink_mm=25.4)}),
        ("window_sink=none", {"window": WindowMove(forward_mm=76.2, lay_down_deg=4.5)}),
        ("lay_down=6°", {"window": WindowMove(forward_mm=76.2, lay_down_deg=6.0)}),
        ("flange=1", {"window": WindowMove(forward_mm=76.2, lay_down_deg=4.5, flange_mm=25.4)}),
        ("kerf=1/8", {"kerf_mm": 3.175}),
        ("root_gap=0", {"root_gap_mm": 0.0}),
        ("name=second try", {"name": "second try"}),
        ("cut=square", {"cut": "square", "cuts": (PostCut(post="B", height_mm=127.0),)}),
    ],
)
def test_one_setting_changes_one_thing(car, setting, expected):
    assert plan_with_settings(TINY_PLAN, [setting], car) == TINY_PLAN.changed(**expected)


def test_settings_start_a_roof_and_a_window_where_the_plan_has_none(car):
    plan = plan_with_settings(Plan(), ["front_drop=2-1/4", "lay_down=4"], car)
    assert plan.roof == RoofMove(front_drop_mm=57.15)
    assert plan.window == WindowMove(lay_down_deg=4.0)


def test_post_settings_apply_to_both_sides_or_one(car):
    plan = plan_with_settings(
        Plan(), ["cut.B.left=square", "cut_height.B=5", "cut_height.B.right=6", "shift.B=line-up"], car
    )
    assert plan.cut_of("B", "left") == PostCut(post="B", side="left", height_mm=127.0, plane="square")
    assert plan.cut_of("B", "right").height_mm == pytest.approx(152.4)
    plan = plan_with_settings(plan, ["cut.B=level", "cut_height.B=4", "shift.B.left=none"], car)
    assert {plan.cut_of("B", side) for side in ("left", "right")} == {
        PostCut(post="B", side=side, height_mm=101.6, plane="level") for side in ("left", "right")
    }
    assert (plan.shift_of("B", "left"), plan.shift_of("B", "right")) == (0.0, "line-up")
    assert plan_with_settings(plan, ["shift.B=none"], car).shifts == ()


@pytest.mark.parametrize(
    ("setting", "rule"),
    [
        ("front_dorp=2", 'front_dorp is not a setting of a plan. Did you mean "front_drop"'),
        ("wheels=4", "wheels is not a setting of a plan.*choices are: name, front_drop"),
        ("front_drop", "front_drop must be typed name=value"),
        ("front_drop=", "front_drop must be typed name=value"),
        ("front_drop=low", "front_drop must be a length; got 'low'"),
        ("front_drop=nan", "front_drop must be a length"),
        ("rear_drop=99 ft", "rear_drop must be at most 10 m"),
        ("fore_aft=sideways", "fore_aft must be a length.*Or one of: along-windshield, straight-down"),
        ("lay_down=100", "lay_down must be between -90 and 90 degrees"),
        ("cut=oblique", 'cut must be level or square; got "oblique"'),
        ("cut.B=sqare", 'cut.B must be level or square.*Did you mean "square"'),
        ("cut.Q=level", 'cut.Q must name a post of this car; got "Q". The choices are: A, B, divider'),
        ("cut.B.middle=level", 'cut.B.middle must end in a side; got "middle"'),
        ("cut.divider.left=level", "cut.divider.left must name a side on which post"),
        ("cut_height.B=45", r'cut_height.B must be between 2" .* and 14" .* on this car; got 45"'),
        ("shift.Q=1", "shift.Q must name a post"),
        ("kerf=-1", 'kerf must be between 0" .* on this car'),
        ("flange=2 ft", "flange must be between"),
    ],
)
def test_settings_that_cannot_be_are_refused(car, setting, rule):
    with pytest.raises(PlanError, match=rule):
        plan_with_settings(Plan(), [setting], car)


def test_a_refused_height_carries_its_limit(car):
    with pytest.raises(PlanError) as refused:
        plan_with_settings(Plan(), ["cut_height.B=45"], car)
    assert (refused.value.parameter, refused.value.limit_mm) == ("cut_height.B", pytest.approx(355.6))


def test_every_setting_is_listed_once():
    assert len(SETTINGS) == 28


@pytest.mark.parametrize(
    ("old", "new", "rule"),
    [
        ("[roof]", "[rooof]", 'the top of the file in .*plan.toml has the unknown key "rooof".*mean "roof"'),
        ("front_drop", "frontdrop", 'roof in .*plan.toml has the unknown key "frontdrop".*mean "front_drop"'),
        ("rear_drop = 3\n", "", 'roof in .*plan.toml must give "rear_drop"; it is missing'),
        ("rear_drop = 3", 'rear_drop = "low"', "roof, rear_drop in .*plan.toml must be a length; got 'low'"),
        ("forward = 3", "forward = nan", "window, forward in .*plan.toml must be a finite length"),
        ("lay_down = 4.5", 'lay_down = "flat"', "window, lay_down in .*plan.toml must be an angle"),
        ('down = "auto"', 'down = "far"', "window, down .* must be a length.*Or one of: auto"),
        ('cut = "square"', 'cut = "sqare"', 'post "B", cut .* must be level, square, or .*mean "square"'),
        ("rises_rearward = 5", "rises_rearward = 85", "cut.A.left in .* must rise by at most 80 degrees"),
        ("rises_rearward = 5", "rises_up = 5", 'post "A" left, cut .* has the unknown key "rises_up"'),
        ('name = "B"', 'name = "C"', 'cut.C in .*plan.toml must name a post of this car; got "C"'),
        ("cut_height = 5", "cut_height = 40", "cut_height.B in .*plan.toml must be between"),
        (
            'side = "left"',
            'side = "port"',
            "post \"A\", side in .* must be one of right, left, centre; got 'port'",
        ),
        ('side = "left"', 'side = "centre"', 'cut.A.centre .* must name a side on which post "A" is'),
        ('name = "A"\nside = "left"', 'name = "B"', 'post "B" in .* must be given once'),
        ('car = "tiny cab"', 'car = "another"', 'car in .*plan.toml must be "tiny cab".*got "another"'),
        ('car = "tiny cab"', "schema = 7", "schema in .*plan.toml must be one of 1; got 7"),
        ("[roof]", "roof = 3\n[other]", "roof in .*plan.toml must be a table|unknown key"),
    ],
)
def test_plan_files_that_cannot_be_are_refused(car, folder, old, new, rule):
    text = TINY_PLAN_TOML.replace(old, new, 1)
    assert text != TINY_PLAN_TOML
    with pytest.raises(PlanError, match=rule):
        plan_from_text(text, car, folder)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("[roof]", "[rooof]"),
        ("rear_drop = 3\n", ""),
        ("rear_drop = 3", 'rear_drop = "low"'),
        ('cut = "square"', 'cut = "sqare"'),
        ("lay_down = 4.5", 'lay_down = "flat"'),
        ('side = "left"', 'side = "port"'),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(car, folder, old, new):
    schema = jsonschema.Draft202012Validator(packaged_schema("plan"))
    schema.check_schema(schema.schema)
    assert not list(schema.iter_errors(tomllib.loads(TINY_PLAN_TOML)))
    assert list(schema.iter_errors(tomllib.loads(TINY_PLAN_TOML.replace(old, new, 1))))


@pytest.mark.parametrize(("text", "depth"), [("auto", None), ("1/2", 12.7), ("0", 0.0)])
def test_cut_back_is_a_length_or_auto_in_file_and_settings(car, folder, text, depth):
    plan = plan_with_settings(TINY_PLAN, ["new_metal=yes", f"cut_back={text}"], car)
    assert plan.new_metal == NewMetal(cut_back_mm=depth)
    write_plan(plan, car, folder / "cut_back.toml")
    assert read_plan(folder / "cut_back.toml", car).new_metal == plan.new_metal
    jsonschema.validate(tomllib.loads(plan_toml(plan, car.unit)), packaged_schema("plan"))
    with pytest.raises(PlanError, match='cut_back must be between 0" .* and 3" .* on this car; got 4"'):
        plan_with_settings(plan, ["cut_back=4"], car)
