"""How long the notebook lets one wait in a real headless browser: first picture, a key pressed, a key held.

    pytest -m benchmark -n 0 tests/benchmarks/test_in_browser.py

Times are the page's own (``performance.now``), taken where the browser draws: from a key to the numbers
in the tiles, and to the first call of WebGL that draws new arrays.  No time is asserted but that nothing
is queued: a key that is held for ten seconds leaves no more to be done than a press does.

The kernel is shown the newest value only, so what it answers is some of the values the slider had, in
their order.  Each answer is matched with the earliest value that fits after the last one matched: the lag
is never said to be less than it was.
"""

import statistics
import time

import pytest
from in_browser import (
    SETTLED_WITHIN_S,
    is_drawn,
    jupyterlab,
    new_page,
    open_notebook,
    run_all,
    settled_numbers,
    until,
    wait_for_the_picture,
)

from model.units import length_mm

pytestmark = [pytest.mark.benchmark, pytest.mark.browser]

PRESSES = 15
HELD_S, REPEATS_PER_S = 10.0, 30.0  # a keyboard's own: common practice, no source
STEP_MM = 25.4 / 16  # of a slider, for one press
LONGER = 3.0  # times a usual move: what may be left when a held key is let go, and from picture to picture
WATCH = """() => {  // note when WebGL first draws what was not there before, and all such pictures
  window.pictures = [];
  let isNew = false;
  const gl = WebGL2RenderingContext.prototype, {bufferData, bufferSubData, drawElements} = gl;
  gl.bufferData = function (...given) { isNew = true; return bufferData.apply(this, given); };
  gl.bufferSubData = function (...given) { isNew = true; return bufferSubData.apply(this, given); };
  gl.drawElements = function (...given) {
    drawElements.apply(this, given);
    if (isNew) window.pictures.push(performance.now());
    isNew = false;
  };
  document.addEventListener('click', () => { window.clicked = performance.now(); }, true); }"""
WATCH_SLIDER = """() => {  // keys, values of the slider, and numbers with the value that they are of
  window.keys = []; window.values = []; window.numbers = [];
  const handle = document.querySelector('.pd-controls .noUi-handle');
  const typed = document.querySelector('.pd-controls .widget-text input');
  document.addEventListener('keydown', () => window.keys.push(performance.now()), true);
  new MutationObserver(() => window.values.push([performance.now(), +handle.ariaValueNow]))
    .observe(handle, {attributes: true, attributeFilter: ['aria-valuenow']});
  new MutationObserver(() => window.numbers.push([performance.now(), typed.value]))
    .observe(document.querySelector('.pd-tiles').closest('.widget-html'), {childList: true, subtree: true});
}"""
FORGET = "() => { for (const of of ['keys', 'values', 'numbers', 'pictures']) window[of].length = 0; }"


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """The notebook, opened and run, with what it does noted down; says when the first picture came."""
    with jupyterlab(tmp_path_factory.mktemp("jupyter")) as base, new_page(1280, 800) as page:
        open_notebook(page, base)
        page.evaluate(WATCH)
        run_all(page)
        wait_for_the_picture(page)
        first_s = page.evaluate("(pictures[0] - clicked) / 1000")
        page.evaluate(WATCH_SLIDER)
        yield page, first_s


def test_first_picture(page, browser_table):
    page, first_s = page
    assert is_drawn(page)
    browser_table.append(f"first picture after Run {first_s:9.1f} s")


def focus_slider(page, value):
    """Put the first slider, the front drop, at a length; wait until all is at rest; focus it."""
    typed = page.locator(".pd-controls .widget-text input").first
    typed.fill(value)
    typed.press("Enter")
    settled_numbers(page)
    page.locator(".pd-controls .noUi-handle").first.focus()
    page.evaluate(FORGET)


def at_rest(page):
    """Wait until the status line says nothing any more: what runs into what has been looked for."""
    until(
        lambda: not page.locator(".pd-status").first.inner_text(),
        3 * SETTLED_WITHIN_S,
        "it never came to rest",
        pause=0.05,
    )


def pressed(page):
    """Return milliseconds from a press of a key to numbers, and to the picture, press by press."""
    taken = []
    for _ in range(PRESSES):
        page.evaluate(FORGET)
        page.keyboard.press("ArrowRight")
        page.wait_for_function("() => pictures.length && numbers.length", timeout=SETTLED_WITHIN_S * 1000)
        key, said, drawn = page.evaluate("[keys[0], numbers[0][0], pictures[0]]")
        taken.append((said - key, drawn - key))
        at_rest(page)
    return zip(*taken, strict=True)


