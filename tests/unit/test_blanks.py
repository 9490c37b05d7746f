"""Blanks of new metal: unrolled in closed form, turned as seen from outside, sized, refused."""

import numpy as np
import pytest
import shapely

from model.blanks import blank_of
from model.crowns import crown_along
from model.errors import MeasureError
from model.flattening import flattening_of, forming_strains
from model.outside.knownsheets import cap_sheet, cylinder_sheet, frustum_sheet, torus_sheet
from model.sheetpatch import Sheet, middle_of, spline_through

THIN_MM = 1e-9  # so that the middle is the outside itself


def plane_sheet(corners, rows=4, columns=5):
    """Return the quadrilateral p00, p10, p11, p01 with its own normal."""
    p00, p10, p11, p01 = (np.array(c, float) for c in corners)
    u, v = np.meshgrid(np.linspace(0, 1, rows), np.linspace(0, 1, columns), indexing="ij")
    u, v = u[..., None], v[..., None]
    points = (1 - u) * (1 - v) * p00 + u * (1 - v) * p10 + u * v * p11 + (1 - u) * v * p01
    normal = np.cross(p11 - p00, p01 - p10)
    normal /= np.linalg.norm(normal)
    return Sheet(points_mm=points, normals=np.broadcast_to(normal, points.shape))


def moved(sheet, turn, shift):
    return Sheet(points_mm=sheet.points_mm @ turn.T + shift, normals=sheet.normals @ turn.T)


TURN = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
TURN *= np.sign(np.linalg.det(TURN))


# A cylinder's blank is its middle's arc by its length; the arc is shortened by half a gauge of radius.
@pytest.mark.parametrize("gauge_mm", [THIN_MM, 1.2, 3.0])
@pytest.mark.parametrize("radius_mm, angle_deg, length_mm", [(100, 90, 300), (40, 200, 150), (1500, 30, 90)])
def test_a_cylinder_unrolls_to_its_arc(radius_mm, angle_deg, length_mm, gauge_mm):
    sheet = cylinder_sheet(radius_mm, angle_deg, length_mm, rows=41)
    blank = blank_of(sheet, trim_mm=10, gauge_mm=gauge_mm)
    arc = np.radians(angle_deg) * (radius_mm - gauge_mm / 2)
    assert (blank.length_mm, blank.width_mm) == pytest.approx(
        (max(arc, length_mm) + 20, min(arc, length_mm) + 20), abs=0.01
    )
    assert blank.flat_area_mm2 == pytest.approx(arc * length_mm, rel=1e-5)
    assert blank.area_mm2 == pytest.approx(np.radians(angle_deg) * radius_mm * length_mm, rel=1e-5)
    assert blank.mass_kg == pytest.approx(arc * length_mm * gauge_mm * 7.85e-6, rel=1e-5)
    assert blank.is_settled and blank.is_developable and blank.can_be_rolled
    assert blank.bends.least_radius_mm == pytest.approx(radius_mm, rel=2e-3)
    assert blank.bends.ruling_fan_deg < 0.01 and blank.bends.ruling_bow_mm < 0.01
    away = abs(blank.bends.ruling_angle_deg)
    assert away == pytest.approx(90 if arc > length_mm else 0, abs=0.01)
    assert len(blank.outline_mm) == 4  # straight sides stay two points


def test_crown_is_the_sagitta_over_the_chord():
    blank = blank_of(cylinder_sheet(500, 80, 400, rows=41), trim_mm=0, gauge_mm=1)
    sagitta = 500 - np.sqrt(500**2 - 150**2)
    assert blank.crown_lengthwise.chord_mm == pytest.approx(300, abs=0.01)
    assert blank.crown_lengthwise.sagitta_mm == pytest.approx(sagitta, rel=1e-3)
    assert [s for _, s in blank.crown_lengthwise.stations] == pytest.approx([sagitta] * 9, rel=1e-3)
    assert abs(blank.crown_crosswise.sagitta_mm) < 1e-9
    assert blank.crown_mm == blank.crown_lengthwise.sagitta_mm
    short = crown_along(cylinder_sheet(100, 90, 400), 0)
    assert short.chord_mm == pytest.approx(100 * np.sqrt(2)) and len(short.stations) == 1
    assert short.sagitta_mm == pytest.approx(100 * (1 - np.sqrt(0.5)), abs=0.01)
    hollow = cylinder_sheet(500, 80, 400, rows=41)
    hollow = Sheet(points_mm=hollow.points_mm, normals=-hollow.normals)
    assert crown_along(hollow, 0).sagitta_mm == pytest.approx(-sagitta, rel=1e-3)


