"""Every length of a car that was read off a tape, by the place it was read at.

A tape shows a length to the nearest graduation r.  Read once, the true length
lies anywhere within ± r/2, each place as likely: a standard deviation of
r / √12 (rectangular distribution; JCGM 100:2008, 4.3.7, from memory).  The
mean of n readings taken afresh has r / √(12 n).  That is what the graduation
alone explains; a tape that sags, or a datum that is off, comes on top.

Not read with the tape, so without doubt here: gauge, wall, glass, keep-outs, wells
of panes, and where a cut may go.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, is_dataclass, replace

from .measured import VIEWS, Car

Path = tuple[str | int, ...]
_AXES = ("fore-and-aft", "across", "height")


@dataclass(frozen=True)
class Reading:
    """One length on the car.

    Attributes
    ----------
    place : str
        Where, in words a person finds it by: ``hoop door, right gutter``.
    what : str
        ``fore-and-aft``, ``across``, ``height``, ``width``, ``depth`` or ``radius``.
    paths : tuple
        Where it stands in the car's record; twice where two points share it.
    value_mm : float
    times : int
        How often it was read.
    sd_mm : float
        Standard deviation of one reading, or of the mean of several.
    """

    place: str
    what: str
    paths: tuple[Path, ...]
    value_mm: float
    times: int
    sd_mm: float


def places_of(car: Car) -> list[tuple[str, str, list[Path]]]:
    """Return (place, what, where in the record) of every reading, in the order of a car file."""
    found = [*_of_hoops(car), *_of_panels(car), *_of_openings(car), *_of_posts(car)]
    if car.seat_mm is not None:
        found += [("seat", axis, [("seat_mm", i)]) for i, axis in enumerate(_AXES)]
    return found


def readings_of(car: Car) -> tuple[Reading, ...]:
    """Return every reading of a car, in the order of a car file."""
    out = []
    for place, what, paths in places_of(car):
        times = car.times_read(place)
        sd = car.tape_mm / (12 * times) ** 0.5
        out.append(Reading(place, what, tuple(paths), _at(car, paths[0]), times, sd))
    return tuple(out)


def with_values(car: Car, values: Mapping[Reading, float]) -> Car:
    """Return the car with other lengths at some of its readings. [mm]"""
    changes: dict = {}
    for reading, value in values.items():
        for path in reading.paths:
            inner = changes
            for step in path[:-1]:
                inner = inner.setdefault(step, {})
            inner[path[-1]] = float(value)
    return _changed(car, changes)


def _changed(record, changes):
    if not isinstance(changes, dict):
        return changes
    if is_dataclass(record):
        return replace(record, **{name: _changed(getattr(record, name), c) for name, c in changes.items()})
    return tuple(_changed(item, changes[i]) if i in changes else item for i, item in enumerate(record))


def _at(record, path):
    for step in path:
        record = getattr(record, step) if isinstance(step, str) else record[step]
    return record


def _of_hoops(car):
    last = len(car.rows) - 1
    for h, hoop in enumerate(car.hoops):
        for r, row in enumerate(car.rows):
            for i in range(3):
                if r == last and i == 1:
                    continue  # the crown lies on the centreline
                paths = [("hoops", h, "right_mm", r, i)]
                if r == last and hoop.left_mm is not None:
                    paths.append(("hoops", h, "left_mm", r, i))
                where = row if r == last else f"right {row}"
                yield f"hoop {hoop.name}, {where}", _AXES[i], paths
        for r, row in enumerate(car.rows[:-1] if hoop.left_mm is not None else ()):
            for i in range(3):
                yield f"hoop {hoop.name}, left {row}", _AXES[i], [("hoops", h, "left_mm", r, i)]


def _of_panels(car):
    columns = car.rows[car.gutter_index + 1 :]
    for p, panel in enumerate(car.panels):
        for side in ("right", "left"):
            for r, line in enumerate(getattr(panel, f"{side}_mm") or ()):
                for c in range(len(line)):
                    is_middle = c == len(line) - 1
                    if is_middle and side == "left":
                        continue
                    for i in range(3):
                        if is_middle and i == 1:
                            continue
                        paths = [("panels", p, f"{side}_mm", r, c, i)]
                        if is_middle and panel.left_mm is not None:
                            paths.append(("panels", p, "left_mm", r, c, i))
                        where = "centre" if is_middle else side
                        yield f"{panel.name} panel, {where} {car.rows[r]}, {columns[c]}", _AXES[i], paths


def _of_openings(car):
    for o, opening in enumerate(car.openings):
        name = f"{opening.name}, {opening.side}" if opening.side != "centre" else opening.name
        for c, corner in enumerate(opening.corners):
            path, place = ("openings", o, "corners", c), f"opening {name}, corner {c + 1}"
            across, up = VIEWS[opening.view]
            yield place, _AXES[across], [(*path, "across_mm")]
            yield place, _AXES[up], [(*path, "up_mm")]
            if corner.radius_mm:
                yield place, "radius", [(*path, "radius_mm")]


def _of_posts(car):
    for p, post in enumerate(car.posts):
        name = f"post {post.name} {post.side}"
        for k in range(len(post.axis_mm)):
            where = {0: "foot", len(post.axis_mm) - 1: "top"}.get(k, f"place {k + 1}")
            for i in range(3):
                if post.side != "centre" or i != 1:
                    yield f"{name}, {where}", _AXES[i], [("posts", p, "axis_mm", k, i)]
        yield name, "width", [("posts", p, "width_mm")]
        yield name, "depth", [("posts", p, "depth_mm")]
