"""One measured point moved by 5 mm changes the right numbers, in report and files, and no others."""

import json

import numpy as np
import pytest
from comparison import differences, read_case, recovered_numbers, reported_numbers

UNTOUCHED_MM = 1e-6
UNTOUCHED_SEAM_MM = (
    0.005  # a thousandth of the 5 mm: neighbouring grids share their parameters, and edges are drawn anew
)
TOUCHED_MM = 0.05


class Change:
    """What a moved point changed: by name, in the report and in the files."""

    def __init__(self, before, after):
        names = before[1].keys()
        assert names == after[1].keys() and names <= after[0].keys()
        self.reported = {n: abs(after[1][n] - before[1][n]) for n in names}
        self.recovered = {n: abs(after[0][n] - before[0][n]) for n in names}

    def assert_untouched(self, *starts):
        """Every number whose name starts so stays, in both; at least one has that name."""
        for start in starts:
            names = [n for n in self.reported if n.startswith(start)]
            assert names, start
            for n in names:
                limit = UNTOUCHED_SEAM_MM if n.startswith("seam ") else UNTOUCHED_MM
                assert self.reported[n] <= limit, f"{n} moved by {self.reported[n]:.2e} in the report"
                assert self.recovered[n] <= limit, f"{n} moved by {self.recovered[n]:.2e} in the files"

    def assert_touched(self, *starts, by_mm=TOUCHED_MM):
        """Of the numbers whose name starts so, at least one moves, in both."""
        for start in starts:
            names = [n for n in self.reported if n.startswith(start)]
            assert any(min(self.reported[n], self.recovered[n]) > by_mm for n in names), start


@pytest.fixture(scope="module")
def read(folder_of, request):
    """Return a function from a case to what was recovered and what was reported, compared on the way."""
    known = {}

    def tables(name):
        if name not in known:
            car, report = read_case(folder_of(name, "moved point"))
            found = differences(car, report)
            known[name] = (recovered_numbers(car, report), reported_numbers(report), car, report, found)
        return known[name]

    return tables


@pytest.fixture
def change(read, record_property):
    """Return a function from two cases to the change, the second being held to its report too."""

    def between(before, after):
        found = read(after)[4]
        record_property("blind", json.dumps(found.worst))
        assert not found.failures, "\n".join(found.failures[:20])
        return Change(read(before), read(after))

    return between


def test_belt_of_the_rear_hoop_leaves_posts_and_the_other_end(change):
    """Posts are measured by themselves; the left side and the windshield frame are other grids."""
    moved = change("pickup", "rear hoop's belt")
    moved.assert_untouched("post ", "roof ", "seam A right, post", "seam rear corner right, post")
    moved.assert_untouched("seam A left", "seam A right, front skin", "seam rear corner left, side skin")
    moved.assert_touched("seam rear corner right, side skin")


def test_mid_of_the_rear_hoop_moves_both_sheets_that_meet_there(change):
    """Side and back share that hoop: their seams move, the posts and the other grids do not."""
    moved = change("pickup", "rear hoop's mid")
    moved.assert_untouched(
        "post ", "roof ", "seam A left", "seam A right, front skin", "seam rear corner left, side skin"
    )
    moved.assert_touched("seam rear corner right, side skin", "seam rear corner right, back skin")


def test_crown_over_the_door_moves_no_seam(change, read):
    """No cut of the pickup crosses its roof sheet: nothing but the height of the roof changes."""
    change("pickup", "door hoop's crown").assert_untouched("post ", "roof ", "seam ")
    before, after = read("pickup"), read("door hoop's crown")
    top = [_highest_mm(r[2].chopped["roof"]) for r in (before, after)]
    told = [r[3]["totals"]["height_after_mm"] for r in (before, after)]
    assert np.allclose(top, told, atol=0.05)
    assert 4.0 < top[1] - top[0] < 6.0


