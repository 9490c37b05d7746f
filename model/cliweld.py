"""The command for the weld plan."""

from __future__ import annotations

from .cliwords import add_car, add_json, json_text, named_car, named_plan, written


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
    from .files import write_text_atomically
    from .output.weldhtml import weld_page
    from .output.weldtext import weld_text
    from .weldplan import weld_plan

    car = named_car(options.car)
    built = build_checked(car, named_plan(options.plan, car))
    plan = weld_plan(built, fit_report_of(built))
    said = json_text(plan.to_json()) if options.json else weld_text(plan)
    if options.output:
        page = weld_page(plan)
        line = written(options.output, lambda path: write_text_atomically(path, page)) + "\n"
        said = said if options.json else line
    print(said, end="")
