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
:func:`cut_working` moves only those and needs no skin; :func:`whole_working`
moves everything.

**What to take again.**  One reading more at place j takes n_j readings to
n_j + 1 and lowers s(q)² by c_j² s_j² / (n_j + 1).  Contributions of different
readings add up, so the readings that lower Σ s(q)² over the numbers of the
cut the most are those with the greatest contributions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .built import Built, build_on, place, remembered_shape
from .errors import RoofError
from .evaluate import headroom_mm, roof_height_mm
from .glass import window_report
from .measured import Car
from .plan import Plan
from .postlines import PostLine
from .readings import Reading, readings_of, with_values
from .report import SeamReport
from .seams import seam_reports
from .shape import shape_near
from .tapereport import PlusMinus, TakeAgain, Uncertainty

COVERAGE = 1.96  # standard deviations either side for 95 %
CUT = ("take-out", "miss fore-and-aft", "miss across")  # what a post is cut by
RAKE = "rake"  # in degrees; everything else is a length
HEIGHT = "height"  # of the roof over the origin; of the windshield's glass, along it

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
    out["roof", HEIGHT] = roof_height_mm(built)
    window = window_report(built)
    out["windshield", HEIGHT] = window.windshield_height_after_mm
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


def cut_working(car: Car, plan: Plan) -> Working:
    """Return the work of finding how sure take-outs and misses are: some tens of quick steps."""
    shape = remembered_shape(car)
    nominal, rear = cut_numbers(place(shape, plan).ends), _rear_point_paths(car)
    readings = [r for r in readings_of(car) if r.paths[0][0] == "posts" or rear & set(r.paths)]

    def numbers(moved):
        lines = {
            (p.name, p.side): line if (line := shape.lines[p.name, p.side]).post == p else PostLine(p)
            for p in moved.all_posts()
        }
        return cut_numbers(place(replace(shape, car=moved, lines=lines), plan).ends)

    return Working(car, nominal, tuple(readings) if nominal else (), numbers)


def whole_working(car: Car, plan: Plan) -> Working:
    """Return the work of finding how sure every headline number is: a run of the tool per reading."""
    shape = remembered_shape(car)
    built = build_on(shape, plan)
    nominal, places = headline_numbers(built), widest_places(seam_reports(built))

    def numbers(moved):
        return headline_numbers(build_on(shape_near(moved, shape), plan), places)

    return Working(car, nominal, readings_of(car), numbers)


def _rear_point_paths(car):
    hoop, row = car.rear_point
    h = next(i for i, found in enumerate(car.hoops) if found.name == hoop)
    return {("hoops", h, "right_mm", car.rows.index(row), axis) for axis in range(3)}


@dataclass(eq=False)
class Working:
    """Uncertainties being worked out, a reading at a time, so that whoever waits can stop or be told.

    Attributes
    ----------
    numbers : callable
        Of a car with one reading moved, to its numbers.
    result : Uncertainty or None
        None until all steps are done.
    """

    car: Car
    nominal: dict[Number, float]
    readings: tuple[Reading, ...]
    numbers: Callable[[Car], dict[Number, float]]
    result: Uncertainty | None = None

    def steps(self) -> Iterator[float]:
        """Work; yield the share that is done after every reading."""
        columns = []
        for reading in self.readings:
            columns.append(self._change(reading))
            yield len(columns) / len(self.readings)
        changes = np.array(columns).reshape(len(columns), len(self.nominal)).T
        self.result = uncertainty_from(self.nominal, self.readings, changes)

    def done(self) -> Uncertainty:
        """Work to the end and return the result."""
        for _ in self.steps():
            pass
        return self.result

    def _change(self, reading):
        """Return what one standard deviation of a reading does; nan where the plan cannot be built."""
        moved = with_values(self.car, {reading: reading.value_mm + reading.sd_mm})
        try:
            found = self.numbers(moved)
        except RoofError:
            return np.full(len(self.nominal), np.nan)
        return np.array([found.get(name, np.nan) - value for name, value in self.nominal.items()])
