"""Live tier against CAD kernel: every length, gap and angle that both give, on random plans of both cars.

What the live tier reports is asked of the kernel's own curves and surfaces:
lengths are integrated along edges, posts are read where their edge curves
meet planes, gaps and steps where a moved edge meets the plane square to a
station, with the kernel's tangents and normals.  The moves are put together
from the plan as the kernel's own, and are not the live tier's.

Six plans run by default.  ``pytest -n 0 -m "heavy or not heavy"`` on this file
runs two hundred and prints the largest deviation of every kind.
"""

import json
from functools import cached_property, lru_cache

import numpy as np
import pytest
from cases import CARS, built_of
from kernel_reading import (
    ACROSS,
    LEVEL,
    MovedEdge,
    box_of,
    crossings,
    pnt,
    read_across,
    signed_mm,
    slid,
    tangent,
    turned,
    xyz,
)
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
from OCP.Geom import Geom_Line, Geom_OffsetSurface, Geom_TrimmedCurve
from OCP.GeomAdaptor import GeomAdaptor_Curve
from OCP.GeomAPI import GeomAPI_IntCS
from OCP.gp import gp_Dir, gp_Pln, gp_Trsf, gp_Vec
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from random_plans import random_case
from scipy.interpolate import BSpline

from model.evaluate import fit_report_of, report_of
from model.exactfaces import area_mm2, exact_faces
from model.exactinterference import exact_interference
from model.exactkernel import curve_of, surface_of
from model.exactposts import lower_end, post_outside, upper_end
from model.fit import LEAST_STATIONS, SPACING_MM
from model.layout import BODY, METAL, ROOF, WASTE, WINDOW
from model.occupant import ADDED_MM, LINE_DEG
from model.placing import front_posts
from model.plan import (
    ALONG_WINDSHIELD,
    LINE_UP,
    GivenPlane,
)
from model.seams import POST, seams_of

LIMITS = {"mm": 0.05, "deg": 0.01, "relative": 1e-4, "places": 0.0, "deg as read": np.inf}
LIMITS["deg of edge"] = 0.03  # a first chord that is a crumb is not followed: layingout.SHORT_END
PLANS, BY_DEFAULT = 100, 3  # of each car
READABLE_MM = 1.0  # how far apart edges are where the angle to the line between them is compared
CHORD_MM = 0.01  # the live tier's chords may stray this far, which turns a short line across a gap


