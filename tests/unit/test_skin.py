"""The skin against bodies in closed form, finite differences and another spline evaluator."""

from functools import lru_cache

import numpy as np
import pytest
from invented_cars import bare_car, cylinder_hoops, flat_car, varied_car, wedge_car, with_point_moved
from scipy.interpolate import NdBSpline
from scipy.optimize import minimize

from model.carfile import demo_car_names, demo_car_path, read_car
from model.layout import SHARED
from model.measured import Hoop
from model.skin import _averaged_parameters, skin_of

CARS = [*demo_car_names(), 0, 3, 9, 13]


@lru_cache(maxsize=16)
def car_of(key):
    return varied_car(key) if isinstance(key, int) else read_car(demo_car_path(key))


@lru_cache(maxsize=16)
def skin(key):
    return skin_of(car_of(key))


def random_uv(count, seed=0, low=0.0, high=1.0):
    return np.random.default_rng(seed).uniform(low, high, (count, 2))


def measured_points(car):
    """(grid name, point) for every measured point and every grid it must lie on."""
    g = car.gutter_index
    for hoop in car.hoops:
        for side in ("right", "left"):
            points = hoop.side_mm(side)
            yield from ((f"side {side}", p) for p in points[: g + 1])
            yield from (("roof", p) for p in points[g:-1] + hoop.right_mm[-1:])
    for panel in car.panels:
        for side in ("right", "left"):
            lines = panel.side_mm(side)
            yield from ((panel.name, p) for line in lines for p in (line[:-1] if side == "left" else line))
        hoop = car.hoops[0 if panel.name == "front" else -1]
        yield from ((panel.name, p) for side in ("right", "left") for p in hoop.side_mm(side)[:-1])
        yield panel.name, hoop.right_mm[-1]


@pytest.mark.parametrize("key", CARS)
def test_passes_through_every_measured_point(key):
    by_grid = {}
    for name, point in measured_points(car_of(key)):
        by_grid.setdefault(name, []).append(point)
    assert set(by_grid) == set(skin(key).grids)
    for name, points in by_grid.items():
        foot = skin(key).grids[name].foot(np.array(points))
        assert np.linalg.norm(foot.point - points, axis=1).max() < 1e-9


@pytest.mark.parametrize("key", CARS)
def test_borders_that_grids_share_are_one_curve(key):
    t = np.linspace(0, 1, 101)
    corner = {
        "u0": lambda t: (0 * t, t),
        "u1": lambda t: (0 * t + 1, t),
        "v0": lambda t: (t, 0 * t),
        "v1": lambda t: (t, 0 * t + 1),
    }
    seen = 0
    for a, border_a, b, border_b in SHARED:
        if a in skin(key).grids and b in skin(key).grids:
            p, q = (
                skin(key).grids[name].point(np.stack(corner[border](t), axis=1))
                for name, border in ((a, border_a), (b, border_b))
            )
            np.testing.assert_allclose(p, q, atol=1e-9)
            seen += 1
    assert seen == 2 + 3 * len(car_of(key).panels)


@pytest.mark.parametrize("key", CARS)
def test_normals_are_unit_and_point_out_of_the_car(key):
    """Out: away from a point deep inside the cab, seen from all over every grid."""
    car = car_of(key)
    low, high = (np.array([[p for h in car.hoops for p in h.right_mm]]).reshape(-1, 3)[:, k] for k in (0, 2))
    inside = np.array([0.5 * (low.min() + low.max()), 0.0, high.min() - 100])
    for grid in skin(key).grids.values():
        uv = random_uv(200)
        n = grid.normal(uv)
        np.testing.assert_allclose(np.linalg.norm(n, axis=1), 1, atol=1e-12)
        assert (np.einsum("ij,ij->i", n, grid.point(uv) - inside) > 0).mean() > 0.98
        middle = grid.normal(np.array([[0.5, 0.5]]))[0]
        axis, sign = {
            "side right": (1, 1),
            "side left": (1, -1),
            "roof": (2, 1),
            "front": (0, -1),
            "back": (0, 1),
        }[grid.name]
        assert middle[axis] * sign > 0.3


