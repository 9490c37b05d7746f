"""What runs in a browser shares: it, servers of their own, and what is seen of the 3-D view."""

import base64
import json
import os
import shutil
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path
from urllib.request import Request, urlopen

import pytest

playwright_api = pytest.importorskip("playwright.sync_api")

ROOT = Path(__file__).parents[2]
TOKEN = "for-this-test-only"
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
BROWSER = next(filter(None, map(shutil.which, NAMES)), None)
NO_BROWSER = "No browser found. On Debian: apt-get install chromium; elsewhere: install Chromium."
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--enable-unsafe-swiftshader",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
FOLDERS = ("CONFIG", "DATA", "RUNTIME")
LAB_FOLDERS = ("SETTINGS", "WORKSPACES")
NO_NEWS = '{"fetchNews": "false", "checkForUpdates": false}'
ALL_RUN = r"""() => {
  const prompts = [...document.querySelectorAll('.jp-CodeCell .jp-OutputPrompt')].map(e => e.textContent);
  return document.querySelector('.jp-Notebook-ExecutionIndicator')?.dataset.status === 'idle'
    && prompts.length && prompts.every(t => /\[\d+\]/.test(t)); }"""
SETTLED_WITHIN_S = 60.0  # for a busy machine; what it takes is measured, not asserted
CANVAS = """() => [...document.querySelectorAll('.pd-view canvas')].filter(c => c.width * c.height > 1e5)
  .sort((a, b) => b.width * b.height - a.width * a.height)[0]?.toDataURL()"""
SEEN = """() => {
  const canvas = [...document.querySelectorAll('.pd-view canvas')].filter(c => c.width * c.height > 1e5)
    .sort((a, b) => b.width * b.height - a.width * a.height)[0];
  if (!canvas) return {colours: 0, rims: 0, sum: 0};
  const [wide, high] = [canvas.width, canvas.height];
  const flat = new OffscreenCanvas(wide, high).getContext('2d', {willReadFrequently: true});
  flat.drawImage(canvas, 0, 0);
  const within = (...box) => new Uint32Array(flat.getImageData(...box).data.buffer);
  const all = within(0, 0, wide, high);
  const rims = [[0, 0, wide, 2], [0, high - 2, wide, 2], [0, 0, 2, high], [wide - 2, 0, 2, high]];
  return {
    colours: new Set(all).size,
    rims: Math.max(...rims.map(box => new Set(within(...box)).size)),
    sum: all.reduce((sum, pixel) => (Math.imul(sum, 31) + pixel) | 0, 0),
  }; }"""
NUMBERS = "() => [...document.querySelectorAll('.pd-value')].map(each => each.innerText).join(' | ')"


def private_environment(home):
    """Return an environment in which nothing of this machine's own Jupyter or plans is read or written."""
    env = dict(os.environ, PYTHONPATH=str(ROOT), IPYTHONDIR=str(home / "ipython"))
    env |= {"XDG_STATE_HOME": str(home / "state")}
    env |= {f"JUPYTER_{name}_DIR": str(home / name) for name in FOLDERS}
    return env | {f"JUPYTERLAB_{name}_DIR": str(home / name) for name in LAB_FOLDERS}


@contextmanager
def new_page(width, height):
    """Give a page of a new browser that takes down in ``faults`` what goes wrong in its scripts."""
    with playwright_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=BROWSER, args=FLAGS)
        page = browser.new_context(viewport={"width": width, "height": height}).new_page()
        page.faults = []
        page.on("pageerror", lambda error: page.faults.append(str(error)))
        yield page
        browser.close()


