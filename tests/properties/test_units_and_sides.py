"""What is measured does not hang on the unit it is written in, nor on the side a seam is read from."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from invented_cars import varied_car, varied_plan
from scipy.interpolate import CubicSpline

from model.carfile import demo_car_names, demo_car_path, demo_plan_path, read_car, write_car
from model.evaluate import build_checked, report_of
from model.fit import SPACING_MM, Facing, meetings
from model.planfile import read_plan, write_plan
from model.seams import WINDOW_SEAM, seam_edges, seams_of

ACROSS_THE_HOLE_MM = 60.0
READABLE_MM = 1.0  # how far apart edges are where angles to the line between them are compared
KEYS = [*demo_car_names(), 3, 6, *(pytest.param(s, marks=pytest.mark.heavy) for s in (1, 2, 4, 8))]


@lru_cache(maxsize=8)
def case(key):
    if isinstance(key, int):
        return varied_car(key), varied_plan(varied_car(key), key)
    car = read_car(demo_car_path(key))
    return car, read_plan(demo_plan_path(key), car)


def numbers_in(value, path=""):
    """Give (path, number) for every number of a report, however deep."""
    if isinstance(value, dict):
        for name, part in value.items():
            yield from numbers_in(part, f"{path}.{name}")
    elif isinstance(value, (list, tuple)):
        for i, part in enumerate(value):
            yield from numbers_in(part, f"{path}[{i}]")
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield path, float(value)


@pytest.mark.parametrize("key", KEYS)
def test_the_same_car_in_millimetres_and_in_inches_has_the_same_numbers(key, tmp_path):
    """Car and plan written out in either unit and read again; a length is written to 5e-10 mm."""
    car, plan = case(key)
    found = []
    for unit in ("mm", "in"):
        own = replace(car, unit=unit)
        write_car(own, tmp_path / f"car-{unit}.toml")
        write_plan(plan, own, tmp_path / f"plan-{unit}.toml")
        own = read_car(tmp_path / f"car-{unit}.toml")
        assert own.unit == unit
        report = report_of(build_checked(own, read_plan(tmp_path / f"plan-{unit}.toml", own)))
        found.append(dict(numbers_in(report.to_json())))
    metric, inches = found
    assert metric.keys() == inches.keys() and len(metric) > 1000
    for path, value in metric.items():
        if "min_at" in path or "max_at" in path:  # of several places with one gap, either may be named
            continue
        rel = 1e-5 if "area" in path else 1e-6  # the last bit decides how many triangles an outline gets
        assert inches[path] == pytest.approx(value, rel=rel, abs=1e-6), path


# ---------------------------------------------------------------- a seam from its other side


def readings_along(met, edges):
    """Return the readings along every edge of one side as functions of the length along it.

    Each as (points, (gap, step, angle of the first, of the second), from, to): cubics through the edge's
    samples, and through the places where something faces.
    """
    curves = []
    starts = np.cumsum([0.0, *(along[-1] for along in met.edge_along_mm)])
    for i, (edge, along) in enumerate(zip(edges, met.edge_along_mm, strict=True)):
        own = (met.edge == i) & met.faces
        if own.sum() < 4 or np.diff(met.along_mm[own]).max() > 1.5 * SPACING_MM:
            continue  # too few to go between
        read = (met.gap_mm, met.step_mm, met.angle_first_deg, met.angle_second_deg)
        at = met.along_mm[own] - starts[i]
        values = CubicSpline(at, np.stack(read, axis=1)[own])
        curves.append((CubicSpline(along, edge.point_mm), values, at[0], at[-1]))
    return curves


def reading_where_it_faces(curves, place):
    """Return readings, direction and distance at the nearest point whose square plane holds a place."""
    best = None
    for curve, values, low, high in curves:
        s = np.linspace(low, high, max(9, int((high - low) / 4)))
        s = s[np.linalg.norm(curve(s) - place, axis=1).argmin()]
        for _ in range(8):
            along = curve(s, 1)
            s = float(np.clip(s + (place - curve(s)) @ along / (along @ along), low, high))
        along = curve(s, 1) / np.linalg.norm(curve(s, 1))
        far = place - curve(s)
        if abs(far @ along) < 1e-6 and (best is None or np.linalg.norm(far) < best[2]):
            best = values(s), along, np.linalg.norm(far)
    return best


@pytest.mark.parametrize("key", KEYS)
def test_a_seam_read_from_its_other_side_keeps_the_gap_and_flips_the_step(key):
    """And the angles change places; not asked of the window's edge, which turns sharply within 12 mm.

    The first side is read at C, the point whose square plane holds a place Q of the second side: Q faces C.
    From Q the plane is square to the other edge.  Where the two run at an angle θ to each other, the readings
    differ by |r| (1/cos θ − 1), r from C to Q, if both are straight, up to three times that where they bend
    and 0.01 mm for going between places 12 mm apart; the angles by θ² / 2, up to twice that.  Left out are
    places across the window's hole, where from one of the two sides another edge lies nearer.
    """
    built = build_checked(*case(key))
    compared = left_out = 0
    for seam in seams_of(built):
        first, second = map(tuple, seam_edges(built, seam))
        met, back = meetings([Facing(first, second), Facing(second, first)])
        curves = readings_along(met, first)
        starts = np.cumsum([0.0, *(along[-1] for along in back.edge_along_mm)])
        for i, edge in enumerate(second):
            curve = CubicSpline(back.edge_along_mm[i], edge.point_mm)
            for k in np.nonzero((back.edge == i) & back.faces)[0]:
                found = reading_where_it_faces(curves, back.at_mm[k])
                if found is None:
                    continue
                (gap, step, angle_first, angle_second), along, far = found
                if far > ACROSS_THE_HOLE_MM or abs(np.hypot(gap, step) - far) > 0.05:
                    left_out += 1
                    continue
                own = curve(back.along_mm[k] - starts[i], 1)
                cosine = abs(own @ along) / np.linalg.norm(own)
                allowed = 0.01 + 3 * far * (1 / cosine - 1)
                assert back.gap_mm[k] == pytest.approx(gap, abs=allowed), seam.name
                assert back.step_mm[k] == pytest.approx(-step, abs=allowed), seam.name
                compared += 1
                if far > READABLE_MM and seam.kind != WINDOW_SEAM:
                    allowed = 0.05 + 2 * np.degrees(1 / cosine - 1)
                    assert back.angle_first_deg[k] == pytest.approx(angle_second, abs=allowed), seam.name
                    assert back.angle_second_deg[k] == pytest.approx(angle_first, abs=allowed), seam.name
    assert compared > 150 and compared > left_out