@pytest.mark.parametrize("key", CARS)
def test_agrees_with_an_independent_evaluator_and_with_differences(key):
    h = 1e-5
    for grid in skin(key).grids.values():
        uv = random_uv(60, seed=1, low=0.001, high=0.999)
        other = NdBSpline((grid.knots_u, grid.knots_v), grid.poles_mm, (grid.degree_u, grid.degree_v))
        jet = grid.jet(uv)
        np.testing.assert_allclose(jet.point, other(uv), atol=1e-9)
        for field, nu in (("du", (1, 0)), ("dv", (0, 1)), ("duu", (2, 0)), ("duv", (1, 1)), ("dvv", (0, 2))):
            expected = other(uv, nu=nu)
            np.testing.assert_allclose(
                getattr(jet, field), expected, atol=1e-9 * max(1, np.abs(expected).max())
            )
        for field, step in (("du", np.array([h, 0])), ("dv", np.array([0, h]))):
            difference = (grid.point(uv + step) - grid.point(uv - step)) / (2 * h)
            np.testing.assert_allclose(getattr(jet, field), difference, rtol=1e-6, atol=1e-3)
        point, du, dv, n = grid.frame(uv)
        np.testing.assert_allclose(point, grid.point(uv), atol=1e-10)
        np.testing.assert_allclose((du, dv), (jet.du, jet.dv), atol=1e-8)
        assert max(np.abs(np.einsum("ij,ij->i", n, x)).max() for x in (du, dv)) < 1e-9 * np.abs(du).max()


@pytest.mark.parametrize("key", ["coupe", 0, 3])
def test_feet_are_the_nearest_points(key):
    """Against scipy's bounded minimizer from the best of a fine lattice."""
    rng = np.random.default_rng(5)
    for grid in skin(key).grids.values():
        uv = rng.uniform(0.05, 0.95, (6, 2))
        point, _, _, n = grid.frame(uv)
        away = rng.uniform(-60, 60, 6)
        points = point + away[:, None] * n + rng.normal(scale=5, size=(6, 3))
        foot = grid.foot(points)
        u = np.linspace(0, 1, 81)
        lattice = np.stack(np.meshgrid(u, u, indexing="ij"), axis=-1).reshape(-1, 2)
        cloud = grid.point(lattice)
        for i, p in enumerate(points):
            start = lattice[np.linalg.norm(cloud - p, axis=1).argmin()]
            best = minimize(
                lambda w, p=p, grid=grid: ((grid.point(np.clip(w, 0, 1)[None])[0] - p) ** 2).sum(),
                start,
                method="L-BFGS-B",
                bounds=[(0, 1)] * 2,
                options={"ftol": 1e-15, "gtol": 1e-10},
            )
            found = np.linalg.norm(foot.point[i] - p)
            assert found <= np.sqrt(best.fun) + 1e-6
            side = np.sign((p - foot.point[i]) @ grid.normal(foot.uv[i][None])[0])
            assert np.sign(foot.distance_mm[i]) == side
            if foot.is_square[i]:
                assert abs(foot.distance_mm[i]) == pytest.approx(found, abs=1e-9)


def test_foot_beyond_the_border_is_not_square():
    grid = skin_of(flat_car()).grids["roof"]
    edge = grid.point(np.array([[0.5, 0.0]]))[0]
    foot = grid.foot(edge + np.array([[0, 25.0, 10.0]]))
    assert not foot.is_square[0]
    np.testing.assert_allclose(foot.point[0], edge, atol=1e-9)
    assert foot.distance_mm[0] == pytest.approx(10.0, abs=1e-9)


# ---------------------------------------------------------------- cylinder roof, unevenly spaced hoops

RADIUS, HALF = 1500.0, np.radians(28.0)
AT = (0.0, 130.0, 900.0, 1010.0, 1700.0)


def cylinder_roof(rows):
    names, hoops = cylinder_hoops(RADIUS, 28.0, AT, rows)
    return skin_of(bare_car(names, hoops)).grids["roof"]