def held(page):
    """Hold an arrow key for ten seconds, to and fro so that each repeat moves the slider.

    Returns
    -------
    keys_up_ms : float
        When it was let go, by the page's clock. [ms]
    """
    most = page.evaluate("+document.querySelector('.pd-controls .noUi-handle').ariaValueMax")
    key, at = "ArrowRight", 0
    started = time.perf_counter()
    while time.perf_counter() - started < HELD_S:
        if not 0 < at < most:
            page.keyboard.up(key)
            key = "ArrowRight" if at <= 0 else "ArrowLeft"
        page.keyboard.down(key)  # again and again: a repeat, as of a key that is held
        at += 1 if key == "ArrowRight" else -1
        due = started + page.evaluate("keys.length") / REPEATS_PER_S
        time.sleep(max(0.0, due - time.perf_counter()))
    page.keyboard.up(key)
    return page.evaluate("performance.now()")


def lags_ms(values, answers):
    """Return how long after the slider each answer came.

    Parameters
    ----------
    values : list of (float, float)
        When the slider took a value, and which, in its order. [ms, steps]
    answers : list of (float, float)
        The same of what came back. [ms, steps]

    Returns
    -------
    list of float
        The longest each can have been. [ms]
    """
    lags, index = [], 0
    for came, value in answers:
        while values[index][1] != value:
            index += 1
        lags.append(came - values[index][0])
    return lags


def test_lags_are_matched_in_order():
    """To and fro: the second 1 is the one on the way back where 2 was answered between; else the first."""
    values = [(0, 0), (10, 1), (20, 2), (30, 1), (40, 0)]
    assert lags_ms(values, [(15, 1), (25, 2), (38, 1)]) == [5, 5, 8]
    assert lags_ms(values, [(38, 1), (55, 0)]) == [28, 15]
    with pytest.raises(IndexError):
        lags_ms(values, [(50, 3)])


def test_a_key_that_is_held_leaves_nothing_queued(page, browser_table):
    page, _ = page
    focus_slider(page, "1")
    by_press = list(pressed(page))
    for what, taken in zip(("numbers", "picture"), by_press, strict=True):
        ordered = sorted(taken)
        high = ordered[PRESSES * 95 // 100]
        browser_table.append(
            f"a key pressed, to {what}: median {statistics.median(taken):.0f} ms, 95th {high:.0f} ms"
        )
    focus_slider(page, "0")
    let_go_ms = held(page)
    at_rest(page)
    rest_ms = page.evaluate("performance.now()") - let_go_ms
    keys, values, said, pictures = page.evaluate("[keys, values, numbers, pictures]")
    values = [(0.0, 0.0), *map(tuple, values)]
    answers = [(came, round(length_mm(text, "in", "front drop") / STEP_MM)) for came, text in said]
    last = values[-1][1]
    final = next(i for i, (_, value) in enumerate(answers) if value == last and answers[i][0] > values[-1][0])
    moving = answers[: final + 1]
    lags = lags_ms(values, moving)
    drawn = [next(at for at in pictures if at > came) for came, _ in moving]
    lags_drawn = [lag + at - came for lag, at, (came, _) in zip(lags, drawn, moving, strict=True)]
    left_ms = drawn[-1] - let_go_ms
    browser_table += [
        f"a key held {HELD_S:.0f} s: {len(keys)} events sent, {len(values) - 1} values of the slider, "
        f"{len(moving)} of them drawn",
        f"  lag to numbers: median {statistics.median(lags):.0f} ms, longest {max(lags):.0f} ms; "
        f"to picture: median {statistics.median(lags_drawn):.0f} ms, longest {max(lags_drawn):.0f} ms",
        f"  let go, to the last value's numbers {answers[final][0] - let_go_ms:.0f} ms, its picture "
        f"{left_ms:.0f} ms, all at rest {rest_ms:.0f} ms",
        f"  lag to picture in the first and the last second: {_near(lags_drawn, moving, 0):.0f} and "
        f"{_near(lags_drawn, moving, -1):.0f} ms",
    ]
    usual_ms = statistics.median(lags_drawn)  # of moves that nothing was worked out ahead for
    assert left_ms < LONGER * usual_ms and len(moving) > 1000 * HELD_S / (LONGER * usual_ms)
    assert _near(lags_drawn, moving, -1) < LONGER * _near(lags_drawn, moving, 0)


def _near(lags, answers, end):
    """Return the middle lag within a second of the first or the last answer."""
    at = answers[end][0]
    return statistics.median(
        lag for lag, (came, _) in zip(lags, answers, strict=True) if abs(came - at) < 1000
    )
