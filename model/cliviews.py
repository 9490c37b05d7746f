"""The commands that make something to look at: GLB for a viewer, pictures, the owner's page."""

from __future__ import annotations

from pathlib import Path

from .cliwords import add_car, named_car, named_plan, written
from .errors import FileRefused

GLB_ENDING, PAGE_ENDING = ".glb", ".html"


def add_commands(command):
    """Add them; ``command(name, run, help_text)`` returns the parser of one."""
    glb = command("glb", _glb, "write the car as GLB, for a viewer on a phone or a desktop")
    add_car(glb)
    _add_plan_or_none(glb)
    glb.add_argument("-o", "--output", metavar="FILE", required=True, help="GLB file to write")

    pictures = command("pictures", _pictures, "write PNG and SVG of every view before and after")
    add_car(pictures)
    _add_plan_or_none(pictures)
    pictures.add_argument(
        "-o",
        "--output",
        metavar="FOLDER",
        required=True,
        help="folder to write into; made if it is not there",
    )

    review = command("review", _review, "write a page for the owner: turn it, swipe it, print it")
    add_car(review)
    review.add_argument(
        "plans", metavar="PLAN", nargs="+", help="plan files, or those that ship: coupe-plan; one or more"
    )
    review.add_argument("-o", "--output", metavar="FILE", required=True, help="HTML file to write")

    blanks = command("blanks", _blanks, "draw the flat blanks of a plan's new metal, as PNG and SVG")
    add_car(blanks)
    blanks.add_argument(
        "plan", metavar="PLAN", help="plan file with new metal, or one that ships: coupe-closed"
    )
    blanks.add_argument(
        "-o",
        "--output",
        metavar="FOLDER",
        required=True,
        help="folder to write into; made if it is not there",
    )


def _add_plan_or_none(parser):
    parser.add_argument(
        "plan",
        metavar="PLAN",
        nargs="?",
        help="plan file, or one that ships: coupe-plan; without it, the stock car",
    )


def _glb(options):
    from .output.glb import write_glb

    _check_ending(options.output, GLB_ENDING)
    built = _built(options)
    print(written(options.output, lambda path: write_glb(built, path)))


def _pictures(options):
    from .evaluate import fit_report_of
    from .output.pictures import write_pictures
    from .progress import end_progress, say_progress

    built = _built(options)
    files = write_pictures(built, fit_report_of(built), options.output, say_progress)
    end_progress()
    print(f"wrote {len(files)} pictures into {options.output}: {', '.join(sorted({f.stem for f in files}))}")


def _review(options):
    from .output.ownerpage import write_review
    from .progress import end_progress, say_progress

    _check_ending(options.output, PAGE_ENDING)
    car = named_car(options.car)
    plans = [named_plan(name, car) for name in options.plans]
    said = written(options.output, lambda path: write_review(car, plans, path, say_progress))
    end_progress()
    print(said)


def _blanks(options):
    from .evaluate import fit_report_of
    from .output.blankfiles import without_blank, write_blanks
    from .output.metaltext import NO_BLANK
    from .progress import end_progress, say_progress

    built = _built(options)
    report = fit_report_of(built)
    files = write_blanks(built, report, options.output, say_progress)
    end_progress()
    print(f"wrote {len(files)} files into {options.output}: {', '.join(sorted({f.stem for f in files}))}")
    for name in without_blank(built, report):
        print(f"no blank: {name}. {NO_BLANK}")


def _built(options):
    from .evaluate import build_checked
    from .plan import Plan

    car = named_car(options.car)
    return build_checked(car, named_plan(options.plan, car) if options.plan else Plan())


def _check_ending(path, ending):
    if Path(path).suffix.lower() != ending:
        raise FileRefused(path, f"must end in {ending}.", "Give the file such a name.")
