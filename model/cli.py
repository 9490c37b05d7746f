"""The command ``plumbdrop``: the same calls as the notebook, from a shell.

Exit codes: 0 done; 1 an outside check of ``verify`` does not hold; 2 refused,
with one message on standard error.  Nothing heavy is imported before a command
needs it.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path

from . import __version__
from .errors import FileRefused, RoofError
from .plansettings import SETTINGS

DONE, FAILED, REFUSED = 0, 1, 2
DEMO_CAR = "coupe"
DEMO_STEP, DEMO_JSON = "plumbdrop-demo.step", "plumbdrop-demo.json"
NOTEBOOK = "chop.ipynb"
STEP_ENDINGS = (".step", ".stp")


class CommandRefused(RoofError):
    """A command line that cannot be carried out."""


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

    command("demo", _demo, "lower the roof of a demo car: report, STEP and JSON")
    check = command("check", _check, "check a measured car: does it hold together, what to measure again")
    _car(check)
    _json(check)

    report = command("report", _report, "print every number of one plan on one car")
    _car(report)
    _plan(report)
    _json(report)

    tape = command("tape", _tape, "print how far off every number may be by the tape, and what to read again")
    _car(tape)
    _plan(tape)
    _json(tape)

    compare = command("compare", _compare, "print several plans of one car side by side")
    _car(compare)
    compare.add_argument("plans", metavar="PLAN", nargs="+", help="plan files, two or more")
    _json(compare)

    step = command("step", _step, "write the car as a STEP assembly, in millimetres")
    _car(step)
    _plan(step)
    step.add_argument(
        "--stock", action="store_true", help="leave every piece where it was: with a plan, cut but not moved"
    )
    step.add_argument("-o", "--output", metavar="FILE", required=True, help="STEP file to write")

    hoops = command("hoops", _hoops, "write the car's hoop table as CSV, for a spreadsheet")
    _car(hoops)
    hoops.add_argument("-o", "--output", metavar="FILE", required=True, help="CSV file to write")

    verify = command("verify", _verify, "hold what Plumbdrop works out against published values")
    verify.add_argument("-o", "--output", metavar="FILE", help="write the table as a Markdown page")
    _json(verify)

    points = command("points", _points, "write a sheet of points to measure again on the tacked roof")
    _car(points)
    _tacked_plan(points)
    points.add_argument("-o", "--output", metavar="FILE", required=True, help="TOML file to write")

    fitted = command("fitted", _fitted, "hold the tacked roof against its plan: what to move, and how far")
    _car(fitted)
    _tacked_plan(fitted)
    fitted.add_argument(
        "measured", metavar="MEASURED", help="points measured again, or those that ship: coupe-tacked"
    )
    _json(fitted)

    notebook = command("notebook", _notebook, "open the notebook with the sliders")
    notebook.add_argument(
        "jupyter_options",
        nargs="*",
        metavar="OPTION",
        help="after --: options for Jupyter, such as --no-browser",
    )
    return parser


def _car(parser):
    parser.add_argument("car", metavar="CAR", help="car file, or one that ships: coupe, pickup")


def _tacked_plan(parser):
    parser.add_argument(
        "plan", metavar="PLAN", help="plan the roof was cut by, or one that ships: coupe-plan"
    )


def _plan(parser):
    parser.add_argument("--plan", metavar="FILE", help="plan file, or one that ships: coupe-plan")
    parser.add_argument(
        "--set",
        metavar="NAME=VALUE",
        dest="settings",
        action="append",
        default=[],
        help="change one setting of the plan, such as front_drop=2-1/4 or cut=level; may be repeated",
    )
    width = max(map(len, SETTINGS))
    lines = [f"  {name:{width}}  {what}" for name, what in SETTINGS.items()]
    parser.epilog = "\n".join(["settings of a plan, plain lengths in the car's unit:", *lines])
    parser.formatter_class = argparse.RawDescriptionHelpFormatter


def _json(parser):
    parser.add_argument("--json", action="store_true", help="print JSON and nothing else")


def _demo(options):
    from dataclasses import replace

    from .evaluate import evaluate
    from .files import write_text_atomically
    from .output.text import report_text
    from .uncertainty import cut_working

    car = _read_car(DEMO_CAR)
    plan = _read_plan(f"{DEMO_CAR}-plan", car)
    report = replace(evaluate(car, plan), uncertainty=cut_working(car, plan).done())
    said = [_written(DEMO_JSON, lambda path: write_text_atomically(path, _json_text(report.to_json())))]
    print(report_text(report), flush=True)
    said.append(_written(DEMO_STEP, lambda path: _write_step(car, plan, path)))
    print("\n".join(said))
    print("Open the notebook with its sliders:\n\n    plumbdrop notebook")


def _check(options):
    from .built import remembered_shape
    from .carfindings import car_check
    from .evaluate import evaluate
    from .output.measures import measures_lines
    from .output.text import check_text

    car = _read_car(options.car)
    check = car_check(remembered_shape(car))
    if options.json:
        print(_json_text(check.to_json()), end="")
    else:
        print(check_text(car, evaluate(car), measures_lines(check)), end="")


def _report(options):
    from dataclasses import replace

    from .evaluate import evaluate
    from .output.text import report_text
    from .uncertainty import cut_working

    car, plan = _car_and_plan(options)
    report = replace(evaluate(car, plan), uncertainty=cut_working(car, plan).done())
    print(_json_text(report.to_json()) if options.json else report_text(report), end="")


def _tape(options):
    from dataclasses import asdict

    from .evaluate import build_checked
    from .output.sureness import tape_text
    from .uncertainty import whole_working

    car, plan = _car_and_plan(options)
    build_checked(car, plan)  # a plan that cannot be built is refused before the long work
    working = whole_working(car, plan)
    is_watched = sys.stderr.isatty()
    for share in working.steps():
        if is_watched:
            print(f"\r{share:4.0%} of the readings moved", end="", file=sys.stderr, flush=True)
    if is_watched:
        print("\r" + 40 * " " + "\r", end="", file=sys.stderr)
    found = working.result
    print(_json_text(asdict(found)) if options.json else tape_text(car, plan, found), end="")


def _compare(options):
    from .evaluate import evaluate
    from .output.text import comparison_text

    if len(options.plans) < 2:
        raise CommandRefused("plumbdrop compare: must be given two plans or more; got 1. Name another one.")
    car = _read_car(options.car)
    reports = [evaluate(car, plan) for plan in [_read_plan(name, car) for name in options.plans]]
    if options.json:
        print(_json_text({"reports": [report.to_json() for report in reports]}), end="")
    else:
        print(comparison_text(reports), end="")


def _step(options):
    if Path(options.output).suffix.lower() not in STEP_ENDINGS:
        raise FileRefused(
            options.output, f"must end in {' or '.join(STEP_ENDINGS)}.", "Give the file such a name."
        )
    car, plan = _car_and_plan(options)
    is_stock = options.stock or (plan.roof is None and plan.window is None)
    print(_written(options.output, lambda path: _write_step(car, plan, path, is_stock=is_stock)))


def _hoops(options):
    from .files import write_text_atomically
    from .hooptable import hoop_table_csv

    car = _read_car(options.car)
    print(_written(options.output, lambda path: write_text_atomically(path, hoop_table_csv(car))))


def _verify(options):
    from .files import write_text_atomically
    from .outside.verify import all_checks, outcomes_of, summary_of, verify_json, verify_page, verify_text

    outcomes = outcomes_of(all_checks())
    said = verify_text(outcomes)
    if options.output:
        page = verify_page(outcomes)
        said = _written(options.output, lambda path: write_text_atomically(path, page))
        said += f"\n{summary_of(outcomes)}\n"
    print(_json_text(verify_json(outcomes)) if options.json else said, end="")
    return DONE if all(outcome.holds for outcome in outcomes) else FAILED


def _points(options):
    from .files import write_text_atomically
    from .tackedfit import sheet_of

    car = _read_car(options.car)
    sheet = sheet_of(car, _read_plan(options.plan, car))
    print(_written(options.output, lambda path: write_text_atomically(path, sheet)))


def _fitted(options):
    from .carfile import demo_car_names, demo_tacked_path
    from .output.tackedtext import tacked_text
    from .tackedfit import fitted_from_file

    car = _read_car(options.car)
    shipped = {f"{name}-tacked": name for name in demo_car_names()}
    is_shipped = options.measured in shipped and not Path(options.measured).is_file()
    path = demo_tacked_path(shipped[options.measured]) if is_shipped else options.measured
    report = fitted_from_file(car, _read_plan(options.plan, car), path)
    print(_json_text(report.to_json()) if options.json else tacked_text(report), end="")


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


def _car_and_plan(options):
    from .plan import Plan
    from .plansettings import plan_with_settings

    car = _read_car(options.car)
    unnamed = Plan(name=", ".join(options.settings)) if options.settings else Plan()
    plan = _read_plan(options.plan, car) if options.plan else unnamed
    return car, plan_with_settings(plan, options.settings, car)


def _read_car(name):
    """Return the car in a file of that name or, where there is none, the one that ships."""
    from .carfile import demo_car_names, demo_car_path, read_car

    is_shipped = name in demo_car_names() and not Path(name).is_file()
    return read_car(demo_car_path(name) if is_shipped else name)


def _read_plan(name, car):
    """Return the plan in a file of that name or, where there is none, the one that ships."""
    from .carfile import demo_car_names, demo_plan_path
    from .planfile import read_plan

    shipped = {f"{car_name}-plan": car_name for car_name in demo_car_names()}
    is_shipped = name in shipped and not Path(name).is_file()
    return read_plan(demo_plan_path(shipped[name]) if is_shipped else name, car)


def _write_step(car, plan, path, *, is_stock=False):
    from .evaluate import build_checked
    from .output.step import CHOPPED, STOCK, write_step

    write_step(build_checked(car, plan), path, stays=STOCK if is_stock else CHOPPED)


def _written(path, write):
    """Write a file and return the line that says so, and whether an older one gave way."""
    verb = "replaced" if Path(path).exists() else "wrote"
    write(path)
    return f"{verb} {path}"


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


def _json_text(values):
    return json.dumps(values, indent=2, allow_nan=False) + "\n"


if __name__ == "__main__":
    sys.exit(main())
