"""Recovered numbers beside reported ones: every difference, by kind.

Imports the blind modules and numpy only.
"""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np
from blind_posts import Plane
from blind_reader import read_step
from blind_seams import BlindCar
from scipy.spatial import cKDTree
from scipy.spatial.distance import pdist

LENGTH_MM, RIGID_MM = 0.05, 1e-6
ANGLE_DEG = 0.02  # one generated car has 0.0136° where a short round of its flange ends
NARROW_MM = 5.0  # across less than this an angle is compared as the offset that it makes
OFFSET_MM = 0.005  # half the chord error of an edge
LIMITS = {
    "move is rigid": RIGID_MM,
    "rear opening": RIGID_MM,
    "lean": ANGLE_DEG,
    "tilt": ANGLE_DEG,
    "angle first": ANGLE_DEG,
    "angle second": ANGLE_DEG,
    "pitch and lay-down": ANGLE_DEG,
    "angle across a narrow gap, as offset": OFFSET_MM,
    "stations of a seam": 0,
}


@dataclass
class Differences:
    """Differences by kind, with where each was found."""

    found: dict = field(default_factory=lambda: defaultdict(list))

    def note(self, kind, where, recovered, reported):
        """Take down how far two numbers, points or arrays are apart."""
        off = float(np.max(np.abs(np.subtract(recovered, reported)), initial=0.0))
        self.found[kind].append((off if np.isfinite(off) else np.inf, where))

    @property
    def worst(self):
        """Greatest difference, how many were taken, and where the greatest is, by kind."""
        return {k: (max(v)[0], len(v), max(v)[1]) for k, v in sorted(self.found.items())}

    @property
    def failures(self):
        """Every difference over its limit, in words."""
        return [
            f"{kind}: {where} differs by {off:.4g}"
            for kind, items in self.found.items()
            for off, where in items
            if not off <= LIMITS.get(kind, LENGTH_MM)
        ]


def read_case(folder):
    """Return the parts of a case's files, and its report."""
    car = BlindCar(read_step(folder / "stock.step"), read_step(folder / "chopped.step"))
    return car, json.loads((folder / "report.json").read_text())


def differences(car, report):
    """Return every difference between what the files say and what the report says."""
    d = Differences()
    for name in car.stock:
        d.note("move is rigid", name, car.move(name).residual_mm, 0.0)
    for row in report["posts"]:
        _compare_post(d, car, row)
    weld = 0.0
    for row in report["seams"]:
        weld += _compare_seam(d, car, row)
    d.note("weld in all", "totals", weld, report["totals"]["weld_mm"])
    seams = sum(s["edge_mm"] for s in report["seams"] if s["kind"] != "post" and s["pieces"][0] == "body")
    d.note("cut edges of the body in seams", "body", car.cut_edges_mm("body"), seams)
    _compare_roof(d, car, report)
    if "window panel" in car.stock:
        _compare_window(d, car, report)
    return d


def _compare_post(d, car, row):
    name = f"{row['post']} {row['side']}"
    post = car.posts[name]
    kinds = {
        "lean_side_deg": "lean",
        "lean_front_deg": "lean",
        "take_out_mm": "take-out",
        "removed_mm": "removed",
        "miss_fore_aft_mm": "miss",
        "miss_across_mm": "miss",
        "tilt_deg": "tilt",
        "drop_mm": "drop",
        "cut_height_mm": "cut height",
        "bead_mm": "bead",
    }
    numbers = post.numbers
    for key, kind in kinds.items():
        d.note(kind, f"{name} {key}", numbers[key], row[key])
    marks = post.edge_marks
    assert {e["edge"] for e in row["edges"]} == set(marks), name
    for edge in row["edges"]:
        mine, where = marks[edge["edge"]], f"{name} {edge['edge']}"
        d.note("mark", where, mine["lower_mm"], edge["lower_mm"])
        d.note("mark", where, mine["upper_mm"], edge["upper_mm"])
        d.note("take-out", where, mine["take_out_mm"], edge["take_out_mm"])
        d.note("removed", where, mine["removed_mm"], edge["removed_mm"])
    low, high = post.opening_mm()
    d.note("cut faces parallel", name, high, low)
    if "roof" in car.stock:
        by = post.move.shift - car.move("roof").shift
        d.note("shift", name, np.linalg.norm(by) * np.sign(by[0]), row["shift_mm"])


