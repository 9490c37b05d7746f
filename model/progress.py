"""How far long work has come: said on standard error, to a person or to the program that runs the command.

A person at a terminal sees one line that changes.  A program that wants to
know sets :data:`FOR_A_PROGRAM` in the command's environment and gets a line for
every step, ``progress 0.250 pairs held against each other``; anybody else gets nothing.
"""

from __future__ import annotations

import os
import sys

FOR_A_PROGRAM = "PLUMBDROP_PROGRESS"
_WORD = "progress"


def say_nothing(share: float, words: str) -> None:
    """Keep quiet; stands where nobody asks how far the work has come."""


def say_progress(share: float, words: str) -> None:
    """Say that a share of the work, 0 to 1, is done."""
    if FOR_A_PROGRAM in os.environ:
        print(f"{_WORD} {share:.3f} {words}", file=sys.stderr, flush=True)
    elif sys.stderr.isatty():
        print(f"\r{share:4.0%} {words}", end="", file=sys.stderr, flush=True)


def end_progress() -> None:
    """Take the line that changes away."""
    if FOR_A_PROGRAM not in os.environ and sys.stderr.isatty():
        print("\r" + 60 * " " + "\r", end="", file=sys.stderr)


def progress_in(line: str) -> tuple[float, str] | None:
    """Return share and words of a line that says progress; None of any other line.

    Examples
    --------
    >>> progress_in("progress 0.250 of the readings moved"), progress_in("front_drop must be")
    ((0.25, 'of the readings moved'), None)
    """
    word, _, rest = line.rstrip().partition(" ")
    if word != _WORD:
        return None
    share, _, words = rest.partition(" ")
    return float(share), words
