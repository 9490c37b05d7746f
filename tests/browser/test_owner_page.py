"""The owner's page in a real headless browser, opened from a disk with the network off."""

import io
import re
import shutil
from base64 import b64decode
from dataclasses import replace

import numpy as np
import pytest
from shipped_plans import closed_plan

from model.carfile import demo_car_path, demo_plan_path, read_car
from model.output.ownerpage import write_review
from model.planfile import read_plan

pytestmark = pytest.mark.browser
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
BROWSER = next(filter(None, map(shutil.which, NAMES)), None)
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--disable-sync"]
FLAGS += ["--disable-background-networking", "--disable-component-update"]
DRAWN_IN_SOFTWARE, WITHOUT_3D = "--enable-unsafe-swiftshader", "--disable-3d-apis"
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 800}
PAPERS = ("Letter", "A4")

playwright_api = pytest.importorskip("playwright.sync_api")
Image = pytest.importorskip("PIL.Image")


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    """The page of two plans of the coupe, written once."""
    car = read_car(demo_car_path("coupe"))
    plan = read_plan(demo_plan_path("coupe"), car)
    less = replace(plan, name="less", roof=replace(plan.roof, front_drop_mm=38.1, rear_drop_mm=38.1))
    path = tmp_path_factory.mktemp("owner") / "review.html"
    write_review(car, [plan, less], path)
    return path


@pytest.fixture(scope="module")
def playwright():
    if BROWSER is None:
        pytest.skip("No browser found. On Debian: apt-get install chromium; elsewhere: install Chromium.")
    with playwright_api.sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="module")
def browser(playwright):
    browser = playwright.chromium.launch(executable_path=BROWSER, args=[*FLAGS, DRAWN_IN_SOFTWARE])
    yield browser
    browser.close()


def opened(browser, file, **context):
    """Open the page with the network off; note faults and whatever is asked for."""
    page = browser.new_context(offline=True, **context).new_page()
    page.faults, page.asked = [], []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on("console", lambda said: page.faults.append(said.text) if said.type == "error" else None)
    page.on("request", lambda request: page.asked.append(request.url))
    page.goto(file.as_uri())
    return page


@pytest.fixture(scope="module")
def page(browser, file):
    page = opened(browser, file, viewport=DESK)
    page.wait_for_selector(".pd-view canvas")
    page.wait_for_timeout(500)
    yield page
    page.context.close()


def picture(page):
    """Return what is on the canvas as an array."""
    png = page.evaluate("document.querySelector('.pd-view canvas').toDataURL().split(',')[1]")
    return np.asarray(Image.open(io.BytesIO(b64decode(png))).convert("RGB"), int)


