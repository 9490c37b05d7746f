"""The commands that open the sliders: in the notebook, and as a page without any notebook around it.

The page is served by voila, for a tablet's browser on this machine; like the
notebook it answers at 127.0.0.1 only, and only who has its token is let in.
Its template, in ``page/``, is the server's own without what that asks of other
machines (icons, formulas, diagrams), so that a shop without a network has it all.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

from .cliwords import CommandRefused

NOTEBOOK = "chop.ipynb"
PAGE_OPTIONS = (
    "--Voila.ip=127.0.0.1",
    "--Voila.auto_token=True",
    "--VoilaConfiguration.theme=light",
    "--VoilaConfiguration.template=plumbdrop",
)
# The preview's arrays are small: a second thread of BLAS mostly waits, on the core that draws the picture.
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
SEARCH_PATH = "JUPYTER_PATH"  # where the server looks for templates, first of all


def add_commands(command):
    """Add it; ``command(name, run, help_text)`` returns its parser."""
    for name, run, help_text in (
        ("notebook", _notebook, "open the notebook with the sliders"),
        ("app", _app, "open the sliders as a page of their own, without the notebook"),
    ):
        command(name, run, help_text).add_argument(
            "server_options",
            nargs="*",
            metavar="OPTION",
            help="after --: options for the server, such as --no-browser",
        )


def _notebook(options):
    path = _notebook_path()
    print(f"Opening {path} (Ctrl-C twice ends it)", flush=True)
    _serve("notebook", ["jupyterlab", str(path), *options.server_options])


def _app(options):
    path = _notebook_path()
    print(f"Opening {path} as a page, for this machine only (Ctrl-C ends it)", flush=True)
    searched = [str(Path(__file__).parent / "page"), *filter(None, [os.environ.get(SEARCH_PATH)])]
    environment = {**os.environ, SEARCH_PATH: os.pathsep.join(searched)}
    _serve("app", ["voila", str(path), *PAGE_OPTIONS, *options.server_options], environment)


def _serve(name, module_and_options, environment=None):
    """Run a server until it ends; a later option overrides an earlier one."""
    environment = {**ONE_THREAD, **(environment or os.environ)}
    with subprocess.Popen([sys.executable, "-m", *module_and_options], env=environment) as server:
        before = signal.signal(signal.SIGTERM, lambda *_: server.terminate())  # none is left running alone
        try:
            code = _waited_for(server)
        finally:
            signal.signal(signal.SIGTERM, before)
    if code:
        raise CommandRefused(
            f"plumbdrop {name}: the server must end well; it ended with code {code}. "
            "Its own message above says why; its options go after --, as in: "
            f"plumbdrop {name} -- --no-browser"
        )


def _waited_for(process):
    """Return a process's exit code; Ctrl-C reaches it as well, and what it means is for it to say."""
    while True:
        try:
            return process.wait()
        except KeyboardInterrupt:
            continue


def _notebook_path():
    """Return the notebook of a checkout; of an installed package, a copy in the current folder."""
    from .files import read_text, write_text_atomically

    package = Path(__file__).parent
    in_checkout = package.parent / "notebooks" / NOTEBOOK
    if in_checkout.is_file():
        return in_checkout
    copy = Path.cwd() / NOTEBOOK
    if not copy.exists():
        write_text_atomically(copy, read_text(package / "notebooks" / NOTEBOOK))
    return copy