def test_rear_point_changes_the_pitch_by_the_formula(change, read):
    """X sin f + Z (1 − cos f) = rear drop − front drop, with X and Z from the A-posts' landing point."""
    moved = change("pickup", "rear point")
    rear = (
        "post rear corner right take_out_mm",
        "post rear corner left drop_mm",
        "seam rear corner left, back",
    )
    moved.assert_touched(*rear, by_mm=0.02)  # 5 mm in a metre of 6.35 mm
    for post in ("A right", "A left", "rear corner right", "rear corner left"):
        moved.assert_untouched(*(f"post {post} {k}" for k in ("lean_", "cut_height", "bead")))
    for name, x_mm in (("pickup", 0.0), ("rear point", 5.0)):
        recovered, reported, car, report, _ = read(name)
        posts = [car.posts[f"A {s}"] for s in ("right", "left")]
        u = np.mean([car.move("roof").back(p.at_lower[0]) for p in posts], axis=0)
        rear = np.array([46.25 * 25.4 + x_mm, 0.0, 63.3125 * 25.4])
        x, z = rear[0] - u[0], rear[2] - u[2]
        wanted = report["plan"]["roof"]["rear_drop_mm"] - report["plan"]["roof"]["front_drop_mm"]
        for f in np.radians([recovered["roof pitch_deg"], reported["roof pitch_deg"]]):
            assert x * np.sin(f) + z * (1 - np.cos(f)) == pytest.approx(wanted, abs=1e-6)


def test_top_of_one_a_post_changes_that_post_alone_by_the_rafter_formula(change, read):
    """Unpitched, level: take-out d sqrt(1 + tan² a + tan² b), miss d tan a − slide."""
    moved = change("pickup, level", "A-post's top")
    moved.assert_untouched(
        "post A left", "post rear corner", "roof ", "seam A left", "seam rear corner", "seam window"
    )
    moved.assert_touched(
        "post A right take_out_mm", "post A right lean_side_deg", "post A right miss_fore_aft_mm"
    )
    moved.assert_untouched(
        "post A right lean_front_deg", "post A right miss_across_mm", "post A right drop_mm"
    )
    foot = np.array([5.375, 26.125, 43.3125]) * 25.4
    top = np.array([10.3125, 23.8125, 58.0625]) * 25.4 + [5.0, 0.0, 0.0]
    run = (top - foot) / (top - foot)[2]
    drop, slide = 60.0, 20.0
    for table in read("A-post's top")[:2]:
        assert table["post A right take_out_mm"] == pytest.approx(drop * np.linalg.norm(run), abs=1e-6)
        assert table["post A right miss_fore_aft_mm"] == pytest.approx(drop * run[0] - slide, abs=1e-6)
        assert table["post A right miss_across_mm"] == pytest.approx(-drop * run[1], abs=1e-6)
        assert table["post A right lean_side_deg"] == pytest.approx(np.degrees(np.arctan(run[0])), abs=1e-8)


@pytest.mark.heavy
def test_head_of_the_left_quarter_hoop_leaves_the_right_side(change):
    """The coupe's left side is a grid of its own below the gutter."""
    moved = change("coupe", "quarter hoop's head, left")
    moved.assert_untouched("post ", "roof ")
    moved.assert_untouched(
        "seam A right", "seam B right", "seam C right", "seam divider", "seam window", "seam C left, roof"
    )
    moved.assert_touched("seam C left, side skin")


def _highest_mm(part):
    """Return the highest point of a part's surfaces, from a fine net: flat there, so a net will do."""
    heights = []
    for face in part.faces:
        surface = face.surface
        net = [np.linspace(b.t[0], b.t[-1], 600) for b in (surface.u, surface.v)]
        heights.append(
            np.einsum(
                "ui,vj,ij->uv", surface.u(net[0]), surface.v(net[1]), surface.poles[..., 2], optimize=True
            ).max()
        )
    return max(heights)
