"""The notebook's preview without a browser: a slider's value makes a plan, a picture and numbers."""

import html
import re
from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("anywidget")

from model.carfile import demo_plan_path
from model.comparison import STOCK_PLACE, with_window_in_stock_place
from model.display import POST, patches_of
from model.evaluate import build_checked, evaluate
from model.layout import BODY, METAL
from model.occupant import driver_eye_mm
from model.output.cells import length_cell
from model.output.comparison import comparison_html
from model.output.html import BEING_WORKED_OUT, OF_THE_OPEN_ROOF, headline_html
from model.output.sureness import spread_cell
from model.plan import Plan
from model.preview import Preview
from model.tapereport import PlusMinus, Uncertainty
from model.uncertainty import headline_numbers

SIXTEENTH_MM = 25.4 / 16


@pytest.fixture(scope="module")
def coupe():
    return Preview("coupe")


@pytest.fixture
def shown(coupe):
    coupe.load_plan(_shipped_plan("coupe"))
    return coupe


@pytest.fixture
def moving(monkeypatch):
    """As while a slider moves: what comes at rest, a second of processor at every change, never comes."""
    monkeypatch.setattr(Preview, "_afterwards", lambda self, *work: None)


def _shipped_plan(name):
    return demo_plan_path(name)


def test_a_slider_makes_a_new_plan_new_numbers_and_a_new_picture(shown):
    dial = shown.controls.dials["front_drop"]
    before = shown.plan, shown.headline.value, shown.silhouette.value, shown.posts.value
    roof = shown.view.upper_shell
    dial.slider.value += 1
    assert shown.plan.roof.front_drop_mm == pytest.approx(before[0].roof.front_drop_mm + SIXTEENTH_MM)
    assert dial.text.value == '2-5/16"'
    assert (shown.headline.value, shown.silhouette.value, shown.posts.value) != before[1:]
    assert shown.view.upper_shell["position"] != roof["position"]
    assert shown.report.plan["roof"]["front_drop_mm"] == shown.plan.roof.front_drop_mm


def test_headline_numbers_have_their_plus_minus_once_it_is_known(shown):
    assert shown.headline.value.count(BEING_WORKED_OUT) == 6  # roof, windshield, headroom, weld, gap, lap
    names = headline_numbers(shown.built)
    numbers = [
        PlusMinus(where=where, what=what, value=value, plus_minus=0.9 + i / 7, unit="mm")
        for i, ((where, what), value) in enumerate(names.items())
    ]
    known = Uncertainty(numbers=tuple(numbers), take_again=())
    page = headline_html(replace(shown.report, uncertainty=known))
    assert BEING_WORKED_OUT not in page and page.count("± at 95 %") == 6
    spread = spread_cell(known.of("driver's seat", "headroom"), "in")
    assert re.search(rf"Headroom.*?± {html.escape(spread)}</small>", page)
    assert known.of("roof", "height").value == pytest.approx(shown.report.totals.height_after_mm)
    shown.controls.dials["front_drop"].slider.value += 1
    assert shown.headline.value.count(BEING_WORKED_OUT) == 6  # none is left of the plan before


def test_a_plus_minus_of_another_number_is_not_shown(shown):
    """Of the open roof: the weld of the closed one is another number, its ± too."""
    totals = shown.report.totals
    number = PlusMinus(where="all seams", what="weld", value=totals.weld_mm, plus_minus=9.0, unit="mm")
    for off_mm, count in ((0.0, 1), (25.0, 0)):
        known = Uncertainty(numbers=(replace(number, value=totals.weld_mm + off_mm),), take_again=())
        page = headline_html(replace(shown.report, uncertainty=known), "not this one")
        assert page.count("± at 95 %") == count and page.count("not this one") == 5
        assert page.count(OF_THE_OPEN_ROOF) == 1 - count


