"""How a sheet is curved, in a shaper's terms: crown over a chord, tightest bend, straight rulings.

**Crown** is a sagitta: how far the outside stands off a straightedge of a
stated chord, square to the metal, positive bulging outward.  It is read along
the lines of the sheet's grid, lengthwise (the way its mean line is longer) and
crosswise; a line that the chord does not fit into is spanned from its start to the point
farthest from it.

**Bends** are the principal curvatures κ of the first and second form.  A line
of length L through the patch along one of them bows by about |κ| L²/8 (circle,
bow small against L); the one that bows less is the **ruling** of the place.  On
a developable sheet rulings are straight.  On a real one the greatest bow of a
ruling says how far it is from that; on a strip that is only twisted both
directions bow alike, and it has no rulings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .flattening import FlatMap, gradient_of, surface_frame
from .sheetpatch import Sheet

CHORD_MM = 300.0  # assumed: a short straightedge; about 12 in
LINES, PLACES, STATIONS = 9, 201, 9  # lines each way, points on a line, straightedge positions told
BEND_PLACES = 41  # each way, where bends are read
PLAIN_BOW_MM = 0.2  # assumed: less bow than this is a flat sheet to hand and eye

RULED = 0.2  # assumed: bow of rulings over bow across them; a twisted strip has 1


@dataclass(frozen=True, kw_only=True)
class Crown:
    """The crown one way.

    Attributes
    ----------
    chord_mm : float
        The straightedge: as asked, or the length of the line where it is shorter.
    sagitta_mm : float
        The greatest, with its sign: positive bulges outward.
    where_mm : (x, y, z)
        Its place on the car.
    stations : tuple of (distance_mm, sagitta_mm)
        Along the middle line: how far the straightedge's middle is from the line's start, and the crown.
    """

    chord_mm: float
    sagitta_mm: float
    where_mm: tuple[float, float, float]
    stations: tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class Bends:
    """How the sheet bends.

    Attributes
    ----------
    least_radius_mm : float or None
        The tightest bend; None where the sheet is flat.
    least_radius_at_mm : (x, y, z) or None
    is_flat : bool
        Whether no bend bows by more than 0.2 mm across the patch.
    has_rulings : bool
        Whether the lines that bow less do so by no more than a fifth of the others, on the mean.
    ruling_bow_mm : float
        How far the straightest lines still bow, at most.
    ruling_angle_deg : float or None
        From the blank's x to the mean ruling, −90 to 90, counter-clockwise seen from outside.
    ruling_fan_deg : float or None
        How far any ruling is from the mean one: 0 on a cylinder, not on a cone.
    """

    least_radius_mm: float | None
    least_radius_at_mm: tuple[float, float, float] | None
    is_flat: bool
    has_rulings: bool
    ruling_bow_mm: float
    ruling_angle_deg: float | None
    ruling_fan_deg: float | None


def crown_along(sheet: Sheet, axis: int, chord_mm: float = CHORD_MM) -> Crown:
    """Return the crown along the lines on which the index ``axis`` runs."""
    inner = (np.arange(LINES) + 0.5) / LINES  # off the sides: one of them may be a point
    whole = np.linspace(0, 1, PLACES)
    u, v = (whole, inner) if axis == 0 else (inner, whole)
    points, normals = sheet.spline.at(u, v), sheet.spline.normals(u, v, sheet.side)
    if axis == 0:
        points, normals = points.swapaxes(0, 1), normals.swapaxes(0, 1)
    read = [_line_crowns(line, normal, chord_mm) for line, normal in zip(points, normals, strict=True)]
    greatest = max((row for rows in read for row in rows), key=lambda row: abs(row[1]))
    middle = read[LINES // 2]
    chosen = np.unique(np.linspace(0, len(middle) - 1, STATIONS).round().astype(int))
    return Crown(
        chord_mm=float(greatest[3]),
        sagitta_mm=float(greatest[1]),
        where_mm=tuple(map(float, greatest[2])),
        stations=tuple((float(middle[k][0]), float(middle[k][1])) for k in chosen),
    )


def _line_crowns(line, normals, chord_mm):
    """Return (distance, sagitta, place, chord) for a straightedge laid along one line, step by step."""
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    out = []
    for start in range(0, PLACES - 1, 5):
        far = np.linalg.norm(line[start:] - line[start], axis=1)
        past = np.flatnonzero(far >= chord_mm)
        if not len(past) and out:
            break
        if len(past):
            k = past[0]
            t = (chord_mm - far[k - 1]) / (far[k] - far[k - 1])
            last = start + k - 1
            end = line[last] + t * (line[last + 1] - line[last])
        else:
            last = int(far.argmax())
            end = line[last]
        chord = end - line[start]
        size = np.linalg.norm(chord)
        rest = line[start : last + 1] - line[start]
        rest = rest - np.outer(rest @ chord, chord) / size**2
        off = rest @ normals[(start + last) // 2]
        k = int(np.abs(off).argmax())
        out.append(((run[start] + run[last]) / 2, off[k], line[start + k], size))
    return out


def bends_of(sheet: Sheet, flat: FlatMap, outline: shapely.Polygon) -> Bends:
    """Return how the sheet bends; ``flat`` and ``outline`` are of its blank."""
    u = v = (np.arange(BEND_PLACES) + 0.5) / BEND_PLACES
    outline = shapely.make_valid(outline.simplify(PLAIN_BOW_MM / 2))
    kappa, ways = _principal(sheet, flat, u, v)
    middles = flat.at(u, v).reshape(-1, 2)
    bows = np.stack([np.abs(kappa[:, k]) * _across(outline, middles, ways[:, k]) ** 2 / 8 for k in (0, 1)], 1)
    every, more = np.arange(len(bows)), bows.argmax(axis=1)
    bow_small, bow_big = bows[every, 1 - more], bows[every, more]
    big, small_way = np.abs(kappa[every, more]), ways[every, 1 - more]
    is_flat = bool(bow_big.max() <= PLAIN_BOW_MM)
    if is_flat:
        return Bends(
            least_radius_mm=None,
            least_radius_at_mm=None,
            is_flat=True,
            has_rulings=False,
            ruling_bow_mm=float(bow_small.max()),
            ruling_angle_deg=None,
            ruling_fan_deg=None,
        )
    double = (small_way[:, 0] + 1j * small_way[:, 1]) ** 2
    mean = np.sum(big * double)
    bent = big > big.max() / 10  # where the sheet is nearly flat a ruling has no direction
    tightest = int(big.argmax())
    at = sheet.spline.at(u, v).reshape(-1, 3)[tightest]
    return Bends(
        least_radius_mm=float(1 / big.max()),
        least_radius_at_mm=tuple(map(float, at)),
        is_flat=False,
        has_rulings=bool(bow_small.mean() <= RULED * bow_big.mean()),
        ruling_bow_mm=float(bow_small.max()),
        ruling_angle_deg=float(np.degrees(np.angle(mean)) / 2),
        ruling_fan_deg=float(np.degrees(np.abs(np.angle(double[bent] / mean))).max() / 2),
    )


def _principal(sheet, flat, u, v):
    """Return both principal curvatures (n, 2) and their directions in the flat (n, 2, 2), one a row."""
    root, shear, rest = surface_frame(sheet, u, v)
    e, f, g = sheet.spline.second_form(u, v, sheet.side)
    in_frame = np.empty((*e.shape, 2, 2))
    in_frame[..., 0, 0] = e / root**2
    in_frame[..., 0, 1] = in_frame[..., 1, 0] = (f - shear * e) / (root * rest)
    in_frame[..., 1, 1] = (g - 2 * shear * f + shear**2 * e) / rest**2
    values, ways = np.linalg.eigh(in_frame)
    ways = np.swapaxes(gradient_of(sheet, flat, u, v) @ ways, -1, -2).reshape(-1, 2, 2)  # [place, which]
    ways /= np.linalg.norm(ways, axis=2, keepdims=True)
    return values.reshape(-1, 2), ways


def _across(outline, middles, ways):
    """Return how long the outline lets a straight line be through each point, each in its own direction."""
    reach = 2 * np.hypot(*(np.array(outline.bounds[2:]) - outline.bounds[:2]))
    lines = shapely.linestrings(np.stack([middles - reach * ways, middles + reach * ways], axis=1))
    parts = shapely.intersection(lines, outline)
    out = shapely.length(parts)
    several = np.flatnonzero(shapely.get_num_geometries(parts) > 1)
    for k in several:  # past a hollow side the line comes in again: only the part through the point counts
        pieces = shapely.get_parts(parts[k])
        out[k] = shapely.length(pieces[shapely.distance(pieces, shapely.Point(middles[k])).argmin()])
    return out
