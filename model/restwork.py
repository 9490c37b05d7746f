"""What the preview does while no slider moves, in steps between which one is heard; and its stop watch."""

from __future__ import annotations

import asyncio
import gc
import time
from collections.abc import AsyncIterator, Iterable, Iterator
from contextlib import contextmanager

from .errors import RoofError
from .measured import Car
from .plan import Plan
from .processes import uncertainty_elsewhere
from .tapereport import Uncertainty
from .uncertainty import cut_working

BETWEEN_STEPS_S = 0.02  # for a slider to be heard
STEPS_S = 0.03  # of steps without a look for a slider: more would keep it waiting, less is lost in looking


def is_heard() -> bool:
    """Return whether a kernel's loop runs, so that work can be left for later."""
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return False
    return True


@contextmanager
def without_sweeps() -> Iterator[None]:
    """Let Python not look for garbage meanwhile: once in a while it looks through all that there is."""
    is_sweeping = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if is_sweeping:
            gc.enable()


def swept() -> None:
    """Look for garbage now, and lay aside what was loaded once and stays, so that no later look sees it."""
    if not gc.get_freeze_count():
        gc.collect()
        gc.freeze()


async def done_in_steps(steps: Iterable) -> None:
    """Do steps one after the other; whoever cancels this waits for one and a few short ones at most."""
    begun = time.perf_counter()
    for _ in steps:
        if time.perf_counter() - begun > STEPS_S:
            await asyncio.sleep(BETWEEN_STEPS_S)
            begun = time.perf_counter()


async def uncertainties(car_name: str, car: Car, plan: Plan, wait_s: float) -> AsyncIterator[Uncertainty]:
    """Yield the ± of the cut, worked out here, then those of all numbers, worked out elsewhere.

    ``wait_s`` is how long nobody must have asked for anything else before either begins.
    """
    await asyncio.sleep(wait_s)
    working = cut_working(car, plan)
    await done_in_steps(working.steps())
    yield working.result
    await asyncio.sleep(wait_s)
    yield await uncertainty_elsewhere(car_name, car, plan)


def in_plain_words(problem: Exception) -> str:
    """Return what was refused and why; a fault of the program is called one."""
    if isinstance(problem, RoofError):
        return str(problem)
    return f"This is a fault in Plumbdrop, not in your plan: {type(problem).__name__}: {problem}"


class Clock:
    """Laps of one change."""

    def __init__(self):
        self._last = time.perf_counter()
        self.laps_ms: dict[str, float] = {}

    def lap(self, name: str) -> None:
        """Note how long it took since the last lap."""
        now = time.perf_counter()
        self.laps_ms[name], self._last = (now - self._last) * 1000, now
