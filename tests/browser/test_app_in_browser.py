"""The preview as a page of its own: let in by its token only, used by keyboard only, read by a checker."""

import re
import subprocess
import sys
import threading
from urllib.error import HTTPError
from urllib.request import urlopen

import pytest
from in_browser import (
    BROWSER,
    NO_BROWSER,
    SETTLED_WITHIN_S,
    free_port,
    is_drawn,
    new_page,
    numbers,
    picture,
    private_environment,
    settled_numbers,
    until,
)

axe = pytest.importorskip("axe_playwright_python.sync_playwright")

pytestmark = pytest.mark.browser
OTHER_MACHINES = re.compile(r"^\w+://(?!127\.0\.0\.1:)")  # not data: nor blob:, which are the page's own
ICONS = """() => [...document.querySelectorAll('.pd-preview button i.fa')].map(icon => {
  const {content, fontFamily} = getComputedStyle(icon, '::before');
  return [icon.className, content, fontFamily, document.fonts.check(`900 14px ${fontFamily}`)];
})"""
CUT_OFF = """() => [...document.querySelectorAll('.pd-table')]
  .filter(table => table.scrollWidth > table.parentElement.clientWidth + 1)
  .map(table => table.innerText.slice(0, 60))"""
MOST_STOPS = 150  # of the Tab key from one end of the page to the other
FOCUSED = """() => {
  const at = document.activeElement;
  const text = list => list.map(each => each.innerText).join(' ');
  const by = at.getAttribute('aria-labelledby')?.split(' ') ?? [];
  const label = at.getAttribute('aria-label') || text([...(at.labels ?? [])])
    || text(by.map(id => document.getElementById(id))) || at.innerText
    || at.title || at.getAttribute('placeholder') || '';
  const style = getComputedStyle(at), around = getComputedStyle(at.parentElement);
  const isSeen = [style, around].some(each => each.outlineStyle !== 'none' || each.boxShadow !== 'none');
  return [label.trim(), at.tagName, isSeen];
}"""


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    """The app as the command starts it; gives its address with the token, and the folder it works in."""
    if BROWSER is None:
        pytest.skip(NO_BROWSER)
    home = tmp_path_factory.mktemp("app")
    command = [sys.executable, "-m", "model.cli", "app", "--", "--no-browser", f"--port={free_port()}"]
    with subprocess.Popen(
        command,
        env=private_environment(home),
        cwd=home,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as server:
        said = []
        reader = threading.Thread(target=lambda: said.extend(iter(server.stdout.readline, "")), daemon=True)
        reader.start()

        def address():
            return re.search(r"http://127\.0\.0\.1:\d+/\?token=\w+", "".join(said))

        try:
            until(lambda: address() or server.poll() is not None, 60, "the app did not start")
            assert server.poll() is None, "".join(said)
            yield address().group(), home
        finally:
            server.terminate()
            server.wait(20)


@pytest.fixture(scope="module")
def page(app):
    """The page on a tablet that reaches this machine only; ``outside`` holds what it asked of others."""
    with new_page(820, 1180) as page:
        page.outside, page.asked = [], []
        page.context.on("request", lambda request: page.asked.append(request.url))
        page.context.route(OTHER_MACHINES, lambda route: _refused(route, page.outside))
        page.goto(app[0])
        page.wait_for_selector(".pd-view canvas", timeout=240_000)
        until(lambda: is_drawn(page), 60, "nothing was drawn")
        yield page


def _refused(route, outside):
    outside.append(route.request.url)
    route.abort()


def test_without_its_token_nobody_is_let_in(app):
    bare = app[0].partition("?")[0]
    for address in (bare, f"{bare}api/kernels", app[0][:-4] + "0000"):
        try:
            with urlopen(address, timeout=20) as answer:
                body, where = answer.read().decode(), answer.url
        except HTTPError as refusal:
            assert refusal.code in (401, 403)
        else:
            assert "/login" in where and "Roof" not in body and "preview" not in body


def test_no_code_is_shown(page):
    assert page.get_by_text("from model.preview import").count() == 0
    assert page.locator("h1").inner_text().startswith("How far can this roof come down")


def test_every_icon_comes_from_this_machine(page):
    icons = page.evaluate(ICONS)
    assert len(icons) > 8
    for name, drawn, font, is_there in icons:
        assert drawn not in ("none", "normal", '""') and "Awesome" in font and is_there, (name, drawn, font)


def tab_to(page, name, kind=""):
    """Press Tab until what is focused has a name and a kind; everything on the way shows that it is."""
    passed = []
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        label, tag, is_seen = page.evaluate(FOCUSED)
        passed.append(label)
        if tag != "BODY":
            assert label and is_seen, f"{tag} after {passed[-4:]} has no name, or shows no focus"
        if label == name and kind in ("", tag):
            return
    raise AssertionError(f"{name} was not reached; passed {passed}")


def test_the_whole_decision_by_keyboard_alone(app, page):
    """Choose a car, set drops, compare, save and export, without the pointer."""
    _, home = app
    keys = page.keyboard
    page.evaluate("document.activeElement.blur()")
    coupe = settled_numbers(page)
    tab_to(page, "car", "SELECT")
    keys.type("pickup")
    until(lambda: numbers(page) != coupe, SETTLED_WITHIN_S, "no other car")
    first = settled_numbers(page)
    tab_to(page, "front drop")
    for _ in range(3):
        keys.press("ArrowLeft")
    tab_to(page, "front drop: type it exactly")
    until(lambda: numbers(page) != first, SETTLED_WITHIN_S, "the arrow keys changed nothing")
    tab_to(page, "rear drop: type it exactly")
    keys.press("Control+A")
    keys.type("2")
    keys.press("Enter")
    second = settled_numbers(page)
    tab_to(page, "stock", "INPUT")
    keys.press("Space")
    page.locator(".pd-comparison .pd-view").nth(1).wait_for(timeout=SETTLED_WITHIN_S * 1000)
    assert page.locator(".pd-compared").inner_text().count("rear drop") == 1
    page.evaluate("document.activeElement.blur()")
    tab_to(page, "plan file")
    keys.press("Control+A")
    keys.type(str(home / "mine.toml"))
    tab_to(page, "save plan")
    keys.press("Enter")
    until(lambda: (home / "mine.toml").is_file(), SETTLED_WITHIN_S, "the plan was not saved")
    assert 'front_drop = "2-5/16"' in (home / "mine.toml").read_text()
    tab_to(page, "write STEP: where to")
    keys.press("Control+A")
    keys.type(str(home / "mine.step"))
    tab_to(page, "write STEP")
    keys.press("Enter")
    until(lambda: (home / "mine.step").is_file(), 180, "no STEP was written")
    assert numbers(page) == second and page.faults == []


def test_a_drag_moves_a_slider_and_undo_takes_it_back(page):
    """By one press; by more where a busy machine takes the drag for several, with pauses between."""
    before = settled_numbers(page)
    handle = page.locator(".pd-controls .noUi-handle").first
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 25, y, steps=8)
    page.mouse.up()
    until(lambda: numbers(page) != before, SETTLED_WITHIN_S, "the drag changed nothing")
    settled_numbers(page)
    for _ in range(8):
        page.get_by_role("button", name="undo").click()
        if settled_numbers(page) == before:
            return
    raise AssertionError("undo did not take the drag back")


