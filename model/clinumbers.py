"""The commands that print numbers: of a car, of a plan, of several plans."""

from __future__ import annotations

from .cliwords import (
    DONE,
    FAILED,
    CommandRefused,
    add_car,
    add_json,
    add_plan,
    car_and_plan,
    json_text,
    named_car,
    named_plan,
    said_or_written,
    written,
)


def add_commands(command):
    """Add them; ``command(name, run, help_text)`` returns the parser of one."""
    check = command("check", _check, "check a measured car: does it hold together, what to measure again")
    add_car(check)
    add_json(check)

    report = command("report", _report, "print every number of one plan on one car")
    add_car(report)
    add_plan(report)
    report.add_argument("-o", "--output", metavar="FILE", help="write it into a file, as text, to print")
    add_json(report)

    tape = command("tape", _tape, "print how far off every number may be by the tape, and what to read again")
    add_car(tape)
    add_plan(tape)
    add_json(tape)

    compare = command("compare", _compare, "print several plans of one car side by side")
    add_car(compare)
    compare.add_argument("plans", metavar="PLAN", nargs="+", help="plan files, two or more")
    add_json(compare)

    ways = command("ways", _ways, "print the ways of lowering a roof to one look side by side")
    add_car(ways)
    ways.add_argument("plan", metavar="PLAN", help="plan file, or one that ships: coupe-plan")
    ways.add_argument("-o", "--output", metavar="FILE", help="write a page with a side view of each, as HTML")
    add_json(ways)

    verify = command("verify", _verify, "hold what Plumbdrop works out against published values")
    verify.add_argument("-o", "--output", metavar="FILE", help="write the table as a Markdown page")
    add_json(verify)


def _check(options):
    from .built import remembered_shape
    from .carfindings import car_check
    from .evaluate import evaluate
    from .output.measures import measures_lines
    from .output.text import check_text

    car = named_car(options.car)
    check = car_check(remembered_shape(car))
    if options.json:
        print(json_text(check.to_json()), end="")
    else:
        print(check_text(car, evaluate(car), measures_lines(check)), end="")


def _report(options):
    from dataclasses import replace

    from .evaluate import evaluate
    from .output.text import report_text
    from .uncertainty import cut_working

    car, plan = car_and_plan(options)
    report = replace(evaluate(car, plan), uncertainty=cut_working(car, plan).done())
    print(said_or_written(options, report, report_text, report_text), end="")


def _tape(options):
    from dataclasses import asdict

    from .evaluate import build_checked
    from .output.sureness import tape_text
    from .progress import end_progress, say_progress
    from .uncertainty import whole_working

    car, plan = car_and_plan(options)
    build_checked(car, plan)  # a plan that cannot be built is refused before the long work
    working = whole_working(car, plan)
    for share in working.steps():
        say_progress(share, "of the readings moved")
    end_progress()
    found = working.result
    print(json_text(asdict(found)) if options.json else tape_text(car, plan, found), end="")


def _compare(options):
    from .evaluate import evaluate
    from .output.comparison import comparison_text

    if len(options.plans) < 2:
        raise CommandRefused("plumbdrop compare: must be given two plans or more; got 1. Name another one.")
    car = named_car(options.car)
    reports = [evaluate(car, plan) for plan in [named_plan(name, car) for name in options.plans]]
    if options.json:
        print(json_text({"reports": [report.to_json() for report in reports]}), end="")
    else:
        print(comparison_text(reports), end="")


def _ways(options):
    from .output.wayshtml import ways_page
    from .output.waystext import ways_text
    from .waycomparison import compare_ways

    car = named_car(options.car)
    plan = named_plan(options.plan, car)
    found = compare_ways(car, plan)
    print(said_or_written(options, found, ways_text, lambda ways: ways_page(car, plan, ways)), end="")


def _verify(options):
    from .files import write_text_atomically
    from .outside.verify import all_checks, outcomes_of, summary_of, verify_json, verify_page, verify_text

    outcomes = outcomes_of(all_checks())
    said = verify_text(outcomes)
    if options.output:
        page = verify_page(outcomes)
        said = written(options.output, lambda path: write_text_atomically(path, page))
        said += f"\n{summary_of(outcomes)}\n"
    print(json_text(verify_json(outcomes)) if options.json else said, end="")
    return DONE if all(outcome.holds for outcome in outcomes) else FAILED
