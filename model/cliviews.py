"""The commands that make something to look at: GLB for a viewer, pictures, the owner's page."""

from __future__ import annotations

from pathlib import Path

from .cliwords import add_car, named_car, named_plan, written
from .errors import FileRefused

GLB_ENDING = ".glb"


def add_commands(command):
    """Add them; ``command(name, run, help_text)`` returns the parser of one."""
    glb = command("glb", _glb, "write the car as GLB, for a viewer on a phone or a desktop")
    add_car(glb)
    _add_plan_or_none(glb)
    glb.add_argument("-o", "--output", metavar="FILE", required=True, help="GLB file to write")


def _add_plan_or_none(parser):
    parser.add_argument(
        "plan",
        metavar="PLAN",
        nargs="?",
        help="plan file, or one that ships: coupe-plan; without it, the stock car",
    )


def _glb(options):
    from .evaluate import build_checked
    from .output.glb import write_glb
    from .plan import Plan

    _check_ending(options.output, GLB_ENDING)
    car = named_car(options.car)
    built = build_checked(car, named_plan(options.plan, car) if options.plan else Plan())
    print(written(options.output, lambda path: write_glb(built, path)))


def _check_ending(path, ending):
    if Path(path).suffix.lower() != ending:
        raise FileRefused(path, f"must end in {ending}.", "Give the file such a name.")