def test_what_does_not_move_is_not_sent_again(shown):
    sent = []
    shown.view.observe(lambda change: sent.append(change["name"]))
    shown.controls.dials["front_drop"].slider.value += 1
    assert sorted(sent) == ["edges", "notes", "seams", "upper_panes", "upper_shell"]


@pytest.mark.usefixtures("moving")
def test_a_length_can_be_typed_exactly(shown):
    shown.controls.dials["rear_drop"].text.value = "70 mm"
    assert shown.plan.roof.rear_drop_mm == pytest.approx(70.0)
    shown.controls.dials["front_drop"].slider.value += 1
    assert shown.plan.roof.rear_drop_mm == pytest.approx(70.0)  # not rounded to a sixteenth


@pytest.mark.usefixtures("moving")
def test_a_refused_value_says_why_and_keeps_the_last_good_plan(shown):
    plan, headline = shown.plan, shown.headline.value
    shown.set("rear_drop=300 mm")
    assert shown.plan is plan and shown.headline.value == headline
    assert "rear_drop must be" in shown.status.value and "last plan that works" in shown.status.value
    shown.controls.dials["rear_drop"].text.value = "2-1/2"
    assert shown.plan.roof.rear_drop_mm == pytest.approx(63.5)
    assert "must be" not in shown.status.value


@pytest.mark.usefixtures("moving")
def test_text_that_is_no_length_is_refused_in_the_status_line(shown):
    plan = shown.plan
    shown.controls.dials["front_drop"].text.value = "two inches"
    assert shown.plan is plan
    assert "must be a length" in shown.status.value


@pytest.mark.usefixtures("moving")
def test_the_measured_car_is_judged_on_loading_whatever_the_plan(shown):
    assert shown.plan.roof is not None and "left and right differ" in shown.measures.value
    before = shown.measures.value
    shown.controls.dials["front_drop"].slider.value += 1
    assert shown.measures.value is before
    shown.choose_car("pickup")
    assert "Nothing to measure again." in shown.measures.value
    shown.choose_car("coupe")


@pytest.mark.usefixtures("moving")
def test_limits_come_from_the_car(shown):
    dial = shown.controls.dials["cut_height.B"]
    post = next(p for p in shown.car.posts if p.name == "B")
    assert dial.slider.min * SIXTEENTH_MM == pytest.approx(post.cut_from_mm, abs=SIXTEENTH_MM)
    assert dial.slider.max * SIXTEENTH_MM == pytest.approx(post.cut_to_mm, abs=SIXTEENTH_MM)


@pytest.mark.usefixtures("moving")
def test_words_and_lengths(shown):
    choice = shown.controls.words["fore_aft"].choice
    choice.value = "straight-down"
    assert shown.plan.roof.fore_aft == "straight-down"
    choice.value = "a length"
    assert isinstance(shown.plan.roof.fore_aft, float)
    shown.controls.words["shift.B"].choice.value = "none"
    assert shown.plan.shift_of("B", "right") is None
    own = {"fore_aft", "window_forward", "window_down", "lay_down", "shift.B"}  # only B can slide
    assert set(shown.controls.words) == own


@pytest.mark.usefixtures("moving")
def test_a_fitted_window_starts_a_typed_one_from_where_it_is(shown):
    word = shown.controls.words["lay_down"]
    word.choice.value = "fit"
    assert shown.plan.window.lay_down_deg == "fit" and shown.report.window.fit.free == ("lay_down",)
    solved = shown.built.window.lay_down_deg
    shown.controls.show(shown.plan, shown.built)
    word.choice.value = "a length"
    assert shown.plan.window.lay_down_deg == pytest.approx(solved, abs=1e-12)
    assert shown.report.window.fit is None


@pytest.mark.usefixtures("moving")
def test_back_to_stock_and_the_window_left_in(shown):
    shown.controls.window_out.value = False
    assert shown.plan.window is None
    shown.back_to_stock()
    assert shown.plan.roof is None and shown.plan.window is None
    assert shown.controls.dials["front_drop"].text.value == '0"'
    assert shown.view.seams == {"position": b""}