def test_a_cylinder_roof_has_no_ripple_between_uneven_hoops():
    """All hoops alike: every line along x is straight and the section the same everywhere."""
    grid = cylinder_roof(9)
    u, v = np.linspace(0, 1, 201), np.linspace(0, 1, 41)
    uv = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1)
    p = grid.point(uv.reshape(-1, 2)).reshape(201, 41, 3)
    np.testing.assert_allclose(p[:, :, 1:], np.broadcast_to(p[:1, :, 1:], p[:, :, 1:].shape), atol=1e-9)
    assert (np.diff(p[:, :, 0], axis=0) > 0).all()
    np.testing.assert_allclose(p[..., 0], np.interp(u, [0, 1], [0, 1700])[:, None] + 0 * p[..., 0], atol=1e-9)
    jet = grid.jet(uv.reshape(-1, 2))
    np.testing.assert_allclose(jet.duu, 0, atol=1e-6)


@pytest.mark.parametrize(
    ("rows", "off_mm", "area_rel"), [(5, 0.15, 1e-4), (9, 0.01, 1e-5), (17, 0.001, 1e-6)]
)
def test_cylinder_section_area_and_curvature(rows, off_mm, area_rel):
    """Section within a cubic's h⁴ of the circle; area R · 2θ · L; curvature 1/R."""
    grid = cylinder_roof(rows)
    uv = random_uv(400, seed=2)
    jet = grid.jet(uv)
    centre = 400.0 - RADIUS * np.cos(HALF)
    off = np.hypot(jet.point[:, 1], jet.point[:, 2] - centre) - RADIUS
    assert np.abs(off).max() < off_mm
    assert grid.area_mm2() == pytest.approx(RADIUS * 2 * HALF * 1700.0, rel=area_rel)
    k = np.linalg.norm(np.cross(jet.dv, jet.dvv), axis=1) / np.linalg.norm(jet.dv, axis=1) ** 3
    inner = (uv[:, 1] > 0.1) & (uv[:, 1] < 0.9)
    np.testing.assert_allclose(k[inner] * RADIUS, 1, atol=0.05 if rows == 5 else 0.02)
    radial = (jet.point - [0, 0, centre]) * [0, 1, 1]
    np.testing.assert_allclose(
        grid.normal(uv), radial / np.linalg.norm(radial, axis=1, keepdims=True), atol=2e-3
    )


# ---------------------------------------------------------------- sphere and torus


def torus_hoops(major, minor, stations=9, rows=9):
    """A roof that is part of a torus about a line along y: crown of radius major + minor along x."""
    t = np.radians(np.linspace(-20, 20, stations))
    a = np.radians(np.linspace(30, 0, rows))
    names = ("belt", "gutter", *(f"row {i}" for i in range(1, rows - 1)), "crown")
    hoops = []
    for i, angle in enumerate(t):

        def at(b, angle=angle):
            r = major + minor * np.cos(b)
            return (float(r * np.sin(angle)), float(minor * np.sin(b)), float(r * np.cos(angle)))

        points = [at(b) for b in a]
        points[-1] = (points[-1][0], 0.0, points[-1][2])
        belt = (points[0][0], points[0][1], points[0][2] - 300)
        hoops.append(Hoop(name=f"hoop {i}", right_mm=(belt, *points)))
    return names, tuple(hoops)


@pytest.mark.parametrize(("major", "minor"), [(0.0, 2000.0), (2500.0, 1200.0)])
def test_sphere_and_torus_roofs(major, minor):
    """Distance to the torus; area ∫∫ minor (major + minor cos b) db dt; normal through the tube's centre."""
    names, hoops = torus_hoops(major, minor)
    grid = skin_of(bare_car(names, hoops)).grids["roof"]
    uv = random_uv(400, seed=3)
    p = grid.point(uv)
    in_plane = np.hypot(p[:, 0], p[:, 2])
    off = np.hypot(in_plane - major, p[:, 1]) - minor
    assert np.abs(off).max() < 0.02
    t, b = np.radians(40), np.radians(30)
    assert grid.area_mm2() == pytest.approx(t * minor * (major * 2 * b + minor * 2 * np.sin(b)), rel=2e-5)
    ring = major * np.stack([p[:, 0], 0 * in_plane, p[:, 2]], axis=1) / in_plane[:, None]
    radial = p - ring
    np.testing.assert_allclose(
        grid.normal(uv), radial / np.linalg.norm(radial, axis=1, keepdims=True), atol=2e-3
    )


