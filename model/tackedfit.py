"""fitted(built, tacked) → TackedReport: how the tacked roof stands against its plan.

**Doubt of a reading.**  A length read to the nearest mark of a tape with
resolution r is off by a uniform error with standard deviation r / √12.
Finding the point and holding plumb bob and tape is taken to add as much
again (assumed): r / √6 for one coordinate.  Where a point should be rests on
its measure on the uncut car, read in the same way, so that measured − planned
has the variance (r_before² + r_after²) / 6.

**Bends.**  With ξ = −1 at the front corners and +1 at the rear ones, η = −1 at
the left and +1 at the right ones: twist lifts by ξ η, spread moves outward by
η, bow lifts by 1 − ξ².

**What to do** at a place is what undoes the rigid move found there; bends are
told apart from it.  A post's end as tacked takes part in both.
"""

from __future__ import annotations

from math import isfinite, sqrt

import numpy as np
from scipy.spatial.transform import Rotation

from .built import Built
from .errors import MeasureError
from .evaluate import build_checked
from .markedpoints import MarkedPoint, marked_points
from .measured import Car
from .moves import translation
from .placing import front_posts, rear_posts
from .plan import Plan
from .posts import landing_point, miss_in_plane
from .rigidfit import (
    Adjustment,
    Readings,
    Stand,
    adjusted,
    amount_plus_minus_mm,
    most_telling,
    stand_of,
)
from .tacked import (
    AXES,
    Bend,
    Estimate,
    LeftOut,
    Place,
    PointAsTacked,
    PostAsTacked,
    TackedReport,
    TackedRoof,
)
from .tackedadvice import CORNERS, advice_on_bend, advice_on_move, notes_on
from .tackedfile import read_tacked, tacked_sheet
from .units import shown

BENDS = ("twist", "spread", "bow")
SHEET_COUNT = 8  # assumed: four corners, and as many again to check them by
FARTHEST_MM = 300.0  # assumed: no tacked roof stands a foot off; a reading that says so is a slip
REGIONS = {
    "roof": CORNERS,
    "front": ("left front", "right front"),
    "rear": ("left rear", "right rear"),
    "right side": ("right front", "right rear"),
    "left side": ("left front", "left rear"),
    **{corner: (corner,) for corner in CORNERS},
}


def fitted_from_file(car: Car, plan: Plan, path) -> TackedReport:
    """Return how the roof stands whose marked points were measured into a file.

    Raises
    ------
    FileRefused, MeasureError
        If the file cannot be read, or a measure in it cannot be right.
    PlanError
        If the plan cannot be built on this car, or leaves its roof where it is.
    """
    built = build_checked(car, plan)
    return fitted(built, read_tacked(path, car, plan, marked_points(built)))


def sheet_of(car: Car, plan: Plan) -> str:
    """Return the text of a file to fill in: a handful of points that are enough, and all others.

    Raises
    ------
    PlanError
        As :func:`fitted_from_file`.
    """
    built = build_checked(car, plan)
    known = list(marked_points(built).values())
    on_skin = [point for point in known if not point.is_mark]
    everywhere = _readings(
        roof_corners_mm(built),
        on_skin,
        np.array([p.planned_mm for p in on_skin]),
        [car.tape_mm] * len(on_skin),
        car.tape_mm,
    )
    chosen = [on_skin[i] for i in sorted(most_telling(everywhere, SHEET_COUNT))]
    planned = np.array([point.planned_mm for point in chosen])
    corners = roof_corners_mm(built)
    exact = adjusted(_readings(corners, chosen, planned, [car.tape_mm] * len(chosen), car.tape_mm))
    doubt = exact.told(exact.displacement_rows(corners)[:, 2])
    return tacked_sheet(car, plan, chosen, [p for p in known if p not in chosen], float(doubt.max()))


