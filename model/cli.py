"""The command ``plumbdrop``: the same calls as the notebook, from a shell.

The commands lie in modules by topic, ``cli…``.  Exit codes: 0 done; 1 an
outside check of ``verify`` does not hold; 2 refused, with one message on
standard error.  Nothing heavy is imported before a command needs it.
"""

from __future__ import annotations

import argparse
import os
import sys

from . import __version__, cliexact, clifiles, clinotebook, clinumbers, clitacked, cliviews, cliweld
from .cliwords import DONE, FAILED, REFUSED, CommandRefused
from .errors import RoofError

TOPICS = (clifiles, clinumbers, clitacked, cliweld, cliviews, cliexact, clinotebook)


class _Parser(argparse.ArgumentParser):
    """A parser that takes no shortened options and refuses with one message, without a usage text."""

    def __init__(self, **options):
        super().__init__(**options, allow_abbrev=False)

    def error(self, message):
        raise CommandRefused(f"{self.prog}: {message}. Try: {self.prog} --help")


def main(arguments=None) -> int:
    """Carry out a command line and return its exit code.

    Parameters
    ----------
    arguments : list of str, optional
        Without the program's name; by default those of the process.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # an old console may lack ″ or ³
    try:
        options = command_parser().parse_args(arguments)
        code = options.run(options) or DONE
        sys.stdout.flush()
        return code
    except RoofError as refusal:
        print(refusal, file=sys.stderr)
        return REFUSED
    except KeyboardInterrupt:
        print("Stopped; no file was left half-written.", file=sys.stderr)
        return REFUSED
    except BrokenPipeError:  # whoever read the output has seen enough, as with  | head
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return DONE


def command_parser() -> argparse.ArgumentParser:
    """Return the parser of every command; each sets ``run``."""
    parser = _Parser(prog="plumbdrop", description="Plan how a roof is lowered, before the first cut.")
    parser.add_argument("--version", action="version", version=f"plumbdrop {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True, parser_class=_Parser)

    def command(name, run, help_text):
        sub = commands.add_parser(name, help=help_text, description=help_text)
        sub.set_defaults(run=run)
        return sub

    for topic in TOPICS:
        topic.add_commands(command)
    return parser


__all__ = ["DONE", "FAILED", "REFUSED", "command_parser", "main"]

if __name__ == "__main__":
    sys.exit(main())
