"""The command for the weld plan."""

from __future__ import annotations

from .cliwords import add_car, add_json, named_car, named_plan, said_or_written


def add_commands(command):
    """Add it; ``command(name, run, help_text)`` returns the parser of one."""
    weld = command(
        "weld", _weld, "plan the welding: tacks, stretches in order, access, wire, time, shrinkage"
    )
    add_car(weld)
    weld.add_argument("plan", metavar="PLAN", help="plan file, or one that ships: coupe-plan")
    weld.add_argument("-o", "--output", metavar="FILE", help="write a page to print, as HTML")
    add_json(weld)


def _weld(options):
    from .evaluate import build_checked, fit_report_of
    from .output.weldhtml import weld_page
    from .output.weldtext import weld_text
    from .weldplan import weld_plan

    car = named_car(options.car)
    built = build_checked(car, named_plan(options.plan, car))
    plan = weld_plan(built, fit_report_of(built))
    print(said_or_written(options, plan, weld_text, weld_page), end="")
