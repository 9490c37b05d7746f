"""The same job as one ``evaluate``, as a plain CadQuery script does it: solids, booleans and distances.

Nothing clever and nothing slowed down.  It takes from the car what a person
types into a CAD system: the measured points (as the same B-spline surfaces),
the openings as drawn in their views, the posts' axes and sections, the flange
line as a template; from the plan drops, window move, cuts, kerf, root gap.

It speaks for plans like the one that ships with the coupe: level cuts at a
height of each post's own, each plane reaching halfway to the next post (there
that lies in glass), straight first posts, a roof that follows the windshield;
not for shifted posts.
Gaps are nearest distances, which hold gap and step in one.
"""

from dataclasses import dataclass, field
from itertools import combinations
from math import atan2, degrees, hypot, radians

import cadquery as cq
import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.Geom import Geom_Plane, Geom_TrimmedCurve
from OCP.GeomAPI import GeomAPI_IntCS
from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Trsf, gp_Vec

from model.exactkernel import surface_of
from model.outlines import Outline
from model.postlines import PostLine
from model.skin import skin_of

FAR = 5000.0
ON_PLANE_MM = 0.3  # edges this near a cut plane belong to the cut
SPACING_MM = 12.0


@dataclass
class Answers:
    """What the script finds out."""

    take_out_mm: dict = field(default_factory=dict)  # (post, side): [axis, four corners sorted]
    miss_mm: dict = field(default_factory=dict)  # (post, side): (fore-and-aft, across)
    seam_mm: dict = field(default_factory=dict)  # (post, side, grid): the body's edge in its cut plane
    window_seam_mm: float = 0.0
    distance_mm: dict = field(
        default_factory=dict
    )  # same keys: (least, greatest) distance to the roof's edge
    interference_mm3: dict = field(default_factory=dict)
    rake_deg: dict = field(default_factory=dict)  # "rear", "windshield": (before, after)


def evaluated(car, plan, flange: Outline, kerf: Outline, lap=lambda name: None) -> Answers:
    """Carry the plan out with 3-D booleans and ask the kernel for everything."""
    answers = Answers()
    opening_mm = plan.root_gap_mm  # both kerfs lie inside what is taken out
    posts = {(p.name, p.side): p for p in car.all_posts()}
    move = roof_move(car, plan, posts)
    zones = zones_of(posts)

    skin = {name: opened(car, grid) for name, grid in skin_of(car).grids.items()}
    lap("skin and openings")

    # Window panel: cut out with a template, the kerf around it lost.  Then both cuts.
    home = flange.grid.name
    inner, outer = template(flange), template(kerf)
    panel_at_home = skin[home].intersect(inner)
    shell = {**skin, home: skin[home].cut(outer)}
    below = fused([zone.intersect(below_plane(p)) for zone, p in zones])
    above = fused([zone.intersect(above_plane(p, move, opening_mm)) for zone, p in zones])
    body = {name: face.intersect(below) for name, face in shell.items()}
    roof_at_home = {name: face.intersect(above) for name, face in shell.items()}
    roof = {name: face.moved(move) for name, face in roof_at_home.items()}
    window_move = moved_window(plan, flange, move)
    panel = panel_at_home.moved(window_move)
    lap("pieces by booleans")

    # Posts.
    solids = {}
    for key, post in posts.items():
        line = PostLine(post)
        whole = post_solid(line)
        slab = below_plane(post, upward=True).intersect(above_plane(post, move, 0.0, downward=True))
        answers.take_out_mm[key] = take_outs(line, whole, slab)
        answers.miss_mm[key] = miss(line, slab, move)
        solids[key] = (
            whole.intersect(below_plane(post)),
            whole.intersect(above_plane(post, move, opening_mm)).moved(move),
        )
    lap("posts")

    # Seams: the body's edges in a cut plane, and how far the roof's edges are from them.
    for name, face in body.items():
        for key, post in posts.items():
            edges = [e for e in face.Edges() if lies_in(e, post, zones)]
            if edges:
                facing = cq.Compound.makeCompound(
                    [e for e in roof[name].Edges() if lies_in(e, post, zones, move, opening_mm)]
                )
                answers.seam_mm[(*key, name)] = sum(length(e) for e in edges)
                answers.distance_mm[(*key, name)] = distances(edges, facing)
    rim = cq.Compound.makeCompound(panel.Faces()[0].outerWire().Edges())
    shell_rim = [e for e in body[home].Edges() if near(e, outer)]
    shell_rim += [e.moved(move) for e in roof_at_home[home].Edges() if near(e, outer)]
    answers.window_seam_mm = sum(length(e) for e in shell_rim)
    answers.distance_mm["window panel"] = distances(shell_rim, rim)
    lap("seam lengths and distances")

    # Interference: everything with its thickness, pair by pair.
    things = [("body", "body", s) for s in thickened(body, car)]
    things += [("roof", "roof", s) for s in thickened(roof, car)]
    things += [("window panel", "window panel", s) for s in thickened({home: panel}, car)]
    for key, (lower, upper) in solids.items():
        things += [(f"{' '.join(key)} lower", "body", lower), (f"{' '.join(key)} upper", "roof", upper)]
    things += [(k.name, "body", keep_out_solid(k)) for k in car.keep_outs]
    for (a, moves_a, solid_a), (b, moves_b, solid_b) in combinations(things, 2):
        if moves_a != moves_b and boxes_meet(solid_a, solid_b):
            volume = solid_a.intersect(solid_b).Volume()
            if volume > 1.0:
                found = answers.interference_mm3
                found[a, b] = found.get((a, b), 0.0) + volume
    lap("interference")

    (glass,) = inner_edges(panel_at_home)
    ends = ends_at_middle(glass)
    answers.rake_deg["rear"] = rake(*ends), rake(*(at(window_move, p) for p in ends))
    panes = [ends_at_middle(ring) for ring in inner_edges(skin["front"])]
    answers.rake_deg["windshield"] = (
        float(np.mean([rake(*pane) for pane in panes])),
        float(np.mean([rake(low, at(move, high)) for low, high in panes])),
    )
    lap("rakes")
    return answers


