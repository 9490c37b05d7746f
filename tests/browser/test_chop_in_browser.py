"""The notebook in a real headless browser: a slider moved by keyboard changes numbers and picture."""

import time
from urllib.request import Request, urlopen

import pytest
from in_browser import (
    NUMBERS,
    SETTLED_WITHIN_S,
    TOKEN,
    asked,
    jupyterlab,
    kernel_is_connected,
    new_page,
    numbers,
    open_notebook,
    picture,
    run_all,
    seen,
    settled_numbers,
    until,
    wait_for_the_picture,
)

pytestmark = pytest.mark.browser
FILLED = """() => {
  const view = document.querySelector('.pd-view');
  return Math.abs(view.clientWidth - view.querySelector('canvas').clientWidth) < 2; }"""


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """A JupyterLab of its own; gives its address."""
    with jupyterlab(tmp_path_factory.mktemp("jupyter")) as base:
        yield base


@pytest.fixture(scope="module")
def page(lab):
    """The notebook, opened and run."""
    with new_page(1300, 900) as page:
        open_notebook(page, lab)
        run_all(page)
        wait_for_the_picture(page)
        yield page


def press(page, key):
    """Press a key on the focused slider; return seconds until numbers, then picture, have changed."""
    said, before = numbers(page), picture(page)
    started = time.perf_counter()
    page.keyboard.press(key)
    page.wait_for_function(
        f"before => ({NUMBERS})() !== before",
        arg=said,
        polling=10,
        timeout=SETTLED_WITHIN_S * 1000,
    )
    told = time.perf_counter() - started
    until(lambda: picture(page) != before, SETTLED_WITHIN_S, "the picture did not change", pause=0.01)
    return told, time.perf_counter() - started


def front_drop(page):
    return page.locator(".pd-controls .widget-text input").first.input_value()


def test_an_arrow_key_changes_numbers_and_picture(page):
    assert front_drop(page) == '2-1/4"'
    page.locator(".pd-controls .noUi-handle").first.focus()
    press(page, "ArrowRight")
    assert front_drop(page) == '2-5/16"'
    press(page, "ArrowLeft")
    assert front_drop(page) == '2-1/4"'
    assert page.faults == []


def test_the_arrow_keys_turn_the_view_and_its_name_turns_it_back(page):
    front = picture(page)
    page.locator(".pd-view").focus()
    page.keyboard.press("ArrowLeft")
    until(lambda: picture(page) != front, SETTLED_WITHIN_S, "the view was not turned", pause=0.05)
    page.get_by_role("button", name="side", exact=True).click()
    turned = picture(page)
    page.get_by_role("button", name="three-quarter", exact=True).click()
    until(lambda: picture(page) == front, SETTLED_WITHIN_S, "the view was not turned back", pause=0.05)
    assert turned != front and page.faults == []


def test_the_whole_car_is_in_sight_in_every_view(page):
    """Nothing but background along the rim of the picture, however wide it is for its height."""
    seat = page.get_by_label("seat and heads")
    seat.uncheck()  # it may reach out of the picture; the car may not
    for width in (1300, 1700, 700):
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_function(FILLED)
        before = seen(page)["sum"]
        for name in ("side", "front", "rear", "rear three-quarter", "plan", "three-quarter"):
            page.get_by_role("button", name=name, exact=True).click()
            until(
                lambda before=before: is_clear_around(page, before),
                SETTLED_WITHIN_S,
                f"{name} is not shown, or is cut off at {width}",
                pause=0.05,
            )
            before = seen(page)["sum"]
    page.set_viewport_size({"width": 1300, "height": 900})
    seat.check()


def is_clear_around(page, before):
    """Return whether there is another picture than before, of a car with background around it."""
    now = seen(page)
    return now["sum"] != before and now["colours"] > 100 and now["rims"] == 1


def test_a_row_of_a_table_lights_its_place_and_says_its_numbers(page):
    row = page.locator("tr[data-place='window panel to roof']").first  # where it is trimmed is another
    row.focus()
    before = picture(page)
    page.keyboard.press("Enter")
    page.locator(".pd-at.pd-fixed b", has_text="window panel to roof").wait_for()
    assert picture(page) != before and "pd-chosen" in row.get_attribute("class")


def test_a_click_on_the_roof_names_it(page):
    page.get_by_role("button", name="plan", exact=True).click()
    page.locator(".pd-view").click(delay=60)
    page.locator(".pd-at.pd-fixed b").get_by_text("roof", exact=True).wait_for()
    page.get_by_role("button", name="three-quarter", exact=True).click()
    assert page.faults == []


def test_nothing_is_wider_than_the_page(page):
    wide, room = page.evaluate(
        "() => { const e = document.querySelector('.pd-preview'); return [e.scrollWidth, e.clientWidth]; }"
    )
    assert wide <= room


def test_a_refused_length_is_said_in_plain_words(page):
    box = page.locator(".pd-controls .widget-text input").first
    said = settled_numbers(page)
    box.fill("25")
    box.press("Enter")
    page.get_by_role("status").get_by_text("front_drop must be").wait_for(timeout=SETTLED_WITHIN_S * 1000)
    assert numbers(page) == said
    box.fill("2-1/4")
    box.press("Enter")
    page.wait_for_function("() => !document.querySelector('.pd-refused')", timeout=SETTLED_WITHIN_S * 1000)


def test_a_killed_kernel_loses_nothing(lab, page):
    """Restarted and run again, the notebook offers the last plan, and shows the same numbers of it."""
    box = page.locator(".pd-controls .widget-text input").first
    box.fill("1-7/8")
    box.press("Enter")
    said = settled_numbers(page)
    (session,) = asked(f"{lab}/api/sessions")
    address = f"{lab}/api/kernels/{session['kernel']['id']}/restart"
    urlopen(Request(address, method="POST", headers={"Authorization": f"token {TOKEN}"}), timeout=60).close()
    until(lambda: kernel_is_connected(lab), 60, "no kernel after the restart")
    run_all(page)
    page.wait_for_function("() => document.querySelector('.pd-controls input')?.value !== '1-7/8\"'")
    back = page.get_by_role("button", name="last plan")
    back.wait_for(timeout=60_000)
    assert settled_numbers(page) != said
    back.click()
    until(lambda: numbers(page) == said, SETTLED_WITHIN_S, "the last plan did not come back")
    assert front_drop(page) == '1-7/8"' and page.faults == []
