"""The command that opens the notebook with the sliders."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from .cliwords import CommandRefused

NOTEBOOK = "chop.ipynb"


def add_commands(command):
    """Add it; ``command(name, run, help_text)`` returns its parser."""
    notebook = command("notebook", _notebook, "open the notebook with the sliders")
    notebook.add_argument(
        "jupyter_options",
        nargs="*",
        metavar="OPTION",
        help="after --: options for Jupyter, such as --no-browser",
    )


def _notebook(options):
    path = _notebook_path()
    print(f"Opening {path} (Ctrl-C twice ends it)", flush=True)
    command = [sys.executable, "-m", "jupyterlab", str(path), *options.jupyter_options]
    with subprocess.Popen(command) as jupyter:
        code = _waited_for(jupyter)
    if code:
        raise CommandRefused(
            f"plumbdrop notebook: Jupyter must end well; it ended with code {code}. "
            "Its own message above says why; its options go after --, as in: "
            "plumbdrop notebook -- --no-browser"
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