# ---------------------------------------------------------------- moves


def location(rotation_deg, about, x, y, z):
    """Return a turn about the y-parallel through a point, then a slide."""
    turn, slide = gp_Trsf(), gp_Trsf()
    turn.SetRotation(gp_Ax1(gp_Pnt(*map(float, about)), gp_Dir(0, 1, 0)), radians(rotation_deg))
    slide.SetTranslation(gp_Vec(x, y, z))
    return cq.Location(slide.Multiplied(turn))


def at(where, point):
    """Return a point moved."""
    return np.array(gp_Pnt(*map(float, point)).Transformed(where.wrapped.Transformation()).Coord())


def roof_move(car, plan, posts):
    """Slide until the first posts' axes meet in the mean, and pitch for the two drops."""
    first = [
        min((p for p in posts.values() if p.side == side), key=lambda p: p.axis_mm[0][0])
        for side in ("right", "left")
    ]
    centres = [on_axis(p, p.cut_at_mm) for p in first]
    landing, rear = np.mean(centres, axis=0), np.array(car.rear_point_mm)
    front_drop, rear_drop = plan.roof.front_drop_mm, plan.roof.rear_drop_mm

    def place(slide):
        unmoved = landing + [slide, 0.0, front_drop]
        x, _, z = rear - unmoved
        pitch = atan2(z, x) + np.arcsin((rear_drop - front_drop - z) / hypot(x, z))
        return location(degrees(pitch), unmoved, -slide, 0.0, -front_drop)

    def mean_miss(slide):
        where, out = place(slide), []
        for post, centre in zip(first, centres, strict=True):
            a, b = (at(where, p) for p in post.axis_mm)
            out.append((a + (b - a) * (centre[2] - a[2]) / (b[2] - a[2]) - centre)[0])
        return np.mean(out)

    a, b = 0.0, 10.0
    while abs(b - a) > 1e-9:
        a, b = b, b - mean_miss(b) * (b - a) / (mean_miss(b) - mean_miss(a))
    return place(b)


def on_axis(post, z):
    """Return the point of a straight axis at a height."""
    a, b = np.array(post.axis_mm)
    return a + (b - a) * (z - a[2]) / (b[2] - a[2])


def moved_window(plan, flange, roof):
    """Lay the panel down about its lower edge, then bring its top to the roof's height."""
    points = section_points([spline(flange.grid.point(part)) for part in flange.parts], 0.0)
    bottom, top = min(points, key=lambda p: p[2]), max(points, key=lambda p: p[2])
    window = plan.window
    laid = location(-window.lay_down_deg, bottom, 0, 0, 0)
    down = at(laid, top)[2] - at(roof, top)[2] if window.down_mm is None else window.down_mm
    return location(-window.lay_down_deg, bottom, -window.forward_mm, 0.0, -down)


# ---------------------------------------------------------------- skin and pieces


def opened(car, grid):
    """Return a grid's face with its openings cut through it along the line of sight."""
    face = cq.Face(BRepBuilderAPI_MakeFace(surface_of(grid), 1e-6).Face())
    for opening in car.all_openings():
        name = f"side {opening.side}" if opening.grid == "side" else opening.grid
        if name == grid.name:
            face = face.cut(sight_prism(opening, grid))
    return face


