"""Small cars made up for the tests: varied ones by the dozen, cars moved and mirrored.

Flat and turned ones, to work out by hand, are those of the outside checks.
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np

from model.carcheck import check_car
from model.measured import Corner, EndPanel, Hoop, Opening, Post, mirrored
from model.outside.knowncars import bare_car, box_car, cylinder_hoops, flat_car, rectangle, tan, wedge_car
from model.plan import GivenPlane, Plan, PostCut, PostShift, RoofMove, WindowMove
from model.scene import cell_mesh
from model.skin import skin_of

__all__ = [
    "bare_car",
    "box_car",
    "cell_area_mm2",
    "cylinder_hoops",
    "flat_car",
    "grid_area_mm2",
    "mirrored_car",
    "mirrored_plan",
    "moved_car",
    "moved_plan",
    "rectangle",
    "tan",
    "varied_car",
    "varied_plan",
    "wedge_car",
    "with_point_moved",
]


def cell_area_mm2(cell):
    """Area of a cell on the surface: |S_u × S_v| at the middles of edges of triangles quartered twice."""
    mesh = cell_mesh(cell)
    t = mesh.uv[mesh.triangles]
    for _ in range(2):
        a, b, c = (t[:, k] for k in range(3))
        ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
        t = np.concatenate(
            [np.stack(x, axis=1) for x in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
        )
    e, f = t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]
    size = np.abs(e[:, 0] * f[:, 1] - e[:, 1] * f[:, 0]) / 2
    total = 0.0
    for i, j in ((0, 1), (1, 2), (2, 0)):
        jet = cell.grid.jet((t[:, i] + t[:, j]) / 2)
        total += size @ np.linalg.norm(np.cross(jet.du, jet.dv), axis=1) / 3
    return float(total)


def grid_area_mm2(grid):
    """Area of a grid by 5 × 5 Gauss points in every sixth of a knot span."""
    x, w = np.polynomial.legendre.leggauss(5)

    def nodes(breaks):
        fine = np.unique(
            np.concatenate([np.linspace(a, b, 7) for a, b in zip(breaks[:-1], breaks[1:], strict=True)])
        )
        half, middle = np.diff(fine) / 2, (fine[1:] + fine[:-1]) / 2
        return (middle[:, None] + half[:, None] * x).ravel(), (half[:, None] * w).ravel()

    (u, wu), (v, wv) = nodes(grid.breaks_u), nodes(grid.breaks_v)
    jet = grid.jet(np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2))
    return float(np.outer(wu, wv).ravel() @ np.linalg.norm(np.cross(jet.du, jet.dv), axis=1))


# ---------------------------------------------------------------- moved and mirrored cars


def mirrored_car(car):
    """Return the car seen in a mirror: left and right change places."""

    def swap(side):
        return {"left": "right", "right": "left", "centre": "centre"}[side]

    def over(points):
        return tuple(mirrored(p) for p in points)

    hoops = tuple(
        Hoop(name=h.name, right_mm=over(h.side_mm("left")), left_mm=over(h.right_mm)) for h in car.hoops
    )
    panels = tuple(
        EndPanel(
            name=p.name,
            right_mm=tuple(over(line) for line in p.side_mm("left")),
            left_mm=tuple(over(line) for line in p.right_mm),
        )
        for p in car.panels
    )
    openings = []
    for o in car.all_openings():
        sign = -1.0 if o.view in ("front", "rear") else 1.0
        corners = tuple(
            Corner(across_mm=sign * c.across_mm, up_mm=c.up_mm, radius_mm=c.radius_mm) for c in o.corners
        )
        if o.view == "plan":
            corners = tuple(replace(c, up_mm=-c.up_mm) for c in corners)
        openings.append(replace(o, side=swap(o.side), corners=corners))
    posts = [replace(p, side=swap(p.side), axis_mm=over(p.axis_mm)) for p in car.all_posts()]
    order = {"right": 0, "left": 1, "centre": 2}
    posts = sorted(
        posts, key=lambda p: (p.side == "centre", [q.name for q in car.posts].index(p.name), order[p.side])
    )
    bodies = tuple(
        replace(b, at_mm=mirrored(b.at_mm), to_mm=mirrored(b.to_mm) if b.to_mm else None)
        for b in car.keep_outs
    )
    seat = mirrored(car.seat_mm) if car.seat_mm else None
    mirror = mirrored(car.driver.mirror_mm) if car.driver.mirror_mm else None
    return replace(
        car,
        hoops=hoops,
        panels=panels,
        openings=tuple(openings),
        posts=tuple(posts),
        keep_outs=bodies,
        seat_mm=seat,
        driver=replace(car.driver, mirror_mm=mirror),
    )


def mirrored_plan(plan):
    """Return the plan with left and right changed over."""
    swap = {"left": "right", "right": "left", "centre": "centre", None: None}

    def over(cut):
        plane = cut.plane
        if cut.side == "centre" and isinstance(
            plane, GivenPlane
        ):  # "inboard" of the divider is −y on any car
            plane = replace(plane, rises_inboard_deg=-plane.rises_inboard_deg)
        return replace(cut, side=swap[cut.side], plane=plane)

    return replace(
        plan,
        cuts=tuple(over(c) for c in plan.cuts),
        shifts=tuple(replace(s, side=swap[s.side]) for s in plan.shifts),
    )


def moved_car(car, x_mm, z_mm):
    """Return the car measured from another origin on its centre plane."""

    def at(point):
        return (point[0] + x_mm, point[1], point[2] + z_mm)

    def over(points):
        return tuple(at(p) for p in points) if points is not None else None

    shift = {"side": (x_mm, z_mm), "front": (0.0, z_mm), "rear": (0.0, z_mm), "plan": (x_mm, 0.0)}
    return replace(
        car,
        hoops=tuple(replace(h, right_mm=over(h.right_mm), left_mm=over(h.left_mm)) for h in car.hoops),
        panels=tuple(
            replace(
                p,
                right_mm=tuple(over(line) for line in p.right_mm),
                left_mm=tuple(over(line) for line in p.left_mm) if p.left_mm else None,
            )
            for p in car.panels
        ),
        openings=tuple(
            replace(
                o,
                corners=tuple(
                    replace(c, across_mm=c.across_mm + shift[o.view][0], up_mm=c.up_mm + shift[o.view][1])
                    for c in o.corners
                ),
            )
            for o in car.openings
        ),
        posts=tuple(
            replace(
                p,
                axis_mm=over(p.axis_mm),
                cut_from_mm=p.cut_from_mm + z_mm,
                cut_to_mm=p.cut_to_mm + z_mm,
                cut_at_mm=p.cut_at_mm + z_mm,
            )
            for p in car.posts
        ),
        keep_outs=tuple(
            replace(b, at_mm=at(b.at_mm), to_mm=at(b.to_mm) if b.to_mm else None) for b in car.keep_outs
        ),
        seat_mm=at(car.seat_mm) if car.seat_mm else None,
        driver=replace(car.driver, mirror_mm=at(car.driver.mirror_mm) if car.driver.mirror_mm else None),
    )


def moved_plan(plan, z_mm):
    """Return the plan for a car measured from an origin so much lower."""
    return replace(
        plan,
        cuts=tuple(
            replace(c, height_mm=c.height_mm + z_mm if c.height_mm is not None else None) for c in plan.cuts
        ),
    )


def with_point_moved(car, hoop, row, by_mm, side="right"):
    """Return the car with one measured point of one hoop moved by (x, y, z); the other side stays."""
    at = car.rows.index(row)
    hoops = []
    for h in car.hoops:
        if h.name == hoop:
            points = list(h.side_mm(side))
            points[at] = tuple(float(a + b) for a, b in zip(points[at], by_mm, strict=True))
            h = replace(h, **{"left_mm": h.side_mm("left"), f"{side}_mm": tuple(points)})
        hoops.append(h)
    return replace(car, hoops=tuple(hoops))


# ---------------------------------------------------------------- varied cars from a seed


@lru_cache(maxsize=64)
def varied_car(seed):
    """Return a plausible car made up from a seed, with curved posts and uneven sides.

    Even seeds have a windshield panel of their own, odd ones a roof that runs
    down to the cowl; seeds 0, 1 modulo 4 have a back panel, 2, 3 a roof that
    flows down to the deck; every third windshield has two panes and a divider.
    """
    rng = np.random.default_rng(seed)
    has_front, has_back = seed % 2 == 0, seed % 4 < 2

    def draw(low, high):
        return float(rng.uniform(low, high))

    high = draw(430, 500)
    half_belt, half_gutter = draw(660, 720), draw(540, 590)
    rake, fall = draw(20, 38), draw(5, 12)
    crown_up = draw(50, 110)
    cab = draw(1000, 1250) if has_back else draw(1250, 1450)
    below = ("mid", "head")[: int(rng.integers(1, 3))]
    above = ("shoulder", "bow")[: int(rng.integers(1, 3))]
    rows = ("belt", *below, "gutter", *above, "crown")
    side_bulge, plan_bulge = draw(4, 14), draw(10, 30)

    def hoop(name, belt_x, gutter, crown, half=1.0):
        """gutter: (x, z); crown: (x, z)."""
        points = []
        for t in np.linspace(0, 1, len(below) + 2):
            bulge = side_bulge * 4 * t * (1 - t)
            points.append(
                (
                    belt_x + t * (gutter[0] - belt_x),
                    half * (half_belt + t * (half_gutter - half_belt)) + bulge,
                    t * gutter[1],
                )
            )
        for t in np.linspace(0, 1, len(above) + 2)[1:]:
            rise = 1 - (1 - t) ** 2
            points.append(
                (
                    gutter[0] + rise * (crown[0] - gutter[0]),
                    half * half_gutter * (1 - t),
                    gutter[1] + rise * (crown[1] - gutter[1]),
                )
            )
        return Hoop(name=name, right_mm=tuple(tuple(float(c) for c in p) for p in points))

    hoops = []
    head_x = high * tan(rake) + 20
    if not has_front:
        hoops.append(hoop("cowl", -150.0, (-130.0, 0.16 * high), (-170.0, 0.24 * high), 0.93))
        hoops.append(
            hoop(
                "lower glass",
                -60.0,
                (0.35 * head_x - 70, 0.48 * high),
                (0.35 * head_x - 120, 0.6 * high),
                0.955,
            )
        )
    hoops.append(hoop("header", 20.0, (head_x, high), (head_x - 40, high + 0.7 * crown_up), 0.97))
    inner = np.sort(rng.uniform(0.3, 0.8, int(rng.integers(1, 4))))
    inner = [p for i, p in enumerate(inner) if i == 0 or p - inner[i - 1] > 0.12]
    inner = inner if has_front else [0.12, *inner]  # the roof line turns sharply at the header
    for i, p in enumerate(inner):
        belt_x = 20 + p * (cab - 20)
        gutter_x = head_x + p * (cab - 50 - head_x)
        wide = 0.97 + plan_bulge / 700 * 4 * p * (1 - p)
        hoops.append(
            hoop(f"hoop {i}", belt_x, (gutter_x, high + 12 * p), (gutter_x, high + crown_up + 12 * p), wide)
        )
    if has_back:
        hoops.append(hoop("back", cab, (cab - 60, high), (cab - 50, high + 0.9 * crown_up), 0.96))
    else:
        hoops.append(hoop("rear quarter", cab, (cab - 50, high), (cab - 90, high + 0.8 * crown_up), 0.96))
        hoops.append(hoop("window head", cab + 250, (cab + 190, 0.76 * high), (cab + 130, 0.95 * high), 0.92))
        hoops.append(hoop("window sill", cab + 480, (cab + 430, 0.36 * high), (cab + 380, 0.55 * high), 0.87))
        hoops.append(hoop("deck", cab + 650, (cab + 640, 0.1 * high), (cab + 645, 0.22 * high), 0.82))
    # An uneven left side: smooth, a few millimetres.
    skew = rng.uniform(-4, 4, (3, 2))

    def left(h):
        out = []
        for x, y, z in h.right_mm:
            shade = abs(y) / half_belt
            move = [(skew[k] @ np.array([np.sin(x / 500), np.cos(z / 200)])) * shade for k in range(3)]
            out.append((x + float(move[0]), -(y + float(move[1])) if y else 0.0, z + float(move[2])))
        return tuple(out)

    hoops = tuple(replace(h, left_mm=left(h)) for h in hoops)
    panels = []
    for name, h, way in (("front", hoops[0], -1.0), ("back", hoops[-1], 1.0)):
        if not (has_front if name == "front" else has_back):
            continue
        bow = draw(30, 70)

        def lines(points, bow=bow, way=way):
            return tuple(
                tuple(
                    (x + way * bow * (1 - (1 - t) ** 2), y * (1 - t) if t < 1 else 0.0, z + 6 * t)
                    for t in np.linspace(0, 1, len(above) + 2)[1:].tolist()
                )
                for x, y, z in points[: len(below) + 1]
            )

        right_lines, left_lines = lines(h.right_mm), lines(h.left_mm)
        middle = [tuple((np.array(a[-1]) + b[-1]) / 2) for a, b in zip(right_lines, left_lines, strict=True)]
        right_lines, left_lines = (
            tuple((*line[:-1], tuple(float(c) for c in m)) for line, m in zip(side, middle, strict=True))
            for side in (right_lines, left_lines)
        )
        panels.append(EndPanel(name=name, right_mm=right_lines, left_mm=left_lines))
    b_x = 20 + draw(0.48, 0.6) * (cab - 20)
    low, top = 0.18 * high, 0.84 * high
    openings = [
        Opening(
            name="door glass",
            role="side glass",
            grid="side",
            view="side",
            side="right",
            corners=(
                Corner(across_mm=150.0, up_mm=low, radius_mm=draw(15, 30)),
                Corner(across_mm=b_x - 45, up_mm=low, radius_mm=draw(15, 30)),
                Corner(across_mm=b_x - 45, up_mm=top, radius_mm=draw(20, 40)),
                Corner(
                    across_mm=max(150 + 0.6 * high * tan(rake), head_x - 60),
                    up_mm=top - 8,
                    radius_mm=draw(20, 40),
                ),
            ),
        ),
        Opening(
            name="quarter glass",
            role="side glass",
            grid="side",
            view="side",
            side="right",
            corners=(
                Corner(across_mm=b_x + 45, up_mm=low, radius_mm=20.0),
                Corner(across_mm=cab - 130, up_mm=low, radius_mm=25.0),
                Corner(across_mm=cab - 180, up_mm=top - 10, radius_mm=40.0),
                Corner(across_mm=b_x + 45, up_mm=top, radius_mm=25.0),
            ),
        ),
    ]
    two_panes = seed % 3 == 0
    glass = (0.34 * high, 0.82 * high) if not has_front else (0.2 * high, 0.84 * high)
    across = 0.6 * half_gutter if not has_front else 0.78 * half_gutter
    windshield = rectangle((30.0 if two_panes else -across, glass[0]), (across, glass[1]), draw(15, 40))
    openings.append(
        Opening(
            name="windshield",
            role="windshield",
            grid="front" if has_front else "roof",
            view="front",
            side="right" if two_panes else "centre",
            corners=windshield,
        )
    )
    window = (
        ((-300.0, 0.62 * high), (300.0, 0.86 * high))
        if not has_back
        else ((-330.0, 0.3 * high), (330.0, 0.8 * high))
    )
    openings.append(
        Opening(
            name="rear window",
            role="rear window",
            grid="back" if has_back else "roof",
            view="rear",
            side="centre",
            corners=rectangle(*window, draw(30, 50)),
        )
    )
    bare = bare_car(rows, hoops, panels=tuple(panels))
    skin = skin_of(bare)
    posts = []
    for name, foot, lean, bend, width in (
        ("A", 75.0, rake - 2, draw(-8, 8), draw(40, 55)),
        ("B", b_x, draw(-3, 3), draw(-5, 5), draw(50, 70)),
        ("C", cab - 55 if has_back else cab - 40, -fall, draw(-10, 10), draw(50, 70)),
    ):
        for side in ("right", "left"):
            z = np.linspace(0.06, 0.92, 4) * high
            x = foot + z * tan(lean) + bend * np.sin(np.pi * z / high)
            grid = skin.grids[f"side {side}"]
            y = grid.point(grid.uv_from_view("side", np.stack([x, z], axis=1), "axis"))[:, 1]
            y -= np.sign(y) * 45.0
            posts.append(
                Post(
                    name=name,
                    side=side,
                    axis_mm=tuple(tuple(float(c) for c in p) for p in zip(x, y, z, strict=True)),
                    width_mm=width,
                    depth_mm=draw(36, 46),
                    wall_mm=1.5,
                    cut_from_mm=0.2 * high,
                    cut_to_mm=0.88 * high,
                    cut_at_mm=draw(0.36, 0.46) * high if name != "A" else draw(0.38, 0.42) * high,
                )
            )
    if two_panes:
        grid = skin.grids["front" if has_front else "roof"]
        z = np.array([0.25, 0.55, 0.9]) * high
        x = grid.point(grid.uv_from_view("front", np.stack([0 * z, z], axis=1), "axis"))[:, 0] + 30
        posts.append(
            Post(
                name="divider",
                side="centre",
                axis_mm=tuple((float(a), 0.0, float(b)) for a, b in zip(x, z, strict=True)),
                width_mm=30.0,
                depth_mm=26.0,
                wall_mm=1.5,
                cut_from_mm=0.3 * high,
                cut_to_mm=0.88 * high,
                cut_at_mm=0.42 * high,
            )
        )
    car = replace(
        bare,
        name=f"varied {seed}",
        openings=tuple(openings),
        posts=tuple(posts),
        rear_point=("back" if has_back else "window head", "crown"),
        seat_mm=(0.5 * cab, 300.0, -400.0),
    )
    check_car(car)
    return car


def varied_plan(car, seed):
    """Return a plan for a varied car, made up from a seed: pitch, planes, heights, window, shifts."""
    rng = np.random.default_rng(1000 + seed)

    def draw(low, high):
        return float(rng.uniform(low, high))

    front = draw(25, 65)
    cuts = []
    for post in car.posts:
        kind = rng.integers(0, 4)
        plane = [
            None,
            "level",
            "square",
            GivenPlane(rises_rearward_deg=draw(-12, 12), rises_inboard_deg=draw(-8, 8)),
        ]
        height = draw(post.cut_at_mm - 15, post.cut_at_mm + 15)
        cuts.append(PostCut(post=post.name, side=post.side, height_mm=height, plane=plane[kind]))
    window = None
    if seed % 5:
        window = WindowMove(
            forward_mm=draw(0, 50),
            down_mm=None if seed % 2 else draw(20, 60),
            lay_down_deg=draw(0, 5),
            flange_mm=draw(14, 20),
        )
    fore_aft = ("along-windshield", "straight-down", draw(-10, 40))[seed % 3]
    shifts = (PostShift(post="B"),) if seed % 4 == 1 else ()
    return Plan(
        name=f"varied {seed}",
        roof=RoofMove(front_drop_mm=front, rear_drop_mm=front + draw(-5, 25), fore_aft=fore_aft),
        window=window,
        cuts=tuple(cuts),
        shifts=shifts,
        kerf_mm=draw(0.5, 2.5),
        root_gap_mm=draw(0.3, 1.5),
    )
