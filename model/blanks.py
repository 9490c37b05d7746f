"""The flat blank of a piece of new metal: outline, size, mass, crown, and where it is stretched or shrunk.

The sheet is given by its outside; the blank is the flat shape of its middle,
half a gauge inward, which bending leaves as long as it was (`sheetpatch`).  It
is seen **from outside**, turned so that the smallest rectangle around it, trim
included, lies with its long side along x and its lower left corner at 0, 0.

A forming strain is + where the blank is to be stretched, − where shrunk.  The
strains reported are those that 99 % of the area stays within: at the corners of
a patch whose sides do not fit together the strain of the last millimetres is
that of the surface's own crumple and grows with every finer look (seen on a
first try at this, 5.5 % and rising).  The greatest seen anywhere is told
beside it, and what half as many spans would have said.

Yield: mild steel gives at about 210 MPa / 210 GPa = 0.001, and what is strained
less springs into its place (yield: EN 10130 for a deep-drawing grade; modulus
from memory).  A blank that is strained no more is called developable.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

import numpy as np
import shapely

from .crowns import Bends, Crown, bends_of, crown_along
from .errors import MeasureError
from .flattening import ONE_POINT_MM, FlatMap, Flattening, flattening_steps, forming_strains, surface_frame
from .gauges import sheet_kg_m2
from .sheetpatch import Sheet, lengthwise_axis, middle_of
from .stepwise import at_once

YIELD_STRAIN = 0.001
SHARE = 0.99  # of the area that stays within the reported strain
OUTLINE_MM = 0.003  # how far a chord of the outline may lie off its curve
SIDE_PLACES = 257
MITRE_LIMIT = 5.0  # assumed: a corner sharper than about 23° gets a blunt trim allowance
FINE = 64  # places each way where strains are weighed


@dataclass(frozen=True, kw_only=True, eq=False)
class StrainMap:
    """The strains cell by cell.

    Attributes
    ----------
    corners_mm : array, shape (p + 1, q + 1, 2)
        Of the cells, in the blank.
    on_car_mm : array, shape (p + 1, q + 1, 3)
        The same corners on the outside of the finished sheet.
    strains : array, shape (p, q, 2)
        In the middle of each cell, the greater first: + stretch, − shrink. [1]
    directions : array, shape (p, q, 2)
        Unit vector in the blank along the first of the two.
    area_change : array, shape (p, q)
        Finished area over blank area less one: + the metal grows, − it is gathered. [1]
    """

    corners_mm: np.ndarray
    on_car_mm: np.ndarray
    strains: np.ndarray
    directions: np.ndarray
    area_change: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class Blank:
    """What to cut out flat, and what to do to it.

    Attributes
    ----------
    outline_mm, trim_outline_mm : arrays, shape (k, 2)
        The net part, and with the trim allowance all round; counter-clockwise, the first point not repeated.
    sides_mm : four arrays, shape (k, 2)
        The net part's sides: first row and last row (second index rising), first and last column.
    length_mm, width_mm : float
        Of the smallest rectangle around the trim outline.
    area_mm2, middle_area_mm2, flat_area_mm2 : float
        Outside and middle of the finished sheet; the net blank.
    mass_kg : float
        The finished piece: middle area times gauge times density.
    trim_mm, gauge_mm : float
        The allowance; the metal's thickness.
    max_stretch, max_shrink : float
        What 99 % of the area stays within; the first at least 0, the second at most 0. [1]
    peak_strain : float
        Of the greatest size anywhere, with its sign. [1]
    peak_at_mm : (x, y, z)
        Where on the car that is.
    doubt_strain, doubt_mm : float
        How much half as many spans would change max_strain, and the sides and diagonals of the net part.
    is_settled : bool
        Whether the flat shape came to rest, without a fold.
    crown_lengthwise, crown_crosswise : Crown
    bends : Bends
    strain_map : StrainMap
    """

    outline_mm: np.ndarray
    trim_outline_mm: np.ndarray
    sides_mm: tuple[np.ndarray, ...]
    length_mm: float
    width_mm: float
    area_mm2: float
    middle_area_mm2: float
    flat_area_mm2: float
    mass_kg: float
    trim_mm: float
    gauge_mm: float
    max_stretch: float
    max_shrink: float
    peak_strain: float
    peak_at_mm: tuple[float, float, float]
    doubt_strain: float
    doubt_mm: float
    is_settled: bool
    crown_lengthwise: Crown
    crown_crosswise: Crown
    bends: Bends
    strain_map: StrainMap

    @property
    def max_strain(self) -> float:
        """The larger of stretch and shrink, with its sign. [1]"""
        return self.max_stretch if self.max_stretch >= -self.max_shrink else self.max_shrink

    @property
    def crown_mm(self) -> float:
        """The larger of both crowns, with its sign: + bulges outward."""
        return max(self.crown_lengthwise.sagitta_mm, self.crown_crosswise.sagitta_mm, key=abs)

    @property
    def is_developable(self) -> bool:
        """Whether the flat takes its shape by bending alone, within what springs back (0.1 %)."""
        return self.is_settled and abs(self.max_strain) <= YIELD_STRAIN

    @property
    def can_be_rolled(self) -> bool:
        """Whether bending about straight rulings is all it needs, within half a gauge of bow, or nothing."""
        bends = self.bends
        is_ruled = bends.is_flat or (bends.has_rulings and bends.ruling_bow_mm <= self.gauge_mm / 2)
        return self.is_developable and is_ruled


def blank_of(sheet: Sheet, *, trim_mm: float, gauge_mm: float) -> Blank:
    """Return the blank of a sheet; parameters and refusals as of :func:`blank_work`."""
    return at_once(blank_work(sheet, trim_mm=trim_mm, gauge_mm=gauge_mm))


def blank_work(sheet: Sheet, *, trim_mm: float, gauge_mm: float) -> Generator[None, None, Blank]:
    """Return the blank of a sheet, in steps.

    Parameters
    ----------
    sheet : Sheet
        The outside of the finished piece, net.
    trim_mm : float
        Allowance all round, to be trimmed off on fitting; 0 or more. [mm]
    gauge_mm : float
        The metal's thickness, above 0. [mm]

    Raises
    ------
    MeasureError
        If a length is out of range, the sheet's normals are not its own, or its middle would lie
        beyond a bend's centre.
    """
    if not 0 <= trim_mm < np.inf:
        raise MeasureError(f"trim_mm must be 0 mm or more; got {trim_mm:g} mm.", "Choose an allowance.")
    if not 0 < gauge_mm < np.inf:
        raise MeasureError(f"gauge_mm must be above 0 mm; got {gauge_mm:g} mm.", "Measure the sheet.")
    tightest = _tightest_outward_mm(sheet)
    if gauge_mm >= 2 * tightest:
        raise MeasureError(
            f"gauge_mm must be under twice the radius of the tightest outward bend, {2 * tightest:.2f} mm; "
            f"got {gauge_mm:g} mm.",
            "Take thinner sheet, or part the piece at that bend.",
        )
    middle = middle_of(sheet, gauge_mm)
    yield
    flattening = _laid_straight((yield from flattening_steps(middle)), trim_mm)
    yield
    flat = flattening.flat
    sides = _sides(flat)
    outline = _polygon(sides)
    trimmed = _with_trim(outline, trim_mm)
    width, length = _rectangle(trimmed)[:2]
    yield
    stretch, shrink, peak, peak_at = _greatest(middle, flat)
    yield
    before = max(_greatest(middle, flattening.coarse)[:2], key=abs)
    yield
    lengthwise = lengthwise_axis(sheet)
    crowns = crown_along(sheet, lengthwise), crown_along(sheet, 1 - lengthwise)
    yield
    bends = bends_of(sheet, flat, outline)
    yield
    strain_map = _strain_map(sheet, middle, flat)
    yield
    return Blank(
        outline_mm=_ring(outline),
        trim_outline_mm=_ring(trimmed),
        sides_mm=sides,
        length_mm=length,
        width_mm=width,
        area_mm2=sheet.spline.area_mm2,
        middle_area_mm2=middle.spline.area_mm2,
        flat_area_mm2=flat.area_mm2,
        mass_kg=middle.spline.area_mm2 / 1e6 * sheet_kg_m2(gauge_mm),
        trim_mm=float(trim_mm),
        gauge_mm=float(gauge_mm),
        max_stretch=stretch,
        max_shrink=shrink,
        peak_strain=peak,
        peak_at_mm=tuple(map(float, sheet.spline.at(*peak_at)[0, 0])),
        doubt_strain=abs(abs(before) - abs(max((stretch, shrink), key=abs))),
        doubt_mm=float(np.abs(_sizes(flat) - _sizes(flattening.coarse)).max()),
        is_settled=flat.is_settled and bool(shapely.is_valid(outline)),
        crown_lengthwise=crowns[0],
        crown_crosswise=crowns[1],
        bends=bends,
        strain_map=strain_map,
    )


def _tightest_outward_mm(sheet):
    """Return the least radius of what bends outward; infinite where nothing does."""
    at = (np.arange(FINE) + 0.5) / FINE
    root, shear, rest = surface_frame(sheet, at, at)
    e, f, g = sheet.spline.second_form(at, at, sheet.side)
    a, b, c = e / root**2, (f - shear * e) / (root * rest), (g - 2 * shear * f + shear**2 * e) / rest**2
    most = ((a + c) / 2 + np.hypot((a - c) / 2, b)).max()  # the greater principal curvature
    return 1 / most if most > 0 else np.inf


def _greatest(middle, flat):
    """Return stretch and shrink of 99 % of the area, the greatest of all, and its (u, v)."""
    at = (np.arange(FINE) + 0.5) / FINE
    strains, _ = forming_strains(middle, flat, at, at)
    root, _, rest = surface_frame(middle, at, at)
    area = (root * np.abs(rest)).ravel()
    high, low = strains[..., 0].ravel(), strains[..., 1].ravel()
    worst = np.where(high >= -low, high, low)
    k = int(np.abs(worst).argmax())
    i, j = divmod(k, FINE)
    stretch, shrink = max(_within(high, area), 0.0), min(-_within(-low, area), 0.0)
    return stretch, shrink, float(worst[k]), (at[[i]], at[[j]])


def _within(values, weights):
    """Return what the share of all weight stays at or below."""
    order = np.argsort(values)
    heaped = np.cumsum(weights[order])
    return float(values[order[np.searchsorted(heaped, SHARE * heaped[-1])]])


def _strain_map(sheet, middle, flat):
    edges = [np.linspace(0, 1, 2 * len(np.unique(knots)) - 1) for knots in flat.knots]  # two cells a span
    centres = [(line[1:] + line[:-1]) / 2 for line in edges]
    strains, directions = forming_strains(middle, flat, *centres)
    return StrainMap(
        corners_mm=flat.at(*edges),
        on_car_mm=sheet.spline.at(*edges),
        strains=strains,
        directions=directions,
        area_change=np.prod(1 + strains, axis=2) - 1,
    )


def _sides(flat: FlatMap):
    at, ends = np.linspace(0, 1, SIDE_PLACES), np.array([0.0, 1.0])
    rows, columns = flat.at(ends, at), flat.at(at, ends)
    lines = (rows[0], rows[1], columns[:, 0], columns[:, 1])
    return tuple(shapely.get_coordinates(shapely.simplify(shapely.LineString(x), OUTLINE_MM)) for x in lines)


def _sizes(flat):
    """Return the lengths of the four sides and of both diagonals."""
    sides = [np.linalg.norm(np.diff(side, axis=0), axis=1).sum() for side in _sides(flat)]
    corner = flat.at([0.0, 1.0], [0.0, 1.0])
    return np.array([*sides, *np.linalg.norm(corner[[0, 0]][[0, 1], [0, 1]] - corner[1, [1, 0]], axis=1)])


def _polygon(sides):
    first_row, last_row, first_column, last_column = sides
    ring = np.concatenate([first_column[:-1], last_row[:-1], last_column[:0:-1], first_row[:0:-1]])
    is_apart = np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1) > ONE_POINT_MM
    return shapely.orient_polygons(shapely.Polygon(ring[is_apart]))


def _with_trim(outline, trim_mm):
    if not trim_mm:
        return outline
    grown = outline.buffer(trim_mm, join_style="mitre", mitre_limit=MITRE_LIMIT)
    largest = max(shapely.get_parts(grown), key=shapely.area)  # one, unless the flat lies over itself
    return shapely.orient_polygons(shapely.Polygon(largest.exterior))


def _rectangle(outline):
    """Return width, length and the long side's direction of the smallest rectangle around an outline."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(outline))
    legs = np.diff(corners[:3], axis=0)
    size = np.linalg.norm(legs, axis=1)
    longer = int(size.argmax())
    return float(size.min()), float(size.max()), legs[longer] / size[longer]


