"""How sure the numbers are: the tape's error carried through to what is cut by.

**Law.**  A number q depends on readings x_j with standard deviations s_j that
are independent of each other.  To first order (JCGM 100:2008, 5.1.2, from memory)

    s(q)² = Σ_j c_j² s_j²,   c_j = ∂q / ∂x_j,

and q ± 1.96 s(q) holds the true value 95 times in 100, for many small errors
add up to a normal distribution.  Where only one or two readings count, their
sum is flatter than a normal one and the ± errs on the wide side.

**Sensitivities.**  c_j is the change of q when reading j alone is moved by
its own s_j, divided by s_j: the whole tool runs once more for every reading.
Spline parameters and what a reading does not touch are taken over from the
car as it is, so most of the work is remembered.

**What to take again.**  One reading more at place j takes n_j readings to
n_j + 1 and lowers s(q)² by c_j² s_j² / (n_j + 1).  Contributions of different
readings add up, so the readings that lower Σ s(q)² over the numbers of the
cut the most are those with the greatest contributions.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from .built import Built, build_on, remembered_shape
from .errors import RoofError
from .evaluate import headroom_mm
from .glass import window_report
from .measured import Car
from .plan import Plan
from .readings import Reading, readings_of, with_values
from .seams import seam_reports
from .shape import shape_near

COVERAGE = 1.96  # standard deviations either side for 95 %
CUT = ("take-out", "miss fore-and-aft", "miss across")  # what a post is cut by

Number = tuple[str, str]  # where and what: ("A right", "take-out")


def headline_numbers(built: Built) -> dict[Number, float]:
    """Return the numbers that get a ±: lengths in mm, rakes in degrees."""
    out: dict[Number, float] = {}
    for (post, side), ends in built.ends.items():
        values = (float(ends.take_out_mm[0]), *ends.miss_mm)
        out |= {(f"{post} {side}", what): value for what, value in zip(CUT, values, strict=True)}
    weld = 0.0
    for seam in seam_reports(built):
        weld += seam.length_mm
        if seam.gap_mm is not None:
            for what in ("min", "mean", "max"):
                out[f"{seam.name} ({seam.side})", f"gap {what}"] = getattr(seam.gap_mm, what)
    if built.ends or built.plan.window:
        out["all seams", "weld"] = weld
    headroom = headroom_mm(built)
    if headroom is not None:
        out["driver's seat", "headroom"] = headroom
    window = window_report(built)
    out["rear window", "rake"] = window.rear_rake_after_deg
    out["windshield", "rake"] = window.windshield_rake_after_deg
    return out


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """What the readings' errors do to the numbers of one plan.

    Attributes
    ----------
    numbers : tuple of Number
    values : (m,)
    readings : tuple of Reading
    changes : (m, n)
        Change of every number when a reading is off by its standard deviation:
        c_j s_j.  A column of nan: with that reading moved the plan cannot be built.
    """

    numbers: tuple[Number, ...]
    values: np.ndarray
    readings: tuple[Reading, ...]
    changes: np.ndarray

    @property
    def plus_minus(self) -> dict[Number, float]:
        """± at 95 % of every number."""
        spread = COVERAGE * np.sqrt(np.nansum(self.changes**2, axis=1))
        return dict(zip(self.numbers, spread.tolist(), strict=True))

    def take_again(self, count: int = 3) -> list[Again]:
        """Return the readings that, taken once more, would shrink the doubt about the cut the most."""
        rows = [i for i, (_, what) in enumerate(self.numbers) if what in CUT]
        share = np.nansum(self.changes[rows] ** 2, axis=0)
        total = share.sum()
        best = [j for j in np.argsort(-share, kind="stable")[:count] if share[j] > 0]
        out = []
        for j in best:
            worst = max(rows, key=lambda i: abs(self.changes[i, j]))
            var = np.nansum(self.changes[worst] ** 2)
            less = var - self.changes[worst, j] ** 2 / (self.readings[j].times + 1)
            out.append(
                Again(
                    self.readings[j],
                    float(share[j] / total),
                    self.numbers[worst],
                    float(COVERAGE * np.sqrt(var)),
                    float(COVERAGE * np.sqrt(less)),
                )
            )
        return out


@dataclass(frozen=True)
class Again:
    """A reading worth taking again: its share of the doubt, and what it does to one number's ±."""

    reading: Reading
    share: float
    number: Number
    plus_minus_now: float
    plus_minus_then: float


@dataclass(eq=False)
class Working:
    """An uncertainty being worked out, a reading at a time, so that a slider never waits for it."""

    car: Car
    plan: Plan
    done: int = 0
    readings: tuple[Reading, ...] = ()
    _columns: list = field(default_factory=list)

    def steps(self) -> Iterator[float]:
        """Work; yield the share done after every reading."""
        shape = remembered_shape(self.car)
        self.readings = readings_of(self.car)
        nominal = headline_numbers(build_on(shape, self.plan))
        self.numbers, self.values = tuple(nominal), np.array(list(nominal.values()))
        for reading in self.readings:
            self._columns.append(self._column(shape, reading))
            yield len(self._columns) / len(self.readings)

    def _column(self, shape, reading):
        car = with_values(self.car, {reading: reading.value_mm + reading.sd_mm})
        try:
            moved = headline_numbers(build_on(shape_near(car, shape), self.plan))
        except RoofError:
            return np.full(len(self.values), np.nan)
        return np.array([moved.get(n, np.nan) for n in self.numbers]) - self.values

    def result(self) -> Uncertainty:
        """Return what has been worked out; once all steps are done."""
        return Uncertainty(self.numbers, self.values, self.readings, np.array(self._columns).T)


def uncertainty_of(car: Car, plan: Plan) -> Uncertainty:
    """Return how sure the numbers of a plan are."""
    working = Working(car, plan)
    for _ in working.steps():
        pass
    return working.result()
