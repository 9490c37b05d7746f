"""What the browser tests share: a browser, servers of their own, and what is seen of the 3-D view."""

import base64
import io
import json
import os
import shutil
import socket
import time
from contextlib import contextmanager
from pathlib import Path
from urllib.request import Request, urlopen

import pytest

playwright_api = pytest.importorskip("playwright.sync_api")
Image = pytest.importorskip("PIL.Image")

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
SETTLED_WITHIN_S = 20.0  # for a busy machine; what it takes is measured, not asserted
CANVAS = """() => [...document.querySelectorAll('.pd-view canvas')].filter(c => c.width * c.height > 1e5)
  .sort((a, b) => b.width * b.height - a.width * a.height)[0]?.toDataURL()"""
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


def image_of(page):
    """Return what the 3-D view shows, as an image."""
    return Image.open(io.BytesIO(picture(page))).convert("RGB")


def is_drawn(page):
    """Return whether the 3-D view shows more than its background."""
    return bool(picture(page)) and len(image_of(page).getcolors(1 << 24)) > 100


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
