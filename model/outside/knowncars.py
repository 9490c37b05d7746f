"""Cars of known shape: what a plan does to them can be worked out by hand, or is printed in a table.

A flat cab has five flat panels; a turned one has a roof that is half of a body
of revolution about a line along x: cylinder, cone or sphere.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..carcheck import check_car
from ..measured import Car, Corner, EndPanel, Hoop, Opening, Post

ROWS = ("belt", "mid", "gutter", "shoulder", "crown")


def tan(deg):
    """Tangent of an angle in degrees."""
    return np.tan(np.radians(deg))


def rectangle(low, high, radius=0.0):
    """Corners of a box in a view, all with one radius."""
    (a0, b0), (a1, b1) = low, high
    return tuple(
        Corner(across_mm=a, up_mm=b, radius_mm=radius) for a, b in ((a0, b0), (a1, b0), (a1, b1), (a0, b1))
    )


def flat_car(
    *,
    rake_deg=30.0,
    tumblehome_deg=0.0,
    rear_deg=0.0,
    roof_falls_deg=0.0,
    length_mm=1500.0,
    height_mm=480.0,
    belt_half_mm=700.0,
    hoops_at=(0.0, 0.3, 0.75, 1.0),
    posts=("A", "B", "C"),
    cut_at=240.0,
    divider=False,
    gauge_mm=1.0,
    keep_outs=(),
    name="flat cab",
):
    """Return a cab of five flat panels.

    Sides lie in y = ±(belt_half − z tan tumblehome), the front in x = z tan
    rake, the back in x = length − z tan rear, the roof in z = height −
    (x − x_front) tan fall.  Every hoop divides belt and roof edge alike, so
    every grid is bilinear on its plane.  Posts are straight: A along the
    windshield, B upright in side view, C along the back, all in the tumblehome.
    """
    tb = tan(tumblehome_deg)
    front_top = np.array([height_mm * tan(rake_deg), 0.0, height_mm])
    fall = tan(roof_falls_deg)
    # back: x = L - z tan(rear); z = h - (x - x_f) fall
    x = (length_mm - (height_mm + front_top[0] * fall) * tan(rear_deg)) / (1 - fall * tan(rear_deg))
    back_top = np.array([x, 0.0, height_mm - (x - front_top[0]) * fall])

    def half(z):
        return belt_half_mm - z * tb

    def hoop(part):
        belt = np.array([part * length_mm, 0.0, 0.0])
        top = front_top + part * (back_top - front_top)
        points = []
        for up in (0.0, 0.5, 1.0):
            p = belt + up * (top - belt)
            points.append((p[0], half(p[2]), p[2]))
        for in_ in (0.5, 0.0):
            points.append((top[0], half(top[2]) * in_, top[2]))
        return tuple(tuple(float(c) for c in p) for p in points)

    hoops = tuple(Hoop(name=f"hoop {i}", right_mm=hoop(p)) for i, p in enumerate(hoops_at))

    def panel(name, at):
        lines = tuple(tuple((p[0], p[1] * s, p[2]) for s in (0.5, 0.0)) for p in hoop(at)[:2])
        return EndPanel(name=name, right_mm=lines)

    def post(name, foot_x, lean, inset=40.0, top=440.0):
        def at(z):
            return (foot_x + z * tan(lean), half(z) - inset, z)

        return Post(
            name=name,
            side="right",
            axis_mm=(at(0.0), at(top)),
            width_mm=60.0,
            depth_mm=40.0,
            wall_mm=1.5,
            cut_from_mm=100.0,
            cut_to_mm=420.0,
            cut_at_mm=cut_at,
        )

    made = {
        "A": post("A", 70.0, rake_deg),
        "B": post("B", 0.5 * length_mm, 0.0),
        "C": post("C", length_mm - 70.0, -rear_deg, top=0.9 * back_top[2]),
    }
    made["C"] = replace(made["C"], cut_to_mm=0.88 * back_top[2])
    posts = tuple(made[n] for n in posts)
    if divider:
        posts += (
            Post(
                name="divider",
                side="centre",
                axis_mm=((30.0, 0.0, 0.0), (30.0 + 440 * tan(rake_deg), 0.0, 440.0)),
                width_mm=30.0,
                depth_mm=24.0,
                wall_mm=1.5,
                cut_from_mm=100.0,
                cut_to_mm=420.0,
                cut_at_mm=cut_at,
            ),
        )
    b = 0.5 * length_mm
    openings = [
        Opening(
            name="door glass",
            role="side glass",
            grid="side",
            view="side",
            side="right",
            corners=(
                Corner(across_mm=b - 50 - 500 + 60 * tan(rake_deg) / 2, up_mm=60.0, radius_mm=20.0),
                Corner(across_mm=b - 50, up_mm=60.0, radius_mm=20.0),
                Corner(across_mm=b - 50, up_mm=0.85 * back_top[2], radius_mm=20.0),
                Corner(across_mm=b - 50 - 250, up_mm=0.85 * back_top[2], radius_mm=20.0),
            ),
        ),
        Opening(
            name="quarter glass",
            role="side glass",
            grid="side",
            view="side",
            side="right",
            corners=rectangle((b + 50, 60.0), (b + 300, 0.85 * back_top[2]), 20.0),
        ),
        Opening(
            name="rear window",
            role="rear window",
            grid="back",
            view="rear",
            side="centre",
            corners=rectangle((-300.0, 120.0), (300.0, 0.8 * back_top[2]), 40.0),
        ),
    ]
    if divider:
        openings.append(
            Opening(
                name="windshield",
                role="windshield",
                grid="front",
                view="front",
                side="right",
                corners=rectangle((40.0, 100.0), (460.0, 400.0), 30.0),
            )
        )
    else:
        openings.append(
            Opening(
                name="windshield",
                role="windshield",
                grid="front",
                view="front",
                side="centre",
                corners=rectangle((-460.0, 100.0), (460.0, 400.0), 30.0),
            )
        )
    car = Car(
        name=name,
        unit="mm",
        origin="belt corner",
        rows=ROWS,
        hoops=hoops,
        panels=(panel("front", 0.0), panel("back", 1.0)),
        openings=tuple(openings),
        posts=posts,
        gauge_mm=gauge_mm,
        glass_mm=6.0,
        tape_mm=0.5,
        rear_point=(hoops[-1].name, "crown"),
        keep_outs=keep_outs,
    )
    check_car(car)
    return car


def box_car(**changed):
    """Return an upright box: every panel plumb or level."""
    return flat_car(**{"rake_deg": 0.0, "name": "upright box", **changed})


def wedge_car(**changed):
    """Return a wedge: raked windshield, tumblehome, a roof that falls, a back that leans forward."""
    return flat_car(
        **{
            "rake_deg": 32.0,
            "tumblehome_deg": 14.0,
            "rear_deg": 20.0,
            "roof_falls_deg": 3.0,
            "name": "wedge",
            **changed,
        }
    )


def cylinder_hoops(
    radius_mm=1500.0, half_angle_deg=28.0, at_mm=(0.0, 130.0, 900.0, 1010.0, 1700.0), rows=9, height_mm=400.0
):
    """Return rows and hoops of a cab whose roof is a cylinder about a line along x, sides plumb."""
    g = np.radians(half_angle_deg)
    angles = np.linspace(g, 0, rows)
    names = ("belt", "mid", "gutter", *(f"row {i}" for i in range(1, rows - 1)), "crown")
    hoops = []
    for i, x in enumerate(at_mm):
        w = radius_mm * np.sin(g)
        points = [(x, w, 0.0), (x, w, height_mm / 2)]
        points += [
            (x, float(radius_mm * np.sin(a)), float(height_mm + radius_mm * (np.cos(a) - np.cos(g))))
            for a in angles
        ]
        points[-1] = (x, 0.0, points[-1][2])
        hoops.append(Hoop(name=f"hoop {i}", right_mm=tuple(points)))
    return names, tuple(hoops)


def bare_car(rows, hoops, **changed):
    """Return a car that is skin and nothing else: no openings, no posts."""
    fields = {
        "name": "bare skin",
        "unit": "mm",
        "origin": "none",
        "rows": tuple(rows),
        "hoops": tuple(hoops),
        "panels": (),
        "openings": (),
        "posts": (),
        "gauge_mm": 1.0,
        "glass_mm": 6.0,
        "tape_mm": 0.5,
        "rear_point": (hoops[-1].name, "crown"),
    }
    return Car(**{**fields, **changed})


def turned_hoops(profile_mm, *, rows=17, belt_mm=-200.0):
    """Return rows and hoops of a cab whose roof is the upper half of a body turned about the x axis.

    Parameters
    ----------
    profile_mm : sequence of (x, radius)
        One for each hoop; the last radius may be 0, the pole of a dome.
    rows : int
        Points on a quarter of the circle, gutter and crown included.
    belt_mm : float
        z of the belt; the sides hang plumb from the gutter, which lies at z = 0.
    """
    angles = np.linspace(np.pi / 2, 0, rows)
    names = ("belt", "mid", "gutter", *(f"row {i}" for i in range(1, rows - 1)), "crown")
    hoops = []
    for i, (x, radius) in enumerate(profile_mm):
        over = [(float(x), float(radius * np.sin(a)), float(radius * np.cos(a))) for a in angles]
        over[0], over[-1] = (float(x), float(radius), 0.0), (float(x), 0.0, float(radius))
        sides = [(float(x), float(radius), z) for z in (belt_mm, belt_mm / 2)]
        hoops.append(Hoop(name=f"hoop {i}", right_mm=(*sides, *over)))
    return names, tuple(hoops)