def test_pictures_side_by_side_turn_together(page):
    stock = page.get_by_label("stock", exact=True).and_(page.locator("input"))
    stock.check()
    canvases = page.locator(".pd-comparison .pd-view canvas")
    canvases.nth(1).wait_for(timeout=SETTLED_WITHIN_S * 1000)
    until(lambda: all(len(image) > 5000 for image in images(canvases)), SETTLED_WITHIN_S, "nothing drawn")
    page.locator(".pd-comparison .pd-view").nth(0).focus()
    seen = images(canvases)
    page.keyboard.press("ArrowLeft")
    until(
        lambda: all(now != then for now, then in zip(images(canvases), seen, strict=True)),
        SETTLED_WITHIN_S,
        "one of them did not turn",
    )
    assert page.faults == []


def images(canvases):
    return [canvases.nth(i).evaluate("e => e.toDataURL()") for i in range(2)]


def test_a_swipe_takes_away_what_was_before(page):
    view = page.locator(".pd-view").first
    view.scroll_into_view_if_needed()
    page.get_by_role("button", name="swipe", exact=True).click()
    swipe = view.get_by_role("slider")
    swipe.wait_for()
    shown = {}
    for share in (0.0, 0.5, 1.0):
        swipe.fill(str(share))
        shown[share] = picture(page)
    assert len(set(shown.values())) == 3
    page.get_by_role("button", name="ghost", exact=True).click()
    swipe.wait_for(state="hidden")


def test_a_checker_finds_nothing_wrong(page):
    """Names, roles and contrast of everything of ours, by axe-core."""
    settled_numbers(page)
    found = axe.Axe().run(page, context=".pd-preview").response["violations"]
    said = [(v["id"], v["impact"], [n["html"][:160] for n in v["nodes"][:3]]) for v in found]
    assert said == [], "\n".join(map(str, said))


def test_no_table_is_wider_than_a_tablet(page):
    settled_numbers(page)
    cut_off = page.evaluate(CUT_OFF)
    assert page.locator(".pd-table").count() >= 4 and cut_off == []


def test_nothing_was_asked_of_another_machine(app, page):
    """Last of all, after everything above: every request went to the server, error pages too."""
    page.goto(app[0].replace("/?", "/no/such/page?"))
    assert "403" in page.inner_text("body")
    assert page.outside == []
    assert len(page.asked) > 20 and not any(OTHER_MACHINES.match(url) for url in page.asked)