# ---------------------------------------------------------------- flat skins, views, one point moved


def test_flat_panels_are_flat_and_of_the_right_area():
    """Wedge: sides y = 700 − z tan 14°, front x = z tan 32°, back x = 1500 − z tan 20°, roof falls 3°.
    A side's area is its x-z trapezium over cos 14°."""
    car = wedge_car()
    grids = skin_of(car).grids
    uv = random_uv(100)
    x, y, z = grids["side right"].point(uv).T
    np.testing.assert_allclose(y, 700 - z * np.tan(np.radians(14)), atol=1e-9)
    x, y, z = grids["front"].point(uv).T
    np.testing.assert_allclose(x, z * np.tan(np.radians(32)), atol=1e-9)
    x, y, z = grids["back"].point(uv).T
    np.testing.assert_allclose(x, 1500 - z * np.tan(np.radians(20)), atol=1e-9)
    corners = [
        (h.right_mm[i][0], h.right_mm[i][2])
        for h, i in ((car.hoops[0], 0), (car.hoops[-1], 0), (car.hoops[-1], 2), (car.hoops[0], 2))
    ]
    cx, cz = np.array(corners).T
    area = 0.5 * abs(cx @ np.roll(cz, -1) - cz @ np.roll(cx, -1)) / np.cos(np.radians(14))
    for side in ("right", "left"):
        assert grids[f"side {side}"].area_mm2() == pytest.approx(area, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "view", "axes"),
    [("side left", "side", (0, 2)), ("front", "front", (1, 2)), ("roof", "plan", (0, 1))],
)
def test_carrying_a_view_onto_the_skin_and_back(name, view, axes):
    grid = skin("pickup").grids[name]
    uv = random_uv(80, seed=4, low=0.1, high=0.9)
    seen = grid.point(uv)[:, list(axes)]
    np.testing.assert_allclose(grid.uv_from_view(view, seen, "a point"), uv, atol=1e-9)


def test_a_view_that_does_not_see_the_skin_is_refused():
    grid = skin_of(flat_car()).grids["roof"]
    with pytest.raises(ValueError, match="cannot be seen in rear view"):
        grid.uv_from_view("rear", np.array([[0.0, 480.0]]), "opening 'rear window'")


def test_a_point_off_the_skin_is_refused_with_how_far():
    grid = skin_of(flat_car()).grids["side right"]
    with pytest.raises(
        ValueError, match=r"runs 2\d\.\d mm off the measured skin \(side right\) near .*z = 500\.0"
    ):
        grid.uv_from_view("side", np.array([[700.0, 500.0]]), "opening 'door glass right'")


def test_a_moved_point_moves_its_own_side_only():
    """5 mm on a right mid-glass point: the right side grid changes, the left one and the roof keep their
    borders apart from the parameters' average (which a 5 mm move shifts by well under 1 %)."""
    car = car_of("pickup")
    moved = skin_of(with_point_moved(car, car.hoops[2].name, "mid", (0, 5.0, 0)))
    before = skin("pickup")
    spot = np.array([car.hoops[2].right_mm[1]])
    assert moved.grids["side right"].foot(spot).distance_mm[0] < -4.5
    left = spot * [1, -1, 1]
    assert abs(moved.grids["side left"].foot(left).distance_mm[0]) < 1e-9
    sample = before.grids["roof"].point(random_uv(50))
    foot = moved.grids["roof"].foot(sample)
    assert np.abs(foot.distance_mm[foot.is_square]).max() < 0.05


def test_parameters_of_many_points_end_at_one_to_the_last_bit():
    """A border is looked for at 1 itself; two sums of the same chords may differ in their last bit."""
    drawn = np.random.default_rng(4)
    for count in range(4, 60):
        parameters = _averaged_parameters(np.cumsum(drawn.uniform(1, 90, (count, 3, 3)), axis=0))
        assert parameters[0] == 0 and parameters[-1] == 1 and (np.diff(parameters) > 0).all()
