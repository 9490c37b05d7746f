"""A shipped car measured at as many hoops and rows as one likes: points of its own skin."""

from dataclasses import replace

import numpy as np

from model.measured import Car, EndPanel, Hoop
from model.skin import skin_of


def denser_car(car: Car, hoop_count: int, row_count: int) -> Car:
    """Return the car with more hoops and rows, read off its skin; those it has stay among them."""
    skin = skin_of(car)
    u, v_side, v_roof = skin.parameters
    gutter, spans = car.gutter_index, len(car.rows) - 1
    more = row_count - len(car.rows)
    more_below = round(more * gutter / spans)
    us = _with_more(u, hoop_count - len(u))
    below = _with_more(v_side, more_below)
    above = _with_more(v_roof[: spans - gutter + 1], more - more_below)
    rows = _names(below, v_side, car.rows[: gutter + 1], "below")
    rows += _names(above, v_roof, car.rows[gutter:], "above")[1:]

    def half(side, at):
        """One half-section from the belt over the gutter to the crown."""
        low = skin.grids[f"side {side}"].point([(at, v) for v in below[:-1]])
        high = skin.grids["roof"].point([(at, _across(side, v, above)) for v in above])
        return tuple(tuple(point) for point in np.concatenate([low, high]).tolist())

    hoops = [
        Hoop(name=name, right_mm=half("right", at), left_mm=half("left", at))
        for name, at in zip(_names(us, u, [hoop.name for hoop in car.hoops], "hoop"), us, strict=True)
    ]

    def lines(name, side):
        """The points inside an end panel's frame, row by row from the belt."""
        return tuple(
            tuple(
                tuple(p)
                for p in skin.grids[name].point([(_across(side, v, above), up) for v in above[1:]]).tolist()
            )
            for up in below[:-1]
        )

    panels = [
        EndPanel(name=panel.name, right_mm=lines(panel.name, "right"), left_mm=lines(panel.name, "left"))
        for panel in car.panels
    ]
    return replace(car, rows=tuple(rows), hoops=tuple(hoops), panels=tuple(panels))


def _across(side, v, above):
    """The parameter across the roof; ``above`` runs from the right gutter to the crown."""
    return v if side == "right" or v == above[-1] else 1 - v


def _with_more(stops, count):
    """Return stops with ``count`` more between them, always halving or dividing the widest space."""
    pieces = np.ones(len(stops) - 1, int)
    for _ in range(count):
        pieces[np.argmax(np.diff(stops) / pieces)] += 1
    parts = [
        np.linspace(a, b, n, endpoint=False)
        for a, b, n in zip(stops[:-1], stops[1:], pieces.tolist(), strict=True)
    ]
    return [*np.concatenate(parts).tolist(), float(stops[-1])]


def _names(stops, named, names, new):
    """Return the old name of every stop that had one, and a number for every other."""
    old = dict(zip(np.asarray(named).tolist(), names, strict=False))
    return [old.get(stop, f"{new} {number}") for number, stop in enumerate(stops)]
