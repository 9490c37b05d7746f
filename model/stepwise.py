"""Long work in steps, each done once: at once or a step at a time, whoever asks.

The work is a generator that yields after every step and returns its result.
Whoever waits at a slider does one step, listens, and does the next; whoever
wants the result takes what has been done so far and does the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from functools import lru_cache, wraps
from typing import Generic, TypeVar

Result = TypeVar("Result")


class Stepwise(Generic[Result]):
    """Steps of some work, and its result once they are done; a refusal is raised again to whoever asks."""

    def __init__(self, work: Generator[None, None, Result]):
        self._work = work
        self._result: Result | None = None
        self._refusal: Exception | None = None
        self._is_done = False

    def steps(self) -> Iterator[None]:
        """Do what is left, yielding after every step but the last."""
        while True:
            self._step()
            if self._is_done:
                return
            yield

    def result(self) -> Result:
        """Return the result, after doing what is left."""
        for _ in self.steps():
            pass
        return self._result

    def _step(self):
        if self._refusal is not None:
            raise self._refusal
        if self._is_done:
            return
        try:
            next(self._work)
        except StopIteration as end:
            self._is_done, self._result = True, end.value
        except Exception as refusal:
            self._refusal = refusal
            raise


def at_once(work: Generator[None, None, Result]) -> Result:
    """Return the result of some work, all of its steps done."""
    return Stepwise(work).result()


def in_steps(maxsize: int) -> Callable:
    """Return a decorator of a generator function: its last few works are remembered, as :class:`Stepwise`."""

    def of(work):
        return lru_cache(maxsize=maxsize)(wraps(work)(lambda *given: Stepwise(work(*given))))

    return of