def _laid_straight(flattening: Flattening, trim_mm) -> Flattening:
    """Return the flats turned and moved: long side along x, the trim outline's lower left corner at 0, 0."""
    trimmed = _with_trim(_polygon(_sides(flattening.flat)), trim_mm)
    way = _rectangle(trimmed)[2]
    if way @ _mean_way(flattening) < 0:
        way = -way
    turn = np.array([[way[0], -way[1]], [way[1], way[0]]])  # right-handed: x onto the long side
    low = (shapely.get_coordinates(trimmed) @ turn).min(axis=0)

    def moved(flat):
        return FlatMap(
            coefficients_mm=flat.coefficients_mm @ turn - low,
            knots=flat.knots,
            energy_mm2=flat.energy_mm2,
            is_settled=flat.is_settled,
        )

    return Flattening(sheet=flattening.sheet, flat=moved(flattening.flat), coarse=moved(flattening.coarse))


def _mean_way(flattening):
    corner = flattening.flat.at([0.0, 1.0], [0.0, 1.0])
    along = (corner[1] - corner[0]).sum(axis=0), (corner[:, 1] - corner[:, 0]).sum(axis=0)
    return along[lengthwise_axis(flattening.sheet)]


def _ring(polygon):
    return shapely.get_coordinates(polygon.exterior)[:-1]