def fitted(built: Built, tacked: TackedRoof) -> TackedReport:
    """Return how a tacked roof stands against its plan, and what to do about it.

    Raises
    ------
    MeasureError
        If a reading cannot be right, or the roof does not stand on four corners.
    PlanError
        If the plan leaves the roof where it is.
    """
    car, known = built.shape.car, marked_points(built)
    points = [_planned(point, known, built.parts) for point in tacked.points]
    measured = np.array(
        [[np.nan if mm is None else mm for mm in point.at_mm] for point in tacked.points], float
    )
    _refuse_slips(points, measured, car.unit)
    corners = roof_corners_mm(built)
    tapes = [car.tape_mm if p.before_mm is None else tacked.tape_mm for p in tacked.points]
    readings = _readings(corners, points, measured, tapes, tacked.tape_mm)
    stand = stand_of(readings)
    found = stand.final
    places = {name: _place(found, corners, name) for name in REGIONS}
    turns = [_turn(found, axis) for axis in (1, 0, 2)]  # pitch, roll, yaw
    bends = tuple(_bend(stand, k) for k in range(len(BENDS)))
    doubtful = tuple(_reading_name(points, *reading) for reading in stand.doubtful)
    again = f"Measure again before you move anything: {'; '.join(doubtful)}. They contradict each other."
    centre = np.mean(corners, axis=0)
    stands = (found.move.points(centre) - centre, found.told(found.displacement_rows(centre[None])[0]))
    stands = [_estimate(value, doubt) for value, doubt in zip(*stands, strict=True)]
    return TackedReport(
        car=car.name,
        plan=built.plan.name,
        unit=car.unit,
        readings=len(found.readings),
        readings_to_spare=found.freedom,
        reading_sd_mm=float(readings.sd_mm.max()),
        misfit=found.misfit,
        rotation=tuple(map(tuple, found.move.rotation.tolist())),
        translation_mm=tuple(found.move.translation_mm.tolist()),
        centre_mm=tuple(centre.tolist()),
        stands_back_mm=stands[0],
        stands_right_mm=stands[1],
        stands_up_mm=stands[2],
        pitch_deg=turns[0],
        roll_deg=turns[1],
        yaw_deg=turns[2],
        places=tuple(places.values()),
        bends=bends,
        left_out=tuple(
            LeftOut(
                point=points[w.point].name,
                axis=AXES[w.axis],
                too_much_mm=_estimate(w.too_much_mm, w.plus_minus_mm),
            )
            for w in stand.wrong
        ),
        doubtful=doubtful,
        posts=tuple(_post(built, key, found) for key in built.ends),
        points=_points(points, measured, found),
        advice=(
            *([again] if doubtful else []),
            *advice_on_move(places, *turns, car.unit),
            *(advice_on_bend(bend.kind, bend.amount_mm, car.unit) for bend in bends if bend.shows),
        ),
        notes=notes_on(
            found,
            [_reading_name(points, *reading) for reading in found.readings.tolist()],
            [point.name for point in points if point.is_mirrored],
            places,
            car.unit,
        ),
    )


def reading_variance_mm2(tape_mm) -> float:
    """Return the variance of one coordinate of one point, read from a tape with this finest mark. [mm²]"""
    rounding = handling = tape_mm**2 / 12
    return rounding + handling


def bend_shapes(points_mm, corners_mm) -> np.ndarray:
    """Return how points move for one millimetre of each of :data:`BENDS`, shape (n, 3, 3). [1]

    ``corners_mm`` (4, 3) are in the order of ``CORNERS``: left and right front, left and right rear.
    """
    points, corners = np.asarray(points_mm, float), np.asarray(corners_mm, float)
    middle, half = corners.mean(axis=0), _half_size(corners)
    along, across = ((points[:, k] - middle[k]) / half[k] for k in (0, 1))
    shapes = np.zeros((len(points), 3, len(BENDS)))
    shapes[:, 2, 0] = along * across
    shapes[:, 1, 1] = across
    shapes[:, 2, 2] = 1 - along**2
    return shapes


def _half_size(corners):
    left_front, right_front, left_rear, right_rear = corners
    return (left_rear + right_rear - left_front - right_front)[0] / 4, (
        right_front + right_rear - left_front - left_rear
    )[1] / 4


def roof_corners_mm(built):
    """Return where the plan lands the upper ends of the end posts, (4, 3), in the order of CORNERS."""
    car = built.shape.car
    right_front, left_front = front_posts(car)
    right_rear, left_rear = rear_posts(car)
    if right_front == right_rear or left_front == left_rear:
        raise MeasureError(
            "the roof must stand on a front and a rear post on either side for its tilt to be told; "
            "this car has one post a side.",
            "Measure the posts at the other end of the roof.",
        )
    ends = (built.ends[key] for key in (left_front, right_front, left_rear, right_rear))
    return np.array([end.move.points(end.line.lines(end.s_take)[0]) for end in ends])


def _planned(point, known, roof):
    if point.before_mm is None:
        return known[point.name]
    return MarkedPoint(
        name=point.name,
        before_mm=point.before_mm,
        planned_mm=tuple(roof.points(point.before_mm).tolist()),
        is_mirrored=False,
        is_mark=False,
    )