def test_a_wedge_with_one_side_a_point():
    wedge = plane_sheet([(0, 0, 0), (400, 0, 0), (400, 0, 0), (0, 0, 30)])
    blank = blank_of(moved(wedge, TURN, [500, 20, 900]), trim_mm=0, gauge_mm=1)
    assert blank.flat_area_mm2 == pytest.approx(6000, rel=1e-6)
    assert blank.is_developable and blank.can_be_rolled and blank.bends.is_flat
    assert blank.bends.least_radius_mm is None and blank.bends.ruling_angle_deg is None
    assert sorted(np.linalg.norm(np.diff(s, axis=0), axis=1).sum() for s in blank.sides_mm) == pytest.approx(
        [0, 30, 400, np.hypot(400, 30)], abs=0.001
    )


def test_at_a_side_that_is_a_point_the_normal_is_that_of_the_sheet_beside_it():
    """A sector of a cone from its very tip: at the tip each ruling has its own normal, in closed form."""
    half = np.radians(25.0)
    turn = np.linspace(0, np.radians(70), 41)
    out = np.linspace(0, 200, 9)[:, None]
    around = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    points = out[..., None] * (np.sin(half) * around + np.cos(half) * np.array([0, 0, 1]))
    normal = np.cos(half) * around - np.sin(half) * np.array([0, 0, 1])
    sheet = Sheet(points_mm=points, normals=np.broadcast_to(normal, points.shape))
    found = sheet.spline.normals(sheet.spline.u, sheet.spline.v, sheet.side)
    np.testing.assert_allclose(found, sheet.normals, atol=2e-5)
    assert np.isfinite(sheet.spline.normals([0.0], [0.0, 0.5, 1.0], sheet.side)).all()


# Not symmetric to anything: seen from outside it must keep its hand, whichever way its grid runs.
@pytest.mark.parametrize("order", ["as it is", "rows back", "columns back", "swapped"])
def test_the_blank_is_seen_from_outside(order):
    sheet = plane_sheet([(0, 0, 0), (100, 0, 0), (80, 50, 0), (10, 60, 0)])  # seen from +z: counter-clockwise
    points = {
        "as it is": sheet.points_mm,
        "rows back": sheet.points_mm[::-1],
        "columns back": sheet.points_mm[:, ::-1],
        "swapped": sheet.points_mm.swapaxes(0, 1),
    }[order]
    normals = np.broadcast_to([0, 0, 1.0], points.shape)
    outline = shapely.Polygon(
        blank_of(Sheet(points_mm=points, normals=normals), trim_mm=0, gauge_mm=1).outline_mm
    )
    plan = shapely.Polygon([(0, 0), (100, 0), (80, 50), (10, 60)])
    half_turned = shapely.affinity.rotate(plan, 180, origin=(50, 30))
    apart = [best_apart(outline, shape) for shape in (plan, half_turned)]
    assert min(apart) < 0.01
    mirrored = shapely.affinity.scale(plan, -1, 1)
    assert min(best_apart(outline, m) for m in (mirrored, shapely.affinity.rotate(mirrored, 180))) > 5


def best_apart(a, b):
    """Return the Hausdorff distance once the bounds' lower left corners are laid together."""
    a, b = (shapely.affinity.translate(x, -x.bounds[0], -x.bounds[1]) for x in (a, b))
    return shapely.hausdorff_distance(a, b)


def test_where_the_car_is_does_not_matter():
    sheet = torus_sheet(600, 250, 40, 10, 70, rows=21, columns=15)
    here = blank_of(sheet, trim_mm=12, gauge_mm=1)
    there = blank_of(moved(sheet, TURN, [900, -300, 1200]), trim_mm=12, gauge_mm=1)
    assert there.trim_outline_mm == pytest.approx(here.trim_outline_mm, abs=1e-5)
    assert there.strain_map.strains == pytest.approx(here.strain_map.strains, abs=1e-8)
    back = TURN.T @ (np.array(there.peak_at_mm) - [900, -300, 1200])
    assert abs(back) == pytest.approx(abs(np.array(here.peak_at_mm)), abs=1e-3)  # y and −y strain alike