@pytest.mark.usefixtures("moving")
def test_a_part_of_the_picture_is_what_the_model_has(shown):
    """The upper shell's triangles, read back from the bytes, have the area of its patches in place."""
    built = shown.built
    patches = [p for p in patches_of(built) if p.carrier != BODY and p.role in (METAL, POST)]
    area = sum(_area_mm2(built.moves[p.carrier].points(p.point_mm), p.triangles) for p in patches)
    part = shown.view.upper_shell
    point = np.frombuffer(part["position"], np.float32).reshape(-1, 3).astype(float)
    normal = np.frombuffer(part["normal"], np.int8).reshape(-1, 3) / 127
    triangles = np.frombuffer(part["index"], np.uint32).reshape(-1, 3)
    assert _area_mm2(point, triangles) == pytest.approx(area, rel=1e-5)
    assert np.linalg.norm(normal, axis=1) == pytest.approx(1.0, abs=0.01)
    assert len(part["colour"]) == len(normal) * 3


def _area_mm2(point, triangles):
    a, b, c = point[triangles.T]
    return np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2


def test_every_place_that_can_be_chosen_is_named_and_has_its_numbers(shown):
    """What triangles belong to is what notes and rows of the tables are called."""
    view = shown.view
    parts = [getattr(view, part) for part in ("lower_shell", "upper_shell", "seams")]
    named = {name for part in parts for name, _ in part["names"]}
    assert {"roof", "body", "window panel", "B right", "window panel to roof"} <= named <= set(view.notes)
    rows = re.findall('<tr data-place="([^"]+)"', shown.seams.value + shown.posts.value)
    assert rows and set(rows) <= set(view.notes)
    assert all(part["names"][-1][1] == len(np.frombuffer(part["index"], np.uint32)) / 3 for part in parts)
    post = next(p for p in shown.report.posts if (p.post, p.side) == ("A", "right"))
    assert f"take out {length_cell(post.take_out_mm, 'in')}" in html.unescape(view.notes["A right"])


@pytest.mark.usefixtures("moving")
def test_the_driver_looks_from_the_eyes_of_the_seat(shown):
    shown.views.value = "driver's eye"
    assert shown.view.view["eye"] == driver_eye_mm(shown.car.seat_mm, shown.car.driver).tolist()
    shown.views.value = "three-quarter"
    assert "eye" not in shown.view.view
    shape = shown.built.shape
    shown.view.look_at(replace(shape, car=replace(shown.car, seat_mm=None)))
    assert "driver's eye" not in shown.view.names
    shown.view.look_at(shape)


@pytest.mark.usefixtures("moving")
def test_what_is_not_wanted_is_not_drawn(shown):
    shown.toggles["slugs"].value = True
    assert shown.view.slugs["position"]
    shown.toggles["slugs"].value = shown.toggles["ghost"].value = False
    assert {len(getattr(shown.view, name)["position"]) for name in ("slugs", "ghost", "ghost_edges")} == {0}
    shown.toggles["ghost"].value = True
    assert shown.view.ghost["position"]


def test_swiped_the_whole_car_before_is_drawn_and_no_ghost(shown):
    """What is drawn as before has the area of the stock car's own picture."""
    shown.way_of_before.value = "swipe"
    stock = build_checked(shown.car, Plan(car=shown.car.name))
    area = sum(_area_mm2(p.point_mm, p.triangles) for p in patches_of(stock) if p.role in (METAL, POST))
    assert shown.view.is_swiped and shown.view.ghost == {"position": b""}
    assert _area_of(shown.view.before_shell) == pytest.approx(area, rel=1e-5)
    shown.controls.dials["front_drop"].slider.value += 1
    assert _area_of(shown.view.before_shell) == pytest.approx(area, rel=1e-5)
    shown.way_of_before.value = "ghost"
    assert shown.view.before_shell == {"position": b""} and shown.view.ghost["position"]