def _readings(corners, points, measured, tapes_before_mm, tape_after_mm):
    planned = np.array([point.planned_mm for point in points])
    after = reading_variance_mm2(tape_after_mm)
    sd = np.array([sqrt(reading_variance_mm2(before) + after) for before in tapes_before_mm])
    return Readings(
        planned_mm=planned,
        measured_mm=measured,
        sd_mm=np.repeat(sd[:, None], 3, axis=1),
        shapes=bend_shapes(planned, corners),
        centre_mm=corners.mean(axis=0),
        reach_mm=float(_half_size(corners)[0]),
    )


def _refuse_slips(points, measured, unit):
    for point, at in zip(points, measured, strict=True):
        for axis, planned, mm in zip(AXES, point.planned_mm, at, strict=True):
            if abs(mm - planned) > FARTHEST_MM:
                raise MeasureError(
                    f'point "{point.name}", {axis} must be within {shown(FARTHEST_MM, unit)} of where '
                    f"the plan puts it, {shown(planned, unit)}; got {shown(mm, unit)}.",
                    "Read the tape again; check the sign of y, and that it is this point.",
                )


def _estimate(value, plus_minus):
    if not isfinite(plus_minus):
        return Estimate(value=None, plus_minus=None)
    return Estimate(value=float(value), plus_minus=float(plus_minus))


def _place(found: Adjustment, corners, name):
    at = corners[[CORNERS.index(corner) for corner in REGIONS[name]]]
    undo = (at - found.move.points(at)).mean(axis=0)
    doubt = found.told(found.displacement_rows(at).mean(axis=0))
    ways = dict(zip(("back_mm", "right_mm", "raise_mm"), map(_estimate, undo, doubt), strict=True))
    return Place(name=name, planned_mm=tuple(at.mean(axis=0).tolist()), **ways)


def _turn(found: Adjustment, axis):
    row = np.zeros(6 + len(BENDS))
    row[3 + axis] = 1.0
    turned_deg = Rotation.from_matrix(found.move.rotation).as_rotvec(degrees=True)[axis]
    return _estimate(turned_deg, np.degrees(found.told(row) / found.given.reach_mm))


def _bend(stand: Stand, k):
    shows = k in stand.final.bends
    seen_in = stand.final if shows else stand.allowing_bends
    amount = Estimate(value=None, plus_minus=None)
    if k in seen_in.bends:
        amount = _estimate(seen_in.amounts_mm[k], amount_plus_minus_mm(seen_in, k))
    return Bend(kind=BENDS[k], amount_mm=amount, shows=shows)


def _post(built, key, found: Adjustment):
    """Return where the upper end of a post stands, moved and bent with the roof around it."""
    ends = built.ends[key]
    line, plane = ends.line, ends.plane_in_place
    landing = ends.move.points(line.lines(ends.s_take)[0])
    shapes = bend_shapes(landing[None], roof_corners_mm(built))
    local = found.move @ translation(*(shapes[0] @ found.amounts_mm))
    tacked = local @ ends.move
    miss = miss_in_plane(line, plane, landing_point(line, plane, tacked))
    planned = miss_in_plane(line, plane, landing)
    gaps = plane.height_above(tacked.points(line.lines(ends.s_upper)))
    rows = found.displacement_rows(landing[None], shapes)[0]
    axis = ends.move.vectors(line.frame(ends.s_take[0])[1][0])
    in_plane = np.eye(3) - np.outer(axis, plane.normal) / (axis @ plane.normal)  # slid along the axis
    seen = np.array([miss_in_plane(line, plane, plane.point_mm + step) for step in np.eye(3)]).T
    doubt = found.told(np.vstack([seen @ in_plane @ rows, plane.normal @ rows]))
    gap = _estimate(gaps[0], doubt[2])
    return PostAsTacked(
        post=key[0],
        side=key[1],
        miss_fore_aft_planned_mm=planned[0],
        miss_fore_aft_mm=_estimate(miss[0], doubt[0]),
        miss_across_planned_mm=planned[1],
        miss_across_mm=_estimate(miss[1], doubt[1]),
        gap_planned_mm=ends.opening_mm,
        gap_mm=gap,
        gap_min_mm=None if gap.value is None else float(gaps.min()),
        gap_max_mm=None if gap.value is None else float(gaps.max()),
    )


def _points(points, measured, found: Adjustment):
    given = found.given
    stands = found.move.points(given.planned_mm + given.shapes @ found.amounts_mm)

    def known(values):
        return tuple(float(v) if isfinite(v) else None for v in values)

    return tuple(
        PointAsTacked(
            name=point.name,
            planned_mm=point.planned_mm,
            measured_mm=known(at),
            unexplained_mm=known(at - fitted_mm),
            is_mirrored=point.is_mirrored,
        )
        for point, at, fitted_mm in zip(points, measured, stands, strict=True)
    )


def _reading_name(points, point, axis):
    return f"{AXES[axis]} of {points[point].name}"
