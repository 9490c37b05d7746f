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

The numbers a post is cut by depend on the posts and the rear point alone, so
:func:`cut_uncertainty` moves only those and needs no skin; the others take
:class:`Working`, which can be stopped after any reading.

**What to take again.**  One reading more at place j takes n_j readings to
n_j + 1 and lowers s(q)² by c_j² s_j² / (n_j + 1).  Contributions of different
readings add up, so the readings that lower Σ s(q)² over the numbers of the
cut the most are those with the greatest contributions.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from .built import Built, build_on, place, remembered_shape
from .errors import RoofError
from .evaluate import headroom_mm
from .glass import window_report
from .measured import Car
from .plan import Plan
from .posts import PostLine
from .readings import Reading, readings_of, with_values
from .report import PlusMinus, SeamReport, TakeAgain, Uncertainty
from .seams import seam_reports
from .shape import shape_near

COVERAGE = 1.96  # standard deviations either side for 95 %
CUT = ("take-out", "miss fore-and-aft", "miss across")  # what a post is cut by
RAKE = "rake"  # in degrees; everything else is a length

Number = tuple[str, str]  # where and what: ("A right", "take-out")


def cut_numbers(ends) -> dict[Number, float]:
    """Return what every post is cut by. [mm]"""
    out = {}
    for (post, side), end in ends.items():
        values = (float(end.take_out_mm[0]), *end.miss_mm)
        out |= {(f"{post} {side}", what): value for what, value in zip(CUT, values, strict=True)}
    return out


def widest_places(seams: Sequence[SeamReport]) -> dict[str, tuple[float, float]]:
    """Return where along every seam its least and its greatest gap are, as shares of its edge."""
    places = {}
    for seam in seams:
        if seam.gap_mm is not None:
            along = [s.along_mm / seam.edge_mm for s in seam.stations]
            gap = [s.gap_mm for s in seam.stations]
            places[seam.name] = along[int(np.argmin(gap))], along[int(np.argmax(gap))]
    return places


def headline_numbers(built: Built, places=None) -> dict[Number, float]:
    """Return the numbers that get a ±: lengths in mm, rakes in degrees.

    Least and greatest gap are read at ``places`` (see :func:`widest_places`;
    by default where they are on this car): the ± is that of the gap there.
    """
    out = cut_numbers(built.ends)
    seams = seam_reports(built)
    places = widest_places(seams) if places is None else places
    for seam in seams:
        if seam.gap_mm is not None and seam.name in places:
            along = [s.along_mm / seam.edge_mm for s in seam.stations]
            gap = [s.gap_mm for s in seam.stations]
            least, greatest = np.interp(places[seam.name], along, gap)
            out |= {
                (seam.name, "gap min"): float(least),
                (seam.name, "gap mean"): seam.gap_mm.mean,
                (seam.name, "gap max"): float(greatest),
            }
    if seams:
        out["all seams", "weld"] = sum(seam.length_mm for seam in seams)
    headroom = headroom_mm(built)
    if headroom is not None:
        out["driver's seat", "headroom"] = headroom
    window = window_report(built)
    out["rear window", RAKE] = window.rear_rake_after_deg
    out["windshield", RAKE] = window.windshield_rake_after_deg
    return out


def uncertainty_from(numbers: dict[Number, float], readings: Sequence[Reading], changes) -> Uncertainty:
    """Return ± of every number, and the three readings to take again.

    Parameters
    ----------
    numbers : dict
        m numbers.
    readings : n readings
    changes : (m, n)
        Change of every number when a reading is off by its own standard
        deviation, c_j s_j; nan where the plan then cannot be built.
    """
    squares = np.nan_to_num(np.asarray(changes, float)) ** 2
    names, values = list(numbers), list(numbers.values())
    spread = COVERAGE * np.sqrt(squares.sum(axis=1))
    found = [
        PlusMinus(
            where=where,
            what=what,
            value=float(value),
            plus_minus=float(pm),
            unit="deg" if what == RAKE else "mm",
        )
        for (where, what), value, pm in zip(names, values, spread, strict=True)
    ]
    cut = [i for i, (_, what) in enumerate(names) if what in CUT]
    again = []
    if cut:
        times = np.array([reading.times for reading in readings])
        saved = squares / (times + 1)  # one reading more
        total = squares[cut].sum()
        for j in np.argsort(-saved[cut].sum(axis=0), kind="stable")[:3]:
            i = max(cut, key=lambda i: saved[i, j])
            if saved[i, j] > 0:
                again.append(
                    TakeAgain(
                        place=readings[j].place,
                        what=readings[j].what,
                        share=float(squares[cut, j].sum() / total),
                        of=found[i],
                        plus_minus_then=float(COVERAGE * np.sqrt(squares[i].sum() - saved[i, j])),
                    )
                )
    return Uncertainty(numbers=tuple(found), take_again=tuple(again))


def cut_uncertainty(car: Car, plan: Plan) -> Uncertainty:
    """Return how sure take-outs and misses are, and what to measure again; quick. [mm]"""
    shape = remembered_shape(car)
    nominal = cut_numbers(place(shape, plan).ends)
    rear = _rear_point_paths(car)
    readings = [r for r in readings_of(car) if r.paths[0][0] == "posts" or rear & set(r.paths)]
    if not nominal:
        return uncertainty_from({}, [], np.empty((0, 0)))

    def numbers(moved):
        lines = {
            (p.name, p.side): line if (line := shape.lines[p.name, p.side]).post == p else PostLine(p)
            for p in moved.all_posts()
        }
        return cut_numbers(place(replace(shape, car=moved, lines=lines), plan).ends)

    columns = [_change(car, reading, nominal, numbers) for reading in readings]
    return uncertainty_from(nominal, readings, np.array(columns).T)


def _rear_point_paths(car):
    hoop, row = car.rear_point
    h = next(i for i, found in enumerate(car.hoops) if found.name == hoop)
    return {("hoops", h, "right_mm", car.rows.index(row), axis) for axis in range(3)}


def _change(car, reading, nominal, numbers):
    """Return what one standard deviation of a reading does; nan where the plan cannot be built."""
    moved = with_values(car, {reading: reading.value_mm + reading.sd_mm})
    try:
        found = numbers(moved)
    except RoofError:
        return np.full(len(nominal), np.nan)
    return np.array([found.get(name, np.nan) - value for name, value in nominal.items()])


class Working:
    """All uncertainties of a plan, worked out a reading at a time, so that a slider never waits for it.

    Attributes
    ----------
    result : Uncertainty or None
        None until all steps are done.
    """

    def __init__(self, car: Car, plan: Plan):
        self.car, self.plan = car, plan
        self.result: Uncertainty | None = None

    def steps(self) -> Iterator[float]:
        """Work; yield the share that is done after every reading."""
        shape = remembered_shape(self.car)
        built = build_on(shape, self.plan)
        nominal, places = headline_numbers(built), widest_places(seam_reports(built))
        readings, columns = readings_of(self.car), []

        def numbers(moved):
            return headline_numbers(build_on(shape_near(moved, shape), self.plan), places)

        for reading in readings:
            columns.append(_change(self.car, reading, nominal, numbers))
            if len(columns) == len(readings):
                self.result = uncertainty_from(nominal, readings, np.array(columns).T)
            yield len(columns) / len(readings)


def uncertainty_of(car: Car, plan: Plan) -> Uncertainty:
    """Return how sure every headline number of a plan is; takes some seconds."""
    working = Working(car, plan)
    for _ in working.steps():
        pass
    return working.result