def swiped(page, share):
    """Move the line with the keyboard and return the picture."""
    slider = page.get_by_role("slider")
    slider.focus()
    page.keyboard.press("Home")
    for _ in range(share // 10):
        page.keyboard.press("PageUp")
    assert slider.input_value() == str(share)
    return picture(page)


def test_it_opens_without_a_network_and_asks_for_nothing(page, file):
    assert page.asked == [file.as_uri()] and page.faults == []
    assert page.locator("#pd-flat").is_hidden() and page.locator("#pd-no3d").is_hidden()
    assert len(np.unique(picture(page).reshape(-1, 3), axis=0)) > 200
    assert not re.search(r"\b(const|function|THREE)\b", page.locator("body").inner_text())  # no code shown


def test_the_swipe_shows_stock_left_of_the_line_and_the_plan_right_of_it(page):
    page.get_by_role("button", name="side", exact=True).click()
    planned, half, stock = swiped(page, 0), swiped(page, 50), swiped(page, 100)
    middle = planned.shape[1] // 2
    assert (half[:, : middle - 2] == stock[:, : middle - 2]).all()
    assert (half[:, middle + 2 :] == planned[:, middle + 2 :]).all()
    assert (stock != planned).any(axis=2).mean() > 0.05
    assert _top(stock) < _top(planned)  # rows count downwards: the stock roof is higher
    assert page.get_by_role("slider").get_attribute("aria-valuetext") == "100 % stock, 0 % planned"


def _top(pixels):
    background = pixels[0, 0]
    return np.nonzero((pixels != background).any(axis=2).sum(axis=1) > 3)[0].min()


def test_the_height_lost_in_the_picture_is_the_height_lost_in_the_numbers(page):
    """Seen from the side, by the car's own length for scale; within two pixels."""
    page.get_by_role("button", name="side", exact=True).click()
    planned, stock = swiped(page, 0), swiped(page, 100)
    columns = np.nonzero((stock != stock[0, 0]).any(axis=(0, 2)))[0]
    per_pixel_mm = 2774.0 / (columns.max() - columns.min())  # the coupe's skin is 2774 mm long
    cell = page.locator("article").first.get_by_role("row", name="highest point lower by").inner_text()
    said_mm = float(re.search(r"\((\d+) mm\)", cell).group(1))
    assert (_top(planned) - _top(stock)) * per_pixel_mm == pytest.approx(said_mm, abs=2 * per_pixel_mm + 0.5)


def test_keys_and_buttons_turn_it_and_its_name_turns_it_back(page):
    swiped(page, 50)
    page.get_by_role("button", name="three-quarter", exact=True).click()
    first = picture(page)
    page.locator(".pd-view").focus()
    page.keyboard.press("ArrowLeft")
    by_key = picture(page)
    page.get_by_role("button", name="turn right").click()
    page.get_by_role("button", name="from higher").click()
    by_button = picture(page)
    page.get_by_role("button", name="three-quarter", exact=True).click()
    assert (by_key != first).any() and (by_button != by_key).any()
    assert (picture(page) == first).all()
    assert (
        page.get_by_role("button", name="three-quarter", exact=True).get_attribute("aria-pressed") == "true"
    )


def test_another_plan_changes_the_planned_side_only(page):
    page.get_by_role("button", name="side", exact=True).click()
    before = swiped(page, 50)
    page.get_by_role("radio", name="less").check()
    after = picture(page)
    page.get_by_role("radio").first.check()
    middle = before.shape[1] // 2
    assert (before[:, : middle - 2] == after[:, : middle - 2]).all()
    assert (before[:, middle + 2 :] != after[:, middle + 2 :]).any()
    assert (picture(page) == before).all()


def test_it_can_be_seen_in_one_colour(page):
    page.get_by_role("button", name="side", exact=True).click()
    swiped(page, 0)
    plain = page.get_by_label("all in one colour")
    coloured = picture(page)
    plain.check()
    assert _blue(picture(page)) < _blue(coloured) / 4
    plain.uncheck()
    assert (picture(page) == coloured).all()


def _blue(pixels):
    return ((pixels[..., 2] - pixels[..., 0]) > 60).mean()


def test_focus_can_be_seen_on_everything_that_takes_it(page):
    seen = set()
    page.locator("h1").click()
    for _ in range(40):
        page.keyboard.press("Tab")
        tag, outline, text = page.evaluate(
            "() => { const e = document.activeElement, s = getComputedStyle(e);"
            " const outline = `${s.outlineStyle} ${s.outlineWidth}`;"
            " return [e.tagName, outline, e.className || e.id || e.innerText]; }"
        )
        if tag == "BODY":
            break
        assert outline == "solid 3px", (tag, text, outline)
        seen.add(text)
    assert {"side", "turn left", "pd-swipe", "pd-view", "pd-plain"} <= {str(each) for each in seen}


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_an_existing_checker_finds_nothing(browser, file, size):
    """axe-core, all its rules; contrast among them."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = opened(browser, file, viewport=size)
    page.wait_for_selector(".pd-view canvas")
    found = axe.Axe().run(page).response["violations"]
    assert [(each["id"], each["nodes"][0]["html"][:90]) for each in found] == []
    wide, room = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide <= room
    page.context.close()


def test_a_page_can_be_scrolled_past_the_picture_on_a_phone(browser, file):
    page = opened(browser, file, viewport=PHONE, has_touch=True)
    page.wait_for_selector(".pd-view canvas")
    assert page.evaluate("getComputedStyle(document.querySelector('.pd-view canvas')).touchAction") == "pan-y"
    page.context.close()


def test_without_3d_the_drawings_stand_alone(playwright, file):
    browser = playwright.chromium.launch(executable_path=BROWSER, args=[*FLAGS, WITHOUT_3D])
    page = opened(browser, file, viewport=DESK)
    page.locator("#pd-no3d").wait_for()
    assert page.faults == [] and page.locator("#pd-controls").is_hidden()
    assert page.locator("#pd-flat svg").is_visible() and page.locator("article svg").first.is_visible()
    browser.close()


def test_without_a_script_everything_but_the_turning_is_there(browser, file):
    page = opened(browser, file, viewport=DESK, java_script_enabled=False)
    assert page.locator("#pd-flat svg").is_visible() and page.locator("#pd-controls").is_hidden()
    assert page.locator("article table").count() == 2
    page.context.close()


def pages_printed(page, paper):
    """Return on how many pages what is shown is printed."""
    page.wait_for_selector(".pd-view canvas")
    return len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(format=paper, prefer_css_page_size=False)))


def test_the_plan_of_which_there_is_most_to_say_prints_to_one_page(browser, tmp_path):
    built = closed_plan("coupe", "split")
    write_review(built.shape.car, [built.plan], tmp_path / "review.html")
    page = opened(browser, tmp_path / "review.html", viewport=DESK)
    assert [pages_printed(page, paper) for paper in PAPERS] == [1, 1]
    page.context.close()


@pytest.mark.parametrize("paper", PAPERS)
def test_every_plan_prints_to_one_page(browser, file, paper):
    page = opened(browser, file, viewport=DESK)
    assert pages_printed(page, paper) == 2
    page.emulate_media(media="print")
    assert page.locator("#pd-stage").is_hidden() and page.locator("article svg").count() == 18
    page.context.close()