@contextmanager
def jupyterlab(home):
    """Run a JupyterLab of its own, over a folder with a copy of the notebook; gives its address."""
    if BROWSER is None:
        pytest.skip(NO_BROWSER)
    env = private_environment(home)
    news = home / "SETTINGS" / "@jupyterlab" / "apputils-extension" / "notification.jupyterlab-settings"
    news.parent.mkdir(parents=True)
    news.write_text(NO_NEWS)
    work = home / "work"
    work.mkdir()
    shutil.copy(ROOT / "notebooks" / "chop.ipynb", work)
    port = free_port()
    command = [sys.executable, "-m", "jupyterlab", "--allow-root", "--no-browser", "--ip=127.0.0.1"]
    command += [f"--port={port}", "--ServerApp.port_retries=0", f"--ServerApp.root_dir={work}"]
    command += [f"--IdentityProvider.token={TOKEN}"]
    with open(home / "log", "w") as log:
        server = subprocess.Popen(command, env=env, stdout=log, stderr=subprocess.STDOUT)
    base = f"http://127.0.0.1:{port}"
    try:
        until(lambda: asked(f"{base}/api"), 60, "JupyterLab did not start")
        yield base
    finally:
        server.terminate()
        server.wait(20)


def open_notebook(page, base):
    """Open the notebook on a page, and wait until it could be run."""
    page.goto(f"{base}/lab/tree/chop.ipynb?token={TOKEN}")
    page.wait_for_selector(".jp-NotebookPanel .jp-CodeCell", timeout=60_000)
    until(lambda: kernel_is_connected(base), 60, "no kernel")  # the page says idle before it is
    page.wait_for_selector(".jp-Notebook-ExecutionIndicator[data-status='idle']")


def run_all(page):
    """Choose "Run All Cells", as a person does."""
    page.locator(".lm-MenuBar-itemLabel", has_text="Run").first.click()
    page.get_by_text("Run All Cells", exact=True).click()


def wait_for_the_picture(page):
    """Wait until all cells have run and the 3-D view shows a car."""
    page.wait_for_function(ALL_RUN, timeout=120_000)
    page.wait_for_selector(".pd-view canvas", timeout=60_000)
    until(lambda: is_drawn(page), 60, "nothing was drawn")


def kernel_is_connected(base):
    """Return whether the notebook's kernel waits for work from the page."""
    kernels = [session["kernel"] for session in asked(f"{base}/api/sessions") or []]
    return len(kernels) == 1 and kernels[0]["execution_state"] == "idle" and kernels[0]["connections"] > 0


def free_port():
    """Return a port of this machine on which nobody listens."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def asked(address):
    """Return the JSON at an address of the server, or None where it is not there yet."""
    try:
        with urlopen(Request(address, headers={"Authorization": f"token {TOKEN}"}), timeout=5) as answer:
            return json.load(answer)
    except OSError:
        return None


def until(is_so, seconds, message, pause=0.1):
    """Wait until something is so; fail with the message if it takes longer."""
    deadline = time.monotonic() + seconds
    while not is_so():
        assert time.monotonic() < deadline, message
        time.sleep(pause)


def picture(page):
    """Return what the 3-D view shows, as PNG bytes."""
    return base64.b64decode((page.evaluate(CANVAS) or ",").split(",")[1])


def is_drawn(page):
    """Return whether the 3-D view shows more than its background."""
    return seen(page)["colours"] > 100


def seen(page):
    """Return what is seen of the 3-D view without its pixels, which take a second to be handed over.

    ``colours`` of all of it and ``rims``, the most of any of its four rims of two pixels; ``sum``, a number
    that another picture is most unlikely to have.
    """
    return page.evaluate(SEEN)


def numbers(page):
    """Return the headline numbers, without their ±."""
    return page.evaluate(NUMBERS)


def settled_numbers(page):
    """Return the headline numbers once they have stood still: what runs into what comes after the rest."""
    seen = [""]

    def is_still():
        seen.append(numbers(page))
        is_looking = "Looking" in page.locator(".pd-status").first.inner_text()
        return not is_looking and len(set(seen[-8:])) == 1

    until(is_still, SETTLED_WITHIN_S, "the numbers never stood still", pause=0.25)
    return seen[-1]