def sight_prism(opening, grid):
    """Return an opening drawn in its view with round corners, pushed along the line of sight."""
    corners, is_side = [(c.across_mm, c.up_mm) for c in opening.corners], opening.view == "side"
    solid = cq.Workplane("XZ" if is_side else "YZ").polyline(corners).close().extrude(FAR, both=True)
    for (a, b), corner in zip(corners, opening.corners, strict=True):
        if corner.radius_mm:
            selector = cq.selectors.NearestToPointSelector((a, 0, b) if is_side else (0, a, b))
            solid = solid.edges("|Y" if is_side else "|X").edges(selector).fillet(corner.radius_mm)
    if is_side:  # of this side only
        return solid.val().intersect(box((-FAR, FAR), (0, FAR) if grid.side == "right" else (-FAR, 0)))
    return solid.val()


def template(outline):
    """Return a cutting tool: the line seen square to the window's middle, pushed through the skin."""
    normal = outline.grid.normal(outline.loop_uv.mean(axis=0)[None])[0]
    flat = []
    for part in outline.parts:
        points = outline.grid.point(part)
        flat.append(spline(points - np.outer(points @ normal, normal)))
    middle = outline.grid.point(outline.loop_uv).mean(axis=0) @ normal
    wire = cq.Wire.assembleEdges(flat).moved(cq.Location(cq.Vector(*((middle - 100.0) * normal))))
    return cq.Solid.extrudeLinear(wire, [], cq.Vector(*(200.0 * normal)))


def spline(points):
    """Return the curve through points; a straight line through two."""
    vectors = [cq.Vector(*p) for p in points]
    return cq.Edge.makeSpline(vectors) if len(vectors) > 2 else cq.Edge.makeLine(*vectors)


def zones_of(posts):
    """Return (box, post): how far each post's cut plane reaches, halfway to its neighbours."""
    out = []
    for side in ("right", "left"):
        own = sorted((p for p in posts.values() if p.side == side), key=lambda p: p.axis_mm[0][0])
        x = [np.mean([q[0] for q in p.axis_mm]) for p in own]
        limits = [-FAR, *((a + b) / 2 for a, b in zip(x[:-1], x[1:], strict=True)), FAR]
        sign = 1.0 if side == "right" else -1.0
        divider = [p for p in posts.values() if p.side == "centre"]
        for i, post in enumerate(own):
            inner = abs(post.axis_mm[0][1]) / 2 if divider and i == 0 else 0.0
            out.append((box((limits[i], limits[i + 1]), sorted((sign * inner, sign * FAR))), post))
            if divider and i == 0:
                out.append((box((limits[0], limits[1]), sorted((0.0, sign * inner))), divider[0]))
    return out


def box(x, y, z=(-FAR, FAR)):
    """Return a box between limits."""
    return cq.Solid.makeBox(x[1] - x[0], y[1] - y[0], z[1] - z[0], cq.Vector(x[0], y[0], z[0]))


def below_plane(post, upward=False):
    """Return the half space under (or over) a post's lower cut."""
    z = post.cut_at_mm
    return box((-FAR, FAR), (-FAR, FAR), (z, z + FAR) if upward else (z - FAR, z))


def above_plane(post, move, opening_mm, downward=False):
    """Return the half space that the roof's move carries above (or below) the lower cut and its opening."""
    z = post.cut_at_mm + opening_mm
    half = box((-2 * FAR, 2 * FAR), (-2 * FAR, 2 * FAR), (z - FAR, z) if downward else (z, z + FAR))
    return half.moved(move.inverse)


def fused(solids):
    """Return solids as one."""
    return solids[0].fuse(*solids[1:]).clean()


# ---------------------------------------------------------------- posts


def post_solid(line: PostLine, inset_mm=0.0):
    """Return a post's box lofted through its sections, hollow."""
    if not inset_mm:
        return post_solid(line, 1e-9).cut(post_solid(line, line.post.wall_mm))
    rings = []
    for corners in line.lines_at_stations(inset_mm)[:, 1:]:
        rings.append(cq.Wire.makePolygon([cq.Vector(*p) for p in corners], close=True))
    return cq.Solid.makeLoft(rings, line.is_straight)


def axis_of(line: PostLine):
    """Return a post's axis."""
    return spline(line.lines_at_stations()[:, 0])


def take_outs(line, whole, slab):
    """Return the lengths between the planes, on the axis and along the outer corner edges (sorted)."""
    solid = post_solid(line, 1e-9).intersect(slab)
    heights = [abs(e.startPoint().z - e.endPoint().z) for e in solid.Edges()]
    tall = [e for e, h in zip(solid.Edges(), heights, strict=True) if h > 0.5 * max(heights)]
    return [length(axis_of(line).intersect(slab).Edges()[0]), *sorted(length(e) for e in tall)]


