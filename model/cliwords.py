"""What the commands share: the car and the plan that a command line names, and what is said at its end."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from .errors import RoofError
from .plansettings import SETTINGS

DONE, FAILED, REFUSED = 0, 1, 2


class CommandRefused(RoofError):
    """A command line that cannot be carried out."""


def add_car(parser):
    """Add the measured car."""
    parser.add_argument("car", metavar="CAR", help="car file, or one that ships: coupe, pickup")


def add_plan(parser):
    """Add the plan and the settings that go over it."""
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


def add_json(parser):
    """Add the choice of JSON."""
    parser.add_argument("--json", action="store_true", help="print JSON and nothing else")


def car_and_plan(options):
    """Return the car and the plan of a command line, its settings over the plan."""
    from .plan import Plan
    from .plansettings import plan_with_settings

    car = named_car(options.car)
    unnamed = Plan(name=", ".join(options.settings)) if options.settings else Plan()
    plan = named_plan(options.plan, car) if options.plan else unnamed
    return car, plan_with_settings(plan, options.settings, car)


def named_car(name):
    """Return the car in a file of that name or, where there is none, the one that ships."""
    from .carfile import demo_car_names, demo_car_path, read_car

    is_shipped = name in demo_car_names() and not Path(name).is_file()
    return read_car(demo_car_path(name) if is_shipped else name)


def named_plan(name, car):
    """Return the plan in a file of that name or, where there is none, the one that ships."""
    from .carfile import (
        demo_car_names,
        demo_closed_path,
        demo_closed_way_path,
        demo_laid_back_path,
        demo_plan_path,
        demo_split_path,
    )
    from .plan import WAYS
    from .planfile import read_plan

    names = demo_car_names()
    paths = {
        "plan": demo_plan_path,
        "closed": demo_closed_path,
        "laid-back": demo_laid_back_path,
        "split": demo_split_path,
    }
    shipped = {f"{each}-{which}": path(each) for each in names for which, path in paths.items()}
    shipped |= {f"{each}-{way}-closed": demo_closed_way_path(each, way) for each in names for way in WAYS}
    is_shipped = name in shipped and not Path(name).is_file()
    return read_plan(shipped[name] if is_shipped else name, car)


def written(path, write):
    """Write a file and return the line that says so, and whether an older one gave way."""
    verb = "replaced" if Path(path).exists() else "wrote"
    write(path)
    return f"{verb} {path}"


def said_or_written(options, record, as_text, as_page):
    """Return what a command says of a record: JSON if asked for, what was written, else the text.

    ``as_page(record)`` is what goes into the file of ``-o``; nothing is worked out that is not asked for.
    """
    from .files import write_text_atomically

    line = None
    if options.output:
        page = as_page(record)
        line = written(options.output, lambda path: write_text_atomically(path, page)) + "\n"
    if options.json:
        return json_text(record.to_json())
    return line or as_text(record)


def json_text(values):
    """Return values as JSON, for a person to read as well."""
    return json.dumps(values, indent=2, allow_nan=False) + "\n"