def test_a_mirrored_sheet_has_a_mirrored_blank():
    sheet = torus_sheet(600, 250, 40, 10, 70, rows=21, columns=15)
    cut = Sheet(points_mm=sheet.points_mm[4:, :9], normals=sheet.normals[4:, :9])
    over = Sheet(points_mm=cut.points_mm * [1, -1, 1], normals=cut.normals * [1, -1, 1])
    right, left = (blank_of(s, trim_mm=0, gauge_mm=1) for s in (cut, over))
    assert right.max_strain == pytest.approx(left.max_strain, abs=1e-9)
    a, b = (shapely.Polygon(x.outline_mm) for x in (right, left))
    b = shapely.affinity.scale(b, -1, 1)
    assert min(best_apart(a, b), best_apart(a, shapely.affinity.rotate(b, 180))) < 0.01


def test_forming_signs_on_a_bowl_and_a_saddle():
    """A dome is stretched in its middle and gathered round its rim; a saddle the other way round."""
    dome = blank_of(cap_sheet(200, 40), trim_mm=0, gauge_mm=1)
    p, q = (n // 2 for n in dome.strain_map.area_change.shape)
    assert dome.strain_map.area_change[p, q] > 0.005 > -0.005 > dome.strain_map.strains[0, q, 1]
    assert dome.max_shrink < -0.015 and dome.max_stretch > 0.005 and not dome.is_developable
    saddle = blank_of(torus_sheet(600, 250, 40, 150, 210), trim_mm=0, gauge_mm=1)
    p, q = (n // 2 for n in saddle.strain_map.area_change.shape)
    assert saddle.strain_map.area_change[p, q] < 0
    assert saddle.max_stretch > -saddle.max_shrink and saddle.max_strain == saddle.max_stretch
    assert not saddle.can_be_rolled


def test_the_strain_map_tells_how_far_lines_grow():
    """Lines through the middles of cells are on the car as long as in the blank, times one plus strain."""
    sheet = torus_sheet(600, 250, 40, 10, 70)
    blank = blank_of(sheet, trim_mm=0, gauge_mm=THIN_MM)
    strains = blank.strain_map
    flat = np.diff(strains.corners_mm[:, :-1] + strains.corners_mm[:, 1:], axis=0) / 2
    car = np.diff(strains.on_car_mm[:, :-1] + strains.on_car_mm[:, 1:], axis=0) / 2
    length = np.linalg.norm(flat, axis=2)
    cosine = np.abs(np.sum(flat / length[..., None] * strains.directions, axis=2))
    grown = 1 + strains.strains
    expected = np.sqrt((grown[..., 0] * cosine) ** 2 + (grown[..., 1] ** 2) * (1 - cosine**2))
    chord = np.linalg.norm(car, axis=2) / length
    assert chord == pytest.approx(expected, abs=1e-3)  # chords of cells, up to 20 mm on a radius of 250 mm
    assert np.ptp(expected) > 0.02  # so the comparison says something


def test_the_trim_allowance_lies_all_round():
    blank = blank_of(frustum_sheet(200, 120, 90, angle_deg=70, rows=25), trim_mm=15, gauge_mm=1)
    net, trimmed = shapely.Polygon(blank.outline_mm), shapely.Polygon(blank.trim_outline_mm)
    away = shapely.distance(shapely.points(shapely.get_coordinates(trimmed.exterior)), net)
    assert away.min() == pytest.approx(15, abs=0.01) and away.max() == pytest.approx(15 * np.sqrt(2), abs=0.1)
    assert trimmed.bounds[:2] == pytest.approx((0, 0), abs=1e-9)
    assert trimmed.bounds[2:] == pytest.approx((blank.length_mm, blank.width_mm), abs=1e-6)
    assert blank.length_mm > blank.width_mm


def test_a_slender_strip_bent_both_ways_can_be_rolled():
    """Ten millimetres wide on a tube: what it bows across is nothing against what it bows along."""
    blank = blank_of(torus_sheet(600, 250, 110, 10, 12.3, rows=61, columns=5), trim_mm=0, gauge_mm=1)
    assert blank.is_settled and blank.can_be_rolled and blank.width_mm > 10
    along = 1 / (np.cos(np.radians(11)) / (600 + 250 * np.cos(np.radians(11))))
    assert blank.bends.least_radius_mm == pytest.approx(along, rel=0.01)  # not the tube's own 250
    assert (
        abs(blank.max_strain) < (10 / 250) ** 2 / 24
    )  # width²/24 times the Gauss curvature, here under 1/250²
    assert blank.bends.ruling_bow_mm == pytest.approx(10**2 / 8 / 250, rel=0.05)


def test_a_twisted_strip_has_no_rulings():
    """A strip turned about its own middle line by 20° over 600 mm: flat within yield, but not rolled."""
    u, v = np.meshgrid(np.linspace(0, 600, 41), np.linspace(-20, 20, 5), indexing="ij")
    rate = np.radians(20) / 600
    a = rate * u
    points = np.stack([u, v * np.cos(a), v * np.sin(a)], axis=-1)
    normals = np.stack([rate * v, np.sin(a), -np.cos(a)], axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    blank = blank_of(Sheet(points_mm=points, normals=normals), trim_mm=0, gauge_mm=1)
    assert blank.is_developable and not blank.bends.is_flat
    assert not blank.bends.has_rulings and not blank.can_be_rolled
    assert blank.bends.ruling_bow_mm == pytest.approx(rate * (40 * np.sqrt(2)) ** 2 / 8, rel=0.01)
    # A helicoid's lines along are longer away from the middle: half width² × rate² / 2, less its mean.
    assert blank.max_stretch == pytest.approx((20 * rate) ** 2 / 2 * 2 / 3, rel=0.05)


def test_a_wedge_of_a_sphere_to_its_pole():
    t, p = np.meshgrid(np.linspace(0, np.pi / 3, 31), np.linspace(np.pi / 2, 0.9, 15), indexing="ij")
    normals = np.stack([np.cos(p) * np.cos(t), np.cos(p) * np.sin(t), np.sin(p)], axis=-1)
    blank = blank_of(Sheet(points_mm=400 * normals, normals=normals), trim_mm=5, gauge_mm=THIN_MM)
    assert blank.is_settled and blank.area_mm2 == pytest.approx(
        400**2 * np.pi / 3 * (1 - np.sin(0.9)), rel=1e-5
    )
    assert shapely.is_valid(shapely.Polygon(blank.outline_mm)) and blank.doubt_mm < 0.01
    assert np.ptp(blank.sides_mm[2], axis=0).max() < 1e-9  # the first column is the pole


def test_a_bump_in_a_corner_shows_in_the_peak():
    """A bump of 30 mm within the last few grid lines: 99 % of the area stays well below its strain."""
    u, v = np.meshgrid(np.linspace(0, 1, 41), np.linspace(0, 1, 41), indexing="ij")
    bump = 30 * np.exp(-((u - 1) ** 2 + (v - 1) ** 2) / 0.01)
    points = np.stack([500 * u, 200 * v, 60 * u**2 + 40 * v**2 + bump], axis=-1)
    along = (120 * u - 200 * (u - 1) * bump) / 500
    across = (80 * v - 200 * (v - 1) * bump) / 200
    normals = np.stack([-along, -across, np.ones_like(u)], axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    blank = blank_of(Sheet(points_mm=points, normals=normals), trim_mm=0, gauge_mm=THIN_MM)
    assert abs(blank.peak_strain) > 4 * abs(blank.max_strain) and 0 < blank.doubt_strain < 0.002
    assert np.linalg.norm(np.array(blank.peak_at_mm) - points[-1, -1]) < 100


def test_a_closed_ring_is_spanned_across():
    crown = crown_along(cylinder_sheet(100, 360, 50, rows=97), 0)
    assert (crown.chord_mm, crown.sagitta_mm) == pytest.approx((200, 100), rel=1e-3)


def test_the_middle_lies_half_a_gauge_inward():
    middle = middle_of(cylinder_sheet(100, 90, 50), 3)
    assert np.hypot(middle.points_mm[..., 0], middle.points_mm[..., 1]) == pytest.approx(98.5)


def test_halving_the_spans_changes_less_each_time():
    sheet = torus_sheet(600, 250, 60, 0, 80, rows=61, columns=41)
    flattening = flattening_of(sheet)
    at = np.linspace(0.02, 0.98, 25)
    coarse, fine = (forming_strains(sheet, f, at, at)[0] for f in (flattening.coarse, flattening.flat))
    assert flattening.flat.energy_mm2 < flattening.coarse.energy_mm2
    assert np.abs(coarse - fine).max() < 5e-4 and np.abs(fine).max() > 0.02
    blank = blank_of(sheet, trim_mm=0, gauge_mm=THIN_MM)
    assert blank.doubt_strain < 1e-4 and blank.doubt_mm < 0.01


def test_second_form_and_area_of_a_sphere():
    sheet = cap_sheet(100, 20)
    radius = (100**2 + 20**2) / 40
    u = v = np.linspace(0.3, 0.7, 5)
    first, second = sheet.spline.first_form(u, v), sheet.spline.second_form(u, v, sheet.side)
    for a, b in zip(first, second, strict=True):
        assert b == pytest.approx(a / radius, abs=2e-3 * np.abs(first[0] / radius).max())
    assert sheet.spline.area_mm2 == pytest.approx(np.pi * (100**2 + 20**2), rel=1e-5)


def test_few_points_are_laid_through_as_they_are():
    spline = spline_through(plane_sheet([(0, 0, 0), (10, 0, 0), (10, 4, 0), (0, 4, 0)], 2, 3).points_mm)
    assert spline.degrees == (1, 2) and spline.area_mm2 == pytest.approx(40)


GOOD = plane_sheet([(0, 0, 0), (10, 0, 0), (10, 4, 0), (0, 4, 0)])


@pytest.mark.parametrize(
    "points, normals, words",
    [
        (GOOD.points_mm[0], GOOD.normals[0], r"points_mm must be a grid .*got shape \(5, 3\)"),
        (GOOD.points_mm[:1], GOOD.normals[:1], "at least 2"),
        (GOOD.points_mm, GOOD.normals[:2], r"normals must be of the shape of points_mm, \(4, 5, 3\)"),
        (GOOD.points_mm * np.nan, GOOD.normals, "must be finite"),
        (GOOD.points_mm, GOOD.normals * 2, "normals must be of length 1; got 2"),
        (GOOD.points_mm[[0, 0, 1]], GOOD.normals[[0, 0, 1]], "lines 0 and 1 along axis 0 the same"),
    ],
)
def test_a_patch_that_is_none(points, normals, words):
    with pytest.raises(MeasureError, match=words):
        Sheet(points_mm=points, normals=normals)


def test_normals_of_another_sheet():
    tilted = np.broadcast_to([0.6, 0, 0.8], GOOD.points_mm.shape)
    with pytest.raises(MeasureError, match=r"normals must be square to the points within 15°.*36\.9° off"):
        blank_of(Sheet(points_mm=GOOD.points_mm, normals=tilted), trim_mm=0, gauge_mm=1)
    both = GOOD.normals.copy()
    both[0] *= -1
    with pytest.raises(MeasureError, match="all on one side"):
        blank_of(Sheet(points_mm=GOOD.points_mm, normals=both), trim_mm=0, gauge_mm=1)


@pytest.mark.parametrize(
    "trim_mm, gauge_mm, words",
    [(-1, 1, "trim_mm must be 0 mm or more; got -1 mm"), (0, 0, "gauge_mm must be above 0 mm; got 0 mm")],
)
def test_lengths_out_of_range(trim_mm, gauge_mm, words):
    with pytest.raises(MeasureError, match=words):
        blank_of(GOOD, trim_mm=trim_mm, gauge_mm=gauge_mm)


def test_a_sheet_cannot_be_written_to():
    with pytest.raises(ValueError, match="read-only"):
        GOOD.points_mm[0, 0, 0] = 1.0


def test_sharp_folds_get_spans_of_their_own():
    """A corrugated strip, ten waves bent to a radius of 9 mm, is developable."""
    v, w = np.meshgrid(np.linspace(0, 400, 401), np.linspace(0, 60, 5), indexing="ij")
    wave = 2 * np.pi / 40
    slope = 4.5 * wave * np.cos(wave * v)
    points = np.stack([v, w, 4.5 * np.sin(wave * v)], axis=-1)
    normals = np.stack([-slope, 0 * v, np.ones_like(v)], axis=-1) / np.sqrt(1 + slope**2)[..., None]
    blank = blank_of(Sheet(points_mm=points, normals=normals), trim_mm=0, gauge_mm=THIN_MM)
    at = np.linspace(0, 400, 40001)
    arc = np.trapezoid(np.sqrt(1 + (4.5 * wave * np.cos(wave * at)) ** 2), at)
    assert blank.length_mm == pytest.approx(arc, abs=0.01) and blank.is_developable and blank.can_be_rolled
    assert blank.bends.least_radius_mm == pytest.approx(1 / (4.5 * wave**2), rel=0.1)


def test_sheet_too_thick_for_its_bend():
    sheet = cylinder_sheet(0.5, 90, 20)
    with pytest.raises(MeasureError, match=r"gauge_mm must be under twice .*, 1\.00 mm; got 1\.2 mm"):
        blank_of(sheet, trim_mm=0, gauge_mm=1.2)
    inward = Sheet(points_mm=sheet.points_mm, normals=-sheet.normals)
    assert blank_of(inward, trim_mm=0, gauge_mm=1.2).width_mm == pytest.approx(np.pi / 2 * 1.1, abs=0.001)
