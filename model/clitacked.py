"""The commands for the tacked roof: a sheet of points to measure again, and how the roof stands."""

from __future__ import annotations

from pathlib import Path

from .cliwords import add_car, add_json, json_text, named_car, named_plan, written


def add_commands(command):
    """Add them; ``command(name, run, help_text)`` returns the parser of one."""
    points = command("points", _points, "write a sheet of points to measure again on the tacked roof")
    add_car(points)
    _add_tacked_plan(points)
    points.add_argument("-o", "--output", metavar="FILE", required=True, help="TOML file to write")

    fitted = command("fitted", _fitted, "hold the tacked roof against its plan: what to move, and how far")
    add_car(fitted)
    _add_tacked_plan(fitted)
    fitted.add_argument(
        "measured", metavar="MEASURED", help="points measured again, or those that ship: coupe-tacked"
    )
    add_json(fitted)


def _add_tacked_plan(parser):
    parser.add_argument(
        "plan", metavar="PLAN", help="plan the roof was cut by, or one that ships: coupe-plan"
    )


def _points(options):
    from .files import write_text_atomically
    from .tackedfit import sheet_of

    car = named_car(options.car)
    sheet = sheet_of(car, named_plan(options.plan, car))
    print(written(options.output, lambda path: write_text_atomically(path, sheet)))


def _fitted(options):
    from .carfile import demo_car_names, demo_tacked_path
    from .output.tackedtext import tacked_text
    from .tackedfit import fitted_from_file

    car = named_car(options.car)
    shipped = {f"{name}-tacked": name for name in demo_car_names()}
    is_shipped = options.measured in shipped and not Path(options.measured).is_file()
    path = demo_tacked_path(shipped[options.measured]) if is_shipped else options.measured
    report = fitted_from_file(car, named_plan(options.plan, car), path)
    print(json_text(report.to_json()) if options.json else tacked_text(report), end="")