class Comparison:
    """One plan, number by number; ``worst`` holds {(kind, unit): [largest deviation, where, count]}."""

    def __init__(self, name, built):
        self.name, self.built, self.car = name, built, built.shape.car
        self.report = fit_report_of(built)
        self.faces = exact_faces(built.layout)
        self.worst = {}

    def note(self, kind, unit, live, exact, where):
        off = float(np.abs(np.asarray(live, float) - np.asarray(exact, float)).max())
        entry = self.worst.setdefault((kind, unit), [-1.0, "", 0])
        entry[2] += np.size(live)
        if off > entry[0]:
            entry[:2] = off, f"{self.name}: {where}"

    def run(self):
        self.read_posts()
        self.read_seams()
        self.read_window_panel()
        self.read_panes()
        self.read_roof()
        self.read_areas()
        return self.worst

    # -- posts and moves

    def post_curves(self, key):
        """Return the axis and the four corner edges as the kernel's curves."""
        spline = self.built.shape.lines[key].corner_splines()
        return [curve_of(BSpline(spline.t, spline.c[:, i], spline.k)) for i in range(5)]

    def lower_plane(self, key):
        """Return the lower cut as the plan asks for it."""
        post, cut = self.built.shape.lines[key].post, self.built.plan.cut_of(*key)
        height = post.cut_at_mm if cut.height_mm is None else cut.height_mm
        axis = self.post_curves(key)[0]
        (at,) = crossings(axis, gp_Pln(pnt((0, 0, height)), LEVEL))
        normal = LEVEL
        if cut.plane == "square":
            normal = tangent(axis, at)
        elif isinstance(cut.plane, GivenPlane):
            inboard = 1.0 if post.side == "left" else -1.0
            slopes = np.tan(np.radians([cut.plane.rises_rearward_deg, cut.plane.rises_inboard_deg]))
            normal = gp_Dir(-slopes[0], -slopes[1] * inboard, 1.0)
        return gp_Pln(axis.Value(at), normal)

    @cached_property
    def roof_move(self):
        """The roof's move from drops, pitch and slide."""
        plan, totals = self.built.plan.roof, self.report.totals
        landing = np.mean([xyz(self.lower_plane(k).Location()) for k in front_posts(self.car)], axis=0)
        unmoved = landing + [totals.roof_forward_mm, 0.0, plan.front_drop_mm]
        down = slid(-totals.roof_forward_mm, 0.0, -plan.front_drop_mm)
        return down.Multiplied(turned(unmoved, totals.roof_pitch_deg))

    @cached_property
    def moves(self):
        """The kernel's move of every piece."""
        out = {BODY: gp_Trsf(), ROOF: self.roof_move}
        for shift in self.built.shifts:
            by = self.report.post(*shift.key).shift_mm
            out[f"{shift.name} upper"] = self.roof_move.Multiplied(slid(by))
            out[f"{shift.name} strip"] = self.roof_move.Multiplied(slid(shift.strip_moves_mm))
        window = self.built.plan.window
        if window is not None:
            bottom, _ = self.flange_on_centreline()
            laid = turned(bottom, -window.lay_down_deg)
            down = self.report.window.rear_down_mm
            out[WINDOW] = slid(-window.forward_mm, 0.0, -down).Multiplied(laid)
        return out

    def read_posts(self):
        forwards = []
        for key in self.built.ends:
            where, post, line = " ".join(key), self.report.post(*key), self.built.shape.lines[key]
            curves, lower = self.post_curves(key), self.lower_plane(key)
            n, centre = xyz(lower.Axis().Direction()), xyz(lower.Location())
            move = self.moves[self.built.upper_piece(key)]
            carried = lower.Transformed(move.Inverted())
            low = [crossings(c, lower)[0] for c in curves]
            take = [crossings(c, carried)[0] for c in curves]
            least = min((xyz(c.Value(t)) - centre) @ n for c, t in zip(curves, take, strict=True))
            opening = max(self.built.plan.root_gap_mm, self.built.plan.kerf_mm - least)
            self.note("opening left", "mm", self.built.ends[key].opening_mm, opening, where)
            up = carried.Axis().Direction()
            raised = carried.Translated(gp_Vec(up).Multiplied(opening))
            high = [crossings(c, raised)[0] for c in curves]
            for i, mark in enumerate(post.edges):
                adaptor, spot = GeomAdaptor_Curve(curves[i]), f"{where} {mark.edge}"
                lengths = [signed_mm(adaptor, low[i], end[i]) for end in (take, high)]
                self.note("take-out", "mm", mark.take_out_mm, lengths[0], spot)
                self.note("removed, mark to mark", "mm", mark.removed_mm, lengths[1], spot)
                for marked, at in ((mark.lower_mm, low[i]), (mark.upper_mm, high[i])):
                    self.note("place of a mark", "mm", marked, xyz(curves[i].Value(at)), spot)
            axis_low, axis_up = tangent(curves[0], low[0]), tangent(curves[0], take[0])
            inboard = 1.0 if key[1] == "left" else -1.0
            x, y, z = axis_low.Coord()
            lean = np.degrees(np.arctan2([x, inboard * y], z))
            self.note("lean", "deg", (post.lean_side_deg, post.lean_front_deg), lean, where)
            tilt = np.degrees(axis_low.Angle(axis_up.Transformed(move)))
            self.note("tilt", "deg", post.tilt_deg, tilt, where)
            start = xyz(curves[0].Value(take[0]))
            landing = xyz(pnt(start).Transformed(move))
            self.note("plumb drop", "mm", post.drop_mm, start[2] - landing[2], where)
            rearward = np.array([1.0, 0.0, 0.0]) - n[0] * n
            rearward /= np.linalg.norm(rearward)
            across = np.cross(n, rearward) * np.sign(np.cross(n, rearward)[1] * inboard)
            miss = (landing - centre) @ np.array([rearward, across]).T
            self.note("miss", "mm", (post.miss_fore_aft_mm, post.miss_across_mm), miss, where)
            if self.built.plan.shift_of(*key) == LINE_UP:
                self.note("miss left after line-up", "mm", 0.0, miss[0], where)
            corners = np.array([xyz(c.Value(t)) for c, t in zip(curves[1:], low[1:], strict=True)])
            bead = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).sum()
            self.note("bead around a post", "mm", post.bead_mm, bead, where)
            if key in front_posts(self.car):
                level = gp_Pln(lower.Location(), LEVEL).Transformed(self.roof_move.Inverted())
                at = curves[0].Value(crossings(curves[0], level)[0])
                forwards.append(at.Transformed(self.roof_move).X() - centre[0])
            self.read_cut_lines(line, lower, raised, key)
        self.read_drops(forwards)

    def read_drops(self, level_misses):
        """The roof's move does what the plan asks for."""
        roof = self.built.plan.roof
        rear = pnt(self.car.rear_point_mm)
        self.note(
            "rear drop", "mm", roof.rear_drop_mm, rear.Z() - rear.Transformed(self.roof_move).Z(), "roof"
        )
        if roof.fore_aft == ALONG_WINDSHIELD:
            self.note("slide along the windshield", "mm", 0.0, np.mean(level_misses), "roof")

    def read_cut_lines(self, line, lower, upper, key):
        """Between samples too, a cut's edge lies in the post's plane where that plane holds alone."""
        for chain in self.built.layout.chains:
            if chain.line not in ("lower", "upper") or chain.grid.kind == "roof":
                continue
            zones = self.built.lower.zones[chain.grid.name]
            if key not in zones.keys:
                continue
            curve = BRepAdaptor_Curve(self.faces.edge(chain))
            places = np.linspace(curve.FirstParameter(), curve.LastParameter(), 25)
            points = np.array([xyz(curve.Value(float(t))) for t in places])
            alone = zones.weights(points)[:, zones.keys.index(key)] == 1.0
            plane = lower if chain.line == "lower" else upper
            if alone.any():
                off = [plane.Distance(pnt(p)) for p in points[alone]]
                self.note(
                    "cut line off its plane", "mm", np.zeros(len(off)), off, f"{' '.join(key)} {chain.line}"
                )

    # -- seams

    def read_seams(self):
        total = 0.0
        for seam in seams_of(self.built):
            first, second = (
                [
                    MovedEdge(self.faces.edge(s.chain), self.faces.face(s.cell), self.moves[s.cell.carrier])
                    for s in side
                ]
                for side in (seam.first, seam.facing)
            )
            over = sum(self.over_post_mm(seam, edge) for edge in first)
            total += self.read_seam(self.report.seam(seam.name), first, [second] * len(first), over)
        for key, ends in self.built.ends.items():
            move = self.moves[self.built.upper_piece(key)]
            first, second = (
                self.rims(lower_end(ends), True, gp_Trsf()),
                self.rims(upper_end(ends), False, move),
            )
            seam = self.report.seam(f"{' '.join(key)}, post")
            total += self.read_seam(seam, first, [[edge] for edge in second], 0.0)
        self.note("weld in all", "mm", self.report.totals.weld_mm, total, "car")

    def rims(self, stretch, at_top, move):
        """Return the edges of an end of a post, face by face around the box."""
        explorer, found = TopExp_Explorer(post_outside(stretch), TopAbs_FACE), []
        corners = [corner(1.0 if at_top else 0.0) for corner in stretch.outer]
        while explorer.More():
            face = TopoDS.Face_s(explorer.Current())
            middle = (corners[len(found)] + corners[(len(found) + 1) % 4]) / 2
            edges = TopExp_Explorer(face, TopAbs_EDGE)
            while True:
                edge = TopoDS.Edge_s(edges.Current())
                curve = BRepAdaptor_Curve(edge)
                at = curve.Value((curve.FirstParameter() + curve.LastParameter()) / 2)
                if at.Distance(pnt(middle)) < 1e-6:
                    break
                edges.Next()
            found.append(MovedEdge(edge, face, move))
            explorer.Next()
        return found

    def over_post_mm(self, seam, edge):
        """Return how much of an edge lies between the planes of a post's two faces."""
        if seam.post is None or seam.kind != "skin":
            return 0.0
        post, lower = self.built.shape.lines[seam.post].post, self.lower_plane(seam.post)
        axis = self.post_curves(seam.post)[0]
        t = xyz(tangent(axis, crossings(axis, lower)[0]))
        w = np.array([1.0, 0.0, 0.0]) - t[0] * t
        w /= np.linalg.norm(w)
        on_side = seam.first[0].chain.grid.kind == "side"
        direction, half = (w, post.width_mm / 2) if on_side else (np.cross(t, w), post.depth_mm / 2)
        centre = xyz(lower.Location())
        ends = {edge.first, edge.last}
        for sign in (-1, 1):
            plane = gp_Pln(pnt(centre + sign * half * direction), gp_Dir(*direction.tolist()))
            ends |= set(crossings(edge.curve, plane.Transformed(edge.back)))
        ends, total = sorted(ends), 0.0
        for a, b in zip(ends[:-1], ends[1:], strict=True):
            if abs((edge.frame((a + b) / 2)[0] - centre) @ direction) < half:
                total += edge.part_mm(a, b)
        return total

    def read_seam(self, seam, first, seconds, over):
        kind = "post" if seam.kind == POST else "skin"
        lengths = [edge.length_mm for edge in first]
        self.note(f"{kind} seam: edge", "mm", seam.edge_mm, sum(lengths), seam.name)
        self.note(f"{kind} seam: bead", "mm", seam.length_mm, sum(lengths) - over, seam.name)
        starts = np.cumsum([0.0, *lengths[:-1]])
        stations = list(seam.stations)
        gaps, weights = [], []
        for edge, others, start, length in zip(first, seconds, starts, lengths, strict=True):
            count = max(LEAST_STATIONS, int(np.ceil(length / SPACING_MM - 1e-9)))
            for along in (np.arange(count) + 0.5) * length / count:
                exact = read_across(edge, others, float(along))
                faces = bool(stations) and abs(stations[0].along_mm - start - along) < 0.05
                where = f"{seam.name} at {start + along:.1f} mm"
                self.note("places that face in one tier only", "places", faces, exact is not None, where)
                live = stations.pop(0) if faces else None
                if not faces or exact is None:
                    continue
                point, gap, step, angles, apart = exact
                gaps.append((gap, step))
                weights.append(length / count)
                self.note(f"{kind} seam: place", "mm", live.at_mm, point, where)
                self.note(f"{kind} seam: gap", "mm", live.gap_mm, gap, where)
                self.note(f"{kind} seam: step", "mm", live.step_mm, step, where)
                if apart >= READABLE_MM:
                    read = np.array([live.angle_first_deg, live.angle_second_deg])
                    off = np.abs((read - angles + 180.0) % 360.0 - 180.0)
                    past = np.maximum(off - np.degrees(CHORD_MM / apart), 0.0)
                    self.note(f"{kind} seam: angles", "deg as read", off, 0.0, where)
                    self.note(f"{kind} seam: angles past the chord's", "deg of edge", past, 0.0, where)
        assert not stations, f"{self.name}: {seam.name} has a place that the kernel does not look at"
        for spread, column in ((seam.gap_mm, 0), (seam.step_mm, 1)):
            if gaps:
                values = np.array(gaps)[:, column]
                exact = (values.min(), np.average(values, weights=weights), values.max())
                self.note(
                    f"{kind} seam: least, mean, greatest",
                    "mm",
                    (spread.min, spread.mean, spread.max),
                    exact,
                    seam.name,
                )
        if weights:
            self.note(f"{kind} seam: how much faces", "mm", seam.facing_mm, sum(weights), seam.name)
        return sum(lengths) - over

    # -- glass, roof, areas

    def edges_on(self, line):
        """Return chains and kernel curves of a line of the layout."""
        for chain in self.built.layout.chains:
            if chain.line == line:
                curve = BRepAdaptor_Curve(self.faces.edge(chain))
                yield (
                    chain,
                    Geom_TrimmedCurve(
                        BRep_Tool.Curve_s(self.faces.edge(chain), 0.0, 1.0),
                        curve.FirstParameter(),
                        curve.LastParameter(),
                    ),
                )

    def across_at(self, line, y):
        """Return (point, chain) wherever a line of the layout crosses a station, lowest first."""
        plane = gp_Pln(pnt((0, y, 0)), ACROSS)
        found = [(xyz(c.Value(t)), chain) for chain, c in self.edges_on(line) for t in crossings(c, plane)]
        return sorted(found, key=lambda f: f[0][2])

    def flange_on_centreline(self):
        line = "flange" if self.built.plan.window else f"opening {self.built.shape.rear_window.name}"
        found = self.across_at(line, 0.0)
        return found[0][0], found[-1][0]

    def read_window_panel(self):
        window, plan = self.report.window, self.built.plan.window
        bottom, top = self.flange_on_centreline()
        self.note("window panel: pivot", "mm", window.rear_pivot_mm, bottom, "window")
        if plan is not None and plan.down_mm is None:
            laid = pnt(top).Transformed(turned(bottom, -plan.lay_down_deg)).Z()
            down = laid - pnt(top).Transformed(self.roof_move).Z()
            self.note("window panel: down", "mm", window.rear_down_mm, down, "window")

    def read_panes(self):
        window, shield = self.report.window, self.built.shape.windshield
        groups = [("rear", [self.built.shape.rear_window], ("rake_{}_deg",))]
        groups.append(("windshield", shield, ("rake_{}_deg", "height_{}_mm", "plumb_{}_mm")))
        for what, panes, names in groups:
            values = [self.pane_heights(pane) for pane in panes]
            if any(v is None for v in values):
                continue
            for column, name in enumerate(names):
                live = [getattr(window, f"{what}_{name.format(when)}") for when in ("before", "after")]
                kind = f"glass: {name.split('_')[0]}"
                self.note(kind, name.split("_")[-1], live, np.mean(values, axis=0)[:, column], what)
        if self.built.plan.window is not None:
            line = f"opening {self.built.shape.rear_window.name}"
            points = [curve.Value(curve.FirstParameter()) for _, curve in self.edges_on(line)]
            moved = [p.Transformed(self.moves[WINDOW]) for p in points]
            pairs = [(i, j) for i in range(len(points)) for j in range(i)]
            change = max(abs(points[i].Distance(points[j]) - moved[i].Distance(moved[j])) for i, j in pairs)
            self.note("change inside the rear opening", "mm", window.rear_opening_change_mm, change, "glass")

    def pane_heights(self, pane):
        """Return ((rake, height, plumb) before, the same after), or None where an end is cut out."""
        line = f"opening {pane.name}"
        boxes = np.array([box_of(self.faces.edge(chain)) for chain, _ in self.edges_on(line)])
        found = self.across_at(line, (boxes[:, 0, 1].min() + boxes[:, 1, 1].max()) / 2)
        before, after = [], []
        for point, chain in (found[0], found[-1]):
            (beside,) = [c for c in (chain.left, chain.right) if c.role in (METAL, WASTE)]
            if beside.role == WASTE:
                return None
            before.append(point)
            after.append(xyz(pnt(point).Transformed(self.moves[beside.carrier])))
        rows = []
        for bottom, top in (before, after):
            r = top - bottom
            rows.append((np.degrees(np.arctan2(r[0], r[2])), np.linalg.norm(r), r[2]))
        return np.array(rows)

    def read_roof(self):
        totals, grid = self.report.totals, self.built.shape.skin.grids["roof"]
        surface = surface_of(grid)
        face = BRepBuilderAPI_MakeFace(surface, 1e-9).Face()
        heights = [box_of(face.Moved(TopLoc_Location(m)))[1, 2] for m in (gp_Trsf(), self.roof_move)]
        self.note("height", "mm", (totals.height_before_mm, totals.height_after_mm), heights, "roof")
        lean = np.radians(LINE_DEG)
        ray = Geom_Line(pnt(self.car.seat_mm), gp_Dir(np.sin(lean), 0.0, np.cos(lean)))
        inside = Geom_OffsetSurface(surface, -self.car.gauge_mm * grid.outward)
        live = (totals.headroom_before_mm, totals.headroom_after_mm)
        for value, move in zip(live, (gp_Trsf(), self.roof_move), strict=True):
            found = GeomAPI_IntCS(ray, inside.Transformed(move))
            lengths = [found.Parameters(i)[2] for i in range(1, found.NbPoints() + 1)]
            self.note("headroom", "mm", value, min(x for x in lengths if x > 0) + ADDED_MM, "seat")

    def read_areas(self):
        removed = sum(area_mm2(self.faces.face(c)) for c in self.built.layout.cells if c.role == WASTE)
        self.note("area cut out", "relative", self.report.totals.removed_area_mm2 / removed, 1.0, "skin")
        whole = stock_area_mm2(self.name.split()[0])
        self.note("area of the skin", "relative", self.report.totals.skin_area_mm2 / whole, 1.0, "skin")