def miss(line, slab, move):
    """Return where the upper end lands, seen from the lower: rearward, inboard."""
    cut = axis_of(line).intersect(slab).Edges()[0]
    low, high = sorted((cut.startPoint(), cut.endPoint()), key=lambda p: p.z)
    off = at(move, high.toTuple()) - np.array(low.toTuple())
    return float(off[0]), float(off[1] * (1.0 if line.post.side == "left" else -1.0))


# ---------------------------------------------------------------- asking


def length(edge):
    """Return an edge's length. [mm]"""
    return GCPnts_AbscissaPoint.Length_s(BRepAdaptor_Curve(edge.wrapped), 1e-7)


def lies_in(edge, post, zones, move=None, opening_mm=0.0):
    """Whether an edge lies in a post's cut plane, on that post's stretch."""
    z = post.cut_at_mm + opening_mm
    middle = edge.positionAt(0.5)
    if any(abs(p.z - z) > ON_PLANE_MM for p in (edge.startPoint(), middle, edge.endPoint())):
        return False
    home = at(move.inverse, middle.toTuple()) if move is not None else middle.toTuple()
    return any(p is post and zone.isInside(cq.Vector(*home), 1e-3) for zone, p in zones)


def distance(a, b):
    """Return the least distance of two shapes. [mm]"""
    return BRepExtrema_DistShapeShape(a.wrapped, b.wrapped).Value()


def distances(edges, facing):
    """Return the least and greatest distance from places along edges to other edges. [mm]"""
    found = []
    for edge in edges:
        n = max(4, int(np.ceil(length(edge) / SPACING_MM)))
        for part in (np.arange(n) + 0.5) / n:
            found.append(distance(cq.Vertex.makeVertex(*edge.positionAt(float(part)).toTuple()), facing))
    return min(found), max(found)


def near(edge, tool):
    """Whether an edge was left by a cutting tool."""
    return distance(cq.Vertex.makeVertex(*edge.positionAt(0.5).toTuple()), tool) < 1e-3


def inner_edges(shape):
    """Return the rings of edges around the holes of faces."""
    return [wire.Edges() for face in shape.Faces() for wire in face.innerWires()]


def ends_at_middle(edges):
    """Return the lowest and highest point of a ring of edges halfway across it."""
    limits = cq.Compound.makeCompound(edges).BoundingBox(1e-6)
    points = section_points(edges, (limits.ymin + limits.ymax) / 2)
    return min(points, key=lambda p: p[2]), max(points, key=lambda p: p[2])


def section_points(edges, y):
    """Return where edges cross the plane at y."""
    plane, found = Geom_Plane(gp_Pnt(0, y, 0), gp_Dir(0, 1, 0)), []
    for edge in edges:
        curve = BRepAdaptor_Curve(edge.wrapped)
        limits = curve.FirstParameter(), curve.LastParameter()
        crossed = GeomAPI_IntCS(Geom_TrimmedCurve(BRep_Tool.Curve_s(edge.wrapped, 0.0, 1.0), *limits), plane)
        found += [crossed.Point(i).Coord() for i in range(1, crossed.NbPoints() + 1)]
    return found


def rake(bottom, top):
    """Return the lean from plumb in side view. [deg]"""
    return degrees(atan2(top[0] - bottom[0], top[2] - bottom[2]))


def thickened(parts, car):
    """Return faces with the sheet's gauge under them."""
    grids = skin_of(car).grids
    return [
        f.thicken(-car.gauge_mm * grids[name].outward) for name, shape in parts.items() for f in shape.Faces()
    ]


def keep_out_solid(body):
    """Return a body that the roof must clear."""
    if body.shape == "sphere":
        return cq.Solid.makeSphere(body.radius_mm, cq.Vector(*body.at_mm), angleDegrees1=-90)
    if body.shape == "cylinder":
        along = cq.Vector(*body.to_mm) - cq.Vector(*body.at_mm)
        return cq.Solid.makeCylinder(body.radius_mm, along.Length, cq.Vector(*body.at_mm), along)
    half = np.array(body.size_mm) / 2
    return cq.Solid.makeBox(*body.size_mm, cq.Vector(*(np.array(body.at_mm) - half)))


def boxes_meet(a, b):
    """Whether the bounding boxes of two shapes share space."""
    p, q = a.BoundingBox(), b.BoundingBox()
    return all(
        getattr(p, f"{k}min") <= getattr(q, f"{k}max") and getattr(q, f"{k}min") <= getattr(p, f"{k}max")
        for k in "xyz"
    )