def _area_of(part):
    point = np.frombuffer(part["position"], np.float32).reshape(-1, 3).astype(float)
    return _area_mm2(point, np.frombuffer(part["index"], np.uint32).reshape(-1, 3))


def test_another_plan_can_be_what_was_before(shown):
    """The rear window left where it was, as a ghost over the plan that moves it, and moving along with it."""
    ghost = shown.view.ghost
    shown.before.value = STOCK_PLACE
    roof = _top_mm(shown.view.ghost)
    assert shown.view.ghost != ghost and roof == pytest.approx(_top_mm(shown.view.upper_shell), abs=30)
    shown.controls.dials["front_drop"].slider.value += 8
    assert _top_mm(shown.view.ghost) < roof - 5  # that of the plan as it is now
    shown.before.value = "stock"
    assert shown.view.ghost == ghost


def _top_mm(part):
    return np.frombuffer(part["position"], np.float32).reshape(-1, 3)[:, 2].max()


def test_plans_are_kept_shown_and_deleted_by_name(shown):
    beside = shown.comparison
    shown.controls.dials["rear_drop"].text.value = "2-1/2"
    beside.name.value = "lower"
    beside.keep_button.click()
    assert shown.plan.name == "lower" and beside.kept.options == ("lower",)
    shown.back_to_stock()
    beside.show_button.click()
    assert shown.plan.roof.rear_drop_mm == pytest.approx(63.5)
    assert shown.controls.dials["rear_drop"].text.value == '2-1/2"'
    assert "lower" in shown.before.options and "lower" in beside.ticks
    beside.forget_button.click()
    assert beside.kept.options == () and "lower" not in shown.before.options and "lower" not in beside.ticks
    beside.keep_button.click()
    beside.name.value = "stock"
    beside.keep_button.click()
    assert "must not be" in shown.status.value and shown.comparison.kept.options == ("lower",)
    beside.forget_button.click()


def test_plans_side_by_side_follow_the_one_in_the_picture(shown):
    beside = shown.comparison
    beside.ticks[STOCK_PLACE].value = True
    assert len(beside.pictures.children) == 2
    mine, other = (box.children[1] for box in beside.pictures.children)
    assert mine.upper_shell == shown.view.upper_shell and mine.group == other.group
    assert other.upper_shell != mine.upper_shell and other.lower_shell["position"]
    table = beside.table.value
    shown.controls.dials["front_drop"].slider.value += 4
    report = evaluate(shown.car, shown.plan)
    assert beside.table.value != table and mine.upper_shell == shown.view.upper_shell
    left = evaluate(shown.car, with_window_in_stock_place(shown.plan))
    assert beside.table.value == comparison_html([report, left], ["in the picture", STOCK_PLACE])
    shown.views.value = "rear"
    assert mine.view == other.view == shown.view.view
    shown.controls.window_out.value = False  # now there is no stock place to hold against
    assert "Cut the rear window out first" in shown.status.value and not beside.ticks[STOCK_PLACE].value
    shown.views.value = "three-quarter"
    assert len(beside.pictures.children) == 0 and beside.table.value == ""


def test_no_more_pictures_than_can_be_seen(shown):
    beside = shown.comparison
    for name in ("a", "b"):
        beside.name.value = name
        beside.keep_button.click()
    for name in ("stock", STOCK_PLACE, "a", "b"):
        beside.ticks[name].value = True
    assert "must be at most 3 plans" in shown.status.value
    assert not beside.ticks["b"].value and len(beside.pictures.children) == 4
    shown.choose_car("pickup")
    assert len(beside.pictures.children) == 0 and beside.kept.options == ()
    shown.choose_car("coupe")
    assert beside.kept.options == ("a", "b")