def _compare_seam(d, car, row):
    name = row["name"]
    seam = car.seam(name, row["kind"], row["pieces"])
    d.note("seam length", f"{name} edge", seam.edge_mm, row["edge_mm"])
    d.note("seam length", f"{name} bead", seam.length_mm, row["length_mm"])
    d.note("seam length", f"{name} over post", seam.over_post_mm, row["over_post_mm"])
    d.note("seam length", f"{name} facing", seam.facing_mm, row["facing_mm"])
    for what in ("gap", "step"):
        mine, told = seam.spread(what), row[f"{what}_mm"]
        assert (mine is None) == (told is None), name
        for key in mine or ():
            d.note(f"{what} least, mean, greatest", f"{name} {key}", mine[key], told[key])
    facing = np.nonzero(seam.faces)[0]
    if not len(facing) or not row["stations"]:
        return seam.length_mm
    stations = row["stations"]
    told = {k: np.array([s[k] for s in stations]) for k in stations[0]}
    far, near = cKDTree(seam.at_mm[facing]).query(told["at_mm"])
    near = facing[near]
    d.note("station", name, far, 0.0)
    d.note(
        "stations of a seam",
        f"{name}, {len(facing)} recovered, {len(stations)} reported",
        len(facing),
        len(stations),
    )
    for i, k in enumerate(near):
        where = f"{name} at {np.round(seam.at_mm[k], 1).tolist()}"
        d.note("gap", where, seam.gap_mm[k], told["gap_mm"][i])
        d.note("step", where, seam.step_mm[k], told["step_mm"][i])
        for which in ("first", "second"):
            off = getattr(seam, f"angle_{which}_deg")[k] - told[f"angle_{which}_deg"][i]
            off = (off + 180) % 360 - 180
            if seam.apart_mm[k] >= NARROW_MM:
                d.note(f"angle {which}", where, off, 0.0)
            else:
                d.note("angle across a narrow gap, as offset", where, np.radians(off) * seam.apart_mm[k], 0.0)
    return seam.length_mm


def _compare_roof(d, car, report):
    totals = report["totals"]
    move = car.move("roof")
    d.note("pitch and lay-down", "roof", move.turn_deg, totals["roof_pitch_deg"])
    # The roof's points that land on the centres of the A-posts' cuts.
    landing = [post.at_lower[0] for name, post in car.posts.items() if name.startswith("A ")]
    moved = [move.back(p) - p for p in landing]
    forward, _, drop = np.mean(moved, axis=0)
    d.note("roof forward", "roof", forward, totals["roof_forward_mm"])
    d.note("drop", "front drop", drop, totals["front_drop_mm"])


def _compare_window(d, car, report):
    """Compare the panel's move; and the distances inside the opening before and after."""
    told, panel = report["window"], car.stock["window panel"]
    move = car.move("window panel")
    d.note("pitch and lay-down", "window panel", -move.turn_deg, told["rear_lay_down_deg"])
    inner = [e for f in panel.faces for loop in f.loops[1:] for e in loop]
    before = np.concatenate([e.points(np.linspace(e.start, e.end, 25)) for e in inner])
    after = [e for f in car.chopped["window panel"].faces for loop in f.loops[1:] for e in loop]
    after = np.concatenate([e.points(np.linspace(e.start, e.end, 25)) for e in after])
    d.note("rear opening", "all distances inside it", pdist(after), pdist(before))
    d.note("rear opening", "reported change", told["rear_opening_change_mm"], 0.0)
    glass = car.chopped["pane rear window"].border.distance_mm(after)
    d.note("rear glass in its opening", "pane's edge", glass, 0.0)
    # The lower flange edge at the centreline: lowest crossing of the panel's outer border with y = 0.
    middle = Plane(np.zeros(3), np.array([0.0, 1.0, 0.0]))
    crossings = []
    for f in panel.faces:
        for e in f.loops[0]:
            _, t = e.crossings(middle.point[None], middle.normal[None])
            crossings += list(e.points(t))
    pivot = min(crossings, key=lambda p: p[2])
    by = pivot - move.points(pivot)
    d.note("window panel's move", "pivot", pivot, told["rear_pivot_mm"])
    d.note("window panel's move", "forward", by[0], told["rear_forward_mm"])
    d.note("window panel's move", "down", by[2], told["rear_down_mm"])


# ---------------------------------------------------------------- as flat tables


def recovered_numbers(car, report):
    """Return, by a name of its own, every number of posts, seams and moves recovered from the files."""
    table = {"roof pitch_deg": car.move("roof").turn_deg}
    for name, post in car.posts.items():
        table |= {f"post {name} {key}": value for key, value in post.numbers.items()}
        for edge, mark in post.edge_marks.items():
            table |= {f"post {name} {edge} {key}": mark[key] for key in ("take_out_mm", "removed_mm")}
    for row in report["seams"]:
        seam = car.seam(row["name"], row["kind"], row["pieces"])
        lengths = {"edge_mm": seam.edge_mm, "length_mm": seam.length_mm, "facing_mm": seam.facing_mm}
        table |= {f"seam {row['name']}; {key}": value for key, value in lengths.items()}
        for what in ("gap", "step"):
            table |= {f"seam {row['name']}; {what} {k}": v for k, v in (seam.spread(what) or {}).items()}
    return table


def reported_numbers(report):
    """Return the same numbers, by the same names, from the report."""
    table = {"roof pitch_deg": report["totals"]["roof_pitch_deg"]}
    for row in report["posts"]:
        name = f"post {row['post']} {row['side']}"
        numbers = {key: value for key, value in row.items() if isinstance(value, float) and key != "shift_mm"}
        table |= {f"{name} {key}": value for key, value in numbers.items()}
        for edge in row["edges"]:
            table |= {f"{name} {edge['edge']} {key}": edge[key] for key in ("take_out_mm", "removed_mm")}
    for row in report["seams"]:
        name = f"seam {row['name']};"
        table |= {f"{name} {key}": row[key] for key in ("edge_mm", "length_mm", "facing_mm")}
        for what in ("gap", "step"):
            table |= {f"{name} {what} {k}": v for k, v in (row[f"{what}_mm"] or {}).items()}
    return table
