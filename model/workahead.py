"""What a move of a slider shows, and the same worked out ahead, for one more press of its arrow key.

An answer is a plan carried out, what can be said of it at once, and its picture.  It is worked out in
steps and remembered (:mod:`model.stepwise`), so that whoever moves the slider gets what is there of it and
does the rest.  Nothing is guessed: an answer that was worked out ahead is the one that would be given later.

While a slider rests, and before the slow numbers are looked for, the answers one step further and one
step back are worked out, the way it went last first.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass
from functools import lru_cache

from .built import Built
from .errors import RoofError
from .evaluate import cut_and_set
from .measured import Car
from .plan import Plan
from .plansettings import plan_with_settings
from .report import Report
from .reportsteps import quick_report, without_new_metal
from .restwork import done_in_steps
from .stepwise import in_steps
from .viewparts import parts_of

REMEMBERED = 4  # the plan shown, one step on and one back, and one more


@dataclass(frozen=True, kw_only=True, eq=False)
class Answer:
    """What a move of a slider shows.

    Attributes
    ----------
    built : Built
        The plan carried out.
    drawn : Built
        Its pieces without new metal: what the picture shows and the report is of.
    report : Report
        What can be said at once.
    cost_s : float
        Processor time that it took, which other work on the machine does not lengthen as it does waiting. [s]
    """

    built: Built
    drawn: Built
    report: Report
    cost_s: float


@in_steps(maxsize=REMEMBERED)
def answering(car: Car, plan: Plan) -> Generator[None, None, Answer]:
    """Carry out a plan and say what can be said at once, in steps.

    Raises
    ------
    MeasureError, PlanError
        As :func:`model.evaluate.cut_and_set`.
    """
    begun = time.process_time()
    built = cut_and_set(car, plan)
    carried_out_s = time.process_time() - begun
    yield
    begun = time.process_time()
    drawn, report = without_new_metal(built), quick_report(built)
    cost_s = carried_out_s + time.process_time() - begun
    return Answer(built=built, drawn=drawn, report=report, cost_s=cost_s)


@lru_cache(maxsize=REMEMBERED)
def picture_of(answer: Answer) -> dict[str, dict]:
    """Return {part: raw arrays} of what an answer shows, as :func:`model.viewparts.parts_of`."""
    return parts_of(answer.drawn, answer.report)


def steps_ahead(car: Car, plan: Plan, settings: Iterable[str]) -> Generator[None, None, None]:
    """Work out the answers to settings of a plan, one after the other, in steps.

    A setting that is refused is left: whoever asks for it is told why.
    """
    for setting in settings:
        try:
            working = answering(car, plan_with_settings(plan, [setting], car))
            for _ in working.steps():
                yield
            yield
            picture_of(working.result())
        except RoofError:
            continue
        yield


class WorkAhead:
    """Works out answers ahead where a kernel runs; says what went wrong to ``found``, as a future does."""

    def __init__(self, found: Callable[[asyncio.Future], None]):
        self._found = found
        self._working: asyncio.Future | None = None

    @property
    def is_working(self) -> bool:
        """Whether an answer is being worked out ahead."""
        return self._working is not None and not self._working.done()

    def begin(self, car: Car, plan: Plan, settings: Iterable[str]):
        """Begin with the answers to settings of a plan; what was begun before is ended."""
        self.end()
        self._working = asyncio.ensure_future(done_in_steps(steps_ahead(car, plan, settings)))
        self._working.add_done_callback(self._found)

    def end(self):
        """End it: whoever calls this waits for nothing."""
        if self._working is not None:
            self._working.cancel()