@pytest.mark.usefixtures("moving")
def test_save_and_load(shown, tmp_path):
    path = tmp_path / "mine.toml"
    shown.controls.dials["front_drop"].slider.value += 3
    plan = shown.plan
    shown.save_plan(path)
    assert str(path) in shown.status.value
    shown.back_to_stock()
    shown.load_plan(path)
    assert shown.plan.roof == plan.roof
    shown.load_plan(tmp_path / "none.toml")
    assert "is not there" in shown.status.value and shown.plan.roof == plan.roof
    shown.save_plan(tmp_path / "no folder" / "a.toml")
    assert "folder" in shown.status.value


@pytest.mark.usefixtures("moving")
def test_undo_and_redo(shown):
    shown.undo_button.click()
    plans = [shown.plan]
    for setting in ("front_drop=50 mm", "kerf=2 mm"):
        shown.set(setting)
        plans.append(shown.plan)
    shown.undo_button.click()
    assert shown.plan == plans[1] and not shown.redo_button.disabled
    shown.undo_button.click()
    assert shown.plan == plans[0]
    shown.redo_button.click()
    shown.redo_button.click()
    assert shown.plan == plans[2] and shown.redo_button.disabled
    assert shown.controls.dials["kerf"].value == pytest.approx(2.0)


@pytest.mark.usefixtures("moving")
def test_undo_after_a_refusal_shows_the_plan_in_the_picture_again(shown):
    plan = shown.plan
    shown.set("rear_drop=300 mm")
    shown.undo_button.click()
    assert shown.plan == plan and "must be" not in shown.status.value
    assert shown.controls.dials["rear_drop"].value == pytest.approx(plan.roof.rear_drop_mm)


def test_the_last_plan_of_a_car_is_offered_when_it_is_opened_again(shown, monkeypatch):
    shown.set("rear_drop=61 mm")
    with monkeypatch.context() as moving:
        moving.setattr(Preview, "_afterwards", lambda self, *work: None)
        again, other = Preview("coupe"), Preview("pickup")
    assert again.plan.roof.rear_drop_mm != pytest.approx(61.0)
    again.set("rear_drop=55 mm")
    again.back_button.click()
    assert again.plan == shown.plan
    assert other.back_button.layout.display == "none"


@pytest.mark.usefixtures("moving")
def test_the_preview_tells_its_long_work_what_to_work_on(shown, tmp_path):
    row = shown.work.rows["write STEP"]
    assert row.path.value == "coupe-chopped.step"
    row.path.value = str(tmp_path / "roof.stl")
    row.button.click()
    assert "must end in .step" in row.result.value and "pd-stale" not in row.result._dom_classes
    shown.controls.dials["front_drop"].slider.value += 1
    assert "pd-stale" in row.result._dom_classes
    shown.undo_button.click()
    assert "pd-stale" not in row.result._dom_classes


@pytest.mark.usefixtures("moving")
def test_the_other_car_has_its_own_posts(coupe):
    other = Preview("pickup")
    assert {"cut_height.A", "cut_height.rear corner"} <= set(other.controls.dials)
    assert "cut_height.divider" not in other.controls.dials
    other.choose_car("no such car.toml")
    assert other.car.name == "Dray pickup" and "no such car.toml" in other.status.value


def test_the_seam_colours_are_read_in_inches():
    from model.seamcolours import CLASSES, class_of, classes_of, legend

    words = [text for _, text in legend("in")]
    assert words[0] == 'lap over 1/2"' and words[-1] == 'gap over 1/2"'
    assert class_of(-20).is_overlap and not class_of(0.5).is_overlap
    assert len({class_of(mm).colour for mm in (-20, -8, -2, 0, 2.5, 8, 30)}) == 7
    gaps = [mm for kind in CLASSES[:-1] for mm in np.nextafter(kind.to_mm, [-99, kind.to_mm, 99])]
    assert [CLASSES[i] for i in classes_of(gaps)] == [class_of(mm) for mm in gaps]