@lru_cache
def stock_area_mm2(car_name):
    layout = built_of(f"{car_name} stock").layout
    faces = exact_faces(layout)
    return sum(area_mm2(faces.face(cell)) for cell in layout.cells if cell.role == METAL)


# ---------------------------------------------------------------- tests


class Summary:
    """Prints the largest deviations at the end of a run without workers."""

    worst, plans, crossing = {}, 0, []

    def pytest_terminal_summary(self, terminalreporter):
        if self.worst:
            terminalreporter.section(f"live against exact: largest deviations on {self.plans} plans")
            for (kind, unit), (off, where, count) in sorted(self.worst.items()):
                terminalreporter.line(f"{kind:36s} {off:9.2e} {unit:9s} of {count:7d}   {where}")
        for line in self.crossing:
            terminalreporter.line(line)


SUMMARY = Summary()


@pytest.fixture(autouse=True, scope="module")
def printed_at_the_end(request):
    if not request.config.pluginmanager.is_registered(SUMMARY):
        request.config.pluginmanager.register(SUMMARY)


SEEDS = [
    pytest.param(seed, marks=() if seed < BY_DEFAULT else (pytest.mark.heavy,), id=f"plan {seed}")
    for seed in range(PLANS)
]


@pytest.mark.parametrize("car", CARS)
@pytest.mark.parametrize("seed", SEEDS)
def test_live_and_exact_tier_agree(car, seed, record_property):
    worst = Comparison(f"{car} {seed}", random_case(car, seed)).run()
    SUMMARY.plans += 1
    for key, (off, where, count) in worst.items():
        entry = SUMMARY.worst.setdefault(key, [-1.0, "", 0])
        entry[2] += count
        if off > entry[0]:
            entry[:2] = off, where
    record_property("live against exact", json.dumps([[*key, *entry] for key, entry in worst.items()]))
    too_far = {key: entry for key, entry in worst.items() if not entry[0] <= LIMITS[key[1]]}
    assert not too_far, too_far


CROSSING = (("coupe", 29), ("pickup", 0), ("pickup", 2), ("pickup", 36))


@pytest.mark.heavy
@pytest.mark.parametrize("car, seed", CROSSING)
def test_what_runs_into_what_as_the_kernel_finds_it(car, seed):
    built = random_case(car, seed)
    live = {frozenset(i.pieces): i for i in report_of(built).interference}
    exact = {frozenset(i.pieces): i for i in exact_interference(built)}
    for pieces in sorted(live.keys() | exact.keys(), key=sorted):
        rows = [
            f"{x.volume_mm3:9.1f} mm3 {x.depth_mm:6.2f} mm" if x else f"{'-':>23s}"
            for x in (live.get(pieces), exact.get(pieces))
        ]
        name = f"{car} {seed}: {' + '.join(sorted(pieces))}"
        SUMMARY.crossing.append(f"{name:44s} live {rows[0]}   exact {rows[1]}")
    assert live.keys() == exact.keys()
    for pieces, found in exact.items():
        assert live[pieces].volume_mm3 == pytest.approx(found.volume_mm3, rel=0.02, abs=5.0), pieces
