"""A plan's report as it grows, for whoever waits at a slider: the quick numbers at once, then in steps.

While a slider moves the pieces are shown without their new metal, whose surfaces take half a
second.  When it rests new metal, what runs into what and the blanks follow, each in a step of
its own, so that another move has to wait for one step at most.  The last step is the
report that :func:`model.evaluate.report_of` gives at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from .built import Built
from .evaluate import fit_report_of, looking_further, moving_report_of, reporting, with_found
from .metalblanks import blank_steps, with_blank
from .plandict import plan_to_dict
from .report import Report


@lru_cache(maxsize=8)
def without_new_metal(built: Built) -> Built:
    """Return a plan carried out as its pieces stand before any new metal; the same where there is none.

    Remembered, so that whatever is remembered of these pieces is found again.
    """
    if built.plan.new_metal is None:
        return built
    return replace(built, plan=replace(built.plan, new_metal=None))


def quick_report(built: Built) -> Report:
    """Return what can be said at once: the pieces, their gaps and posts, under the whole plan's name."""
    return replace(moving_report_of(without_new_metal(built)), plan=plan_to_dict(built.plan))


def with_remedies(report: Report, drawn: Built) -> Report:
    """Return a report with what would bring the ends of every post of the pieces drawn together."""
    return replace(report, posts=fit_report_of(drawn).posts)


def report_steps(built: Built) -> Iterator[Report | None]:
    """Yield the report with new metal, then with what runs into what, then after every blank.

    None after a step that has brought nothing to show yet.
    """
    yield from reporting(built).steps()
    report = fit_report_of(built)
    if report.new_metal:
        yield report
    yield from looking_further(built).steps()
    found = looking_further(built).result()
    report = with_found(report, built, *found)
    yield report
    for metal in [metal for metal in report.new_metal if not metal.walls]:
        yield from blank_steps(built, metal)
        report = with_blank(report, built, metal.name)
        yield report
    if report.new_metal:
        yield with_found(report, built, *found)  # its findings anew, by the blanks
