"""Every outside check, and what comes out: as text, as a page, as JSON.

There is one list.  The tests run it too, and the page beside this file was
written from it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import groupby

from ..output.cells import table_lines, wrapped
from .cabin import cabin_checks
from .check import Check, Outcome, carried_out
from .curves import curve_checks
from .drivers import driver_checks
from .flatblanks import blank_checks
from .flatdoors import flat_door_checks
from .flatposts import flat_post_checks
from .flatseams import flat_seam_checks
from .flatsplit import split_checks
from .leanedposts import leaned_post_checks
from .rafters import rafter_checks
from .sheetsteel import sheet_checks
from .shopunits import unit_checks
from .stepfile import step_checks
from .welding import welding_checks

HEADS = ("what", "ours", "reference", "unit", "difference", "allowed", "holds")
NOISE = 1e-9  # a difference below it is rounding, and shown as 0


def all_checks() -> list[Check]:
    """Return the one list of outside checks; nothing is worked out yet."""
    return [
        *rafter_checks(),
        *flat_post_checks(),
        *leaned_post_checks(),
        *flat_seam_checks(),
        *flat_door_checks(),
        *welding_checks(),
        *split_checks(),
        *curve_checks(),
        *sheet_checks(),
        *blank_checks(),
        *cabin_checks(),
        *driver_checks(),
        *unit_checks(),
        *step_checks(),
    ]


def outcomes_of(checks: Iterable[Check]) -> list[Outcome]:
    """Return the outcomes of checks, in their order."""
    return [carried_out(check) for check in checks]


def cells_of(outcome: Outcome) -> tuple[str, ...]:
    """Return the cells of :data:`HEADS`."""
    check = outcome.check
    return (
        check.what,
        _value(outcome.ours),
        _value(check.reference),
        check.unit,
        "" if outcome.difference is None else _small(outcome.difference),
        "the same" if check.allowed is None else f"{check.allowed:.2g}",
        "yes" if outcome.holds else "NO",
    )


def summary_of(outcomes: list[Outcome]) -> str:
    """Say in one sentence whether all hold."""
    failed = sum(not outcome.holds for outcome in outcomes)
    if failed:
        return f"{failed} of {len(outcomes)} checks do not hold: do not cut by these numbers."
    return f"All {len(outcomes)} checks hold."


def verify_text(outcomes: list[Outcome]) -> str:
    """Return the outcomes as text: a table under each heading, the sources of its rows below it.

    What does not hold is told again at the end.
    """
    lines = ["OUTSIDE CHECKS   ours against published tables and closed forms", summary_of(outcomes)]
    for kind, own in groupby(outcomes, key=lambda outcome: outcome.check.kind):
        own = list(own)
        sources = list(dict.fromkeys(outcome.check.source for outcome in own))
        rows = [(*cells_of(o), f"[{sources.index(o.check.source) + 1}]") for o in own]
        lines += ["", kind.upper(), *table_lines([*HEADS, "source"], rows)]
        for number, source in enumerate(sources, start=1):
            lines += wrapped(source, f"  [{number}] ", "      ")
    lines += ["", summary_of(outcomes)]
    for outcome in outcomes:
        if not outcome.holds:
            what, ours, reference, unit, *_ = cells_of(outcome)
            lines += wrapped(
                f"{what}: ours {ours} {unit}, reference {reference} {unit}; {outcome.check.source}", "  - "
            )
    return "\n".join(lines) + "\n"


def verify_page(outcomes: list[Outcome]) -> str:
    """Return the outcomes as a Markdown page."""
    lines = [
        "# Outside checks",
        "",
        "Written by `plumbdrop verify -o FILE`; the tests run the same list. *Ours* is worked out by the "
        "code that a report is made with; the reference was made elsewhere, or is a closed form. *Allowed* "
        "is the rounding of the reference as it is printed, or what the row says. A source “from memory” "
        "was not looked up; “common practice, no source” has none.",
        "",
        summary_of(outcomes),
    ]
    heads = [*HEADS, "source"]
    for kind, own in groupby(outcomes, key=lambda outcome: outcome.check.kind):
        lines += [
            "",
            f"## {kind[0].upper()}{kind[1:]}",
            "",
            _page_row(heads),
            _page_row(["---"] * len(heads)),
        ]
        lines += [_page_row([*cells_of(outcome), outcome.check.source]) for outcome in own]
    return "\n".join(lines) + "\n"


def verify_json(outcomes: list[Outcome]) -> dict:
    """Return the outcomes as ``schemas/verify.schema.json`` says."""
    return {
        "checks": [
            {
                "kind": outcome.check.kind,
                "what": outcome.check.what,
                "ours": _number_or_none(outcome.ours),
                "reference": outcome.check.reference,
                "unit": outcome.check.unit,
                "source": outcome.check.source,
                "difference": _number_or_none(outcome.difference),
                "allowed": outcome.check.allowed,
                "holds": outcome.holds,
            }
            for outcome in outcomes
        ]
    }


def _number_or_none(value):
    """JSON has no nan: what came out as none is null, and does not hold."""
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _page_row(cells):
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


def _value(value):
    if isinstance(value, str):
        return value
    rounded = round(value, 6)
    return f"{rounded + 0.0 if rounded else 0.0:.10g}"


def _small(value):
    return "0" if abs(value) < NOISE else f"{value:.2g}"
