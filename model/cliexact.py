"""The command that asks the CAD kernel what runs into what: slow, and the measure of the quick answer."""

from __future__ import annotations

from .cliwords import add_car, add_json, add_plan, car_and_plan, json_text


def add_commands(command):
    """Add it; ``command(name, run, help_text)`` returns its parser."""
    exact = command(
        "interference", _interference, "find what runs into what with exact solids: takes a while"
    )
    add_car(exact)
    add_plan(exact)
    add_json(exact)


def _interference(options):
    from dataclasses import asdict

    from .evaluate import build_checked
    from .exactinterference import interference_steps, undecided
    from .output.exactinterference import interference_text
    from .progress import end_progress, say_progress

    car, plan = car_and_plan(options)
    found, built = [], build_checked(car, plan)
    for share, so_far in interference_steps(built):
        found = so_far
        say_progress(share, "of the pairs held against each other")
    end_progress()
    bodies, doubtful = [asdict(body) for body in found], undecided(built)
    if options.json:
        print(json_text({"interference": bodies, "undecided": doubtful}), end="")
    else:
        print(interference_text(bodies, doubtful, car, plan), end="")
