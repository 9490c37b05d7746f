"""The commands that write files for other programs, and the demo that does a bit of everything."""

from __future__ import annotations

from pathlib import Path

from .cliwords import add_car, add_plan, car_and_plan, json_text, named_car, named_plan, written
from .errors import FileRefused

DEMO_CAR = "coupe"
DEMO_STEP, DEMO_JSON = "plumbdrop-demo.step", "plumbdrop-demo.json"
STEP_ENDINGS = (".step", ".stp")


def add_commands(command):
    """Add them; ``command(name, run, help_text)`` returns the parser of one."""
    command("demo", _demo, "lower the roof of a demo car: report, STEP and JSON")

    step = command("step", _step, "write the car as a STEP assembly, in millimetres")
    add_car(step)
    add_plan(step)
    step.add_argument(
        "--stock", action="store_true", help="leave every piece where it was: with a plan, cut but not moved"
    )
    step.add_argument("-o", "--output", metavar="FILE", required=True, help="STEP file to write")

    hoops = command("hoops", _hoops, "write the car's hoop table as CSV, for a spreadsheet")
    add_car(hoops)
    hoops.add_argument("-o", "--output", metavar="FILE", required=True, help="CSV file to write")


def _demo(options):
    from dataclasses import replace

    from .evaluate import evaluate
    from .files import write_text_atomically
    from .output.text import report_text
    from .uncertainty import cut_working

    car = named_car(DEMO_CAR)
    plan = named_plan(f"{DEMO_CAR}-plan", car)
    report = replace(evaluate(car, plan), uncertainty=cut_working(car, plan).done())
    said = [written(DEMO_JSON, lambda path: write_text_atomically(path, json_text(report.to_json())))]
    print(report_text(report), flush=True)
    said.append(written(DEMO_STEP, lambda path: _write_step(car, plan, path)))
    print("\n".join(said))
    print("Open the notebook with its sliders:\n\n    plumbdrop notebook")


def _step(options):
    if Path(options.output).suffix.lower() not in STEP_ENDINGS:
        raise FileRefused(
            options.output, f"must end in {' or '.join(STEP_ENDINGS)}.", "Give the file such a name."
        )
    car, plan = car_and_plan(options)
    is_stock = options.stock or (plan.roof is None and plan.window is None)
    print(written(options.output, lambda path: _write_step(car, plan, path, is_stock=is_stock)))


def _hoops(options):
    from .files import write_text_atomically
    from .hooptable import hoop_table_csv

    car = named_car(options.car)
    print(written(options.output, lambda path: write_text_atomically(path, hoop_table_csv(car))))


def _write_step(car, plan, path, *, is_stock=False):
    from .evaluate import build_checked
    from .output.step import CHOPPED, STOCK, write_step

    write_step(build_checked(car, plan), path, stays=STOCK if is_stock else CHOPPED)
