"""Checks of a car's openings, posts and keep-outs.  See :mod:`model.carcheck`."""

from __future__ import annotations

import math
from itertools import pairwise

from .errors import MeasureError
from .fields import choice_hint
from .measured import GRID_KINDS, SIDES, VIEWS
from .units import shown

ROLES = ("windshield", "rear window", "side glass")
GRIDS_OF_ROLE = {"windshield": ("front", "roof"), "rear window": ("back", "roof"), "side glass": ("side",)}
VIEWS_OF_GRID = {"side": ("side",), "roof": ("plan", "front", "rear"), "front": ("front",), "back": ("rear",)}
SHAPES = ("box", "cylinder", "sphere")
WELL_MOST_MM = 1000.0  # assumed: deeper than any door
ROOM_MOST_MM = 200.0  # assumed: thicker than any door
NOT_IN_POST_NAMES = ".="  # a plan's settings are typed cut.B.left=square


def refuse_repeated(kind, names):
    """Refuse a list of names in which one is blank or comes twice."""
    for i, name in enumerate(names):
        label = name if isinstance(name, str) else " ".join(name)
        if not label.strip():
            raise MeasureError(f"{kind} {i + 1} must have a name.", "Name it.")
        if name in names[:i]:
            raise MeasureError(f'{kind} "{label}" is given twice.', "Rename one of the two, or take it out.")


def segments_cross(a, b, c, d):
    """Return whether the plane segments a-b and c-d cross between their ends.

    Examples
    --------
    >>> segments_cross((0, 0), (2, 2), (0, 2), (2, 0)), segments_cross((0, 0), (1, 1), (1, 1), (2, 0))
    (True, False)
    """

    def turn(p, q, r):
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0


def check_openings(car):
    """Refuse openings that cannot be right as seen in their own views."""
    refuse_repeated("opening", [(opening.name, opening.side) for opening in car.openings])
    for opening in car.openings:
        place = f'opening "{opening.name}" {opening.side}'
        _check_where(opening, car, place)
        _check_outline(opening, car, place)
        _check_well(opening, car, place)
    rear = [opening for opening in car.openings if opening.role == "rear window"]
    if len(rear) != 1:
        raise MeasureError(
            f"the car must have exactly one rear window; got {len(rear)}.", 'Use role = "rear window".'
        )
    if rear[0].side != "centre":
        raise MeasureError(
            f'opening "{rear[0].name}" must have the side centre; got {rear[0].side}.',
            "Measure the rear window as one outline across the centreline.",
        )
    if not any(opening.role == "windshield" for opening in car.openings):
        raise MeasureError("the car must have a windshield.", 'Add an opening with role = "windshield".')


def _check_well(opening, car, place):
    """Refuse a well of a pane that is not wound down, and depths no door has."""
    for name, value, most in (
        ("well", opening.well_mm, WELL_MOST_MM),
        ("well_room", opening.well_room_mm, ROOM_MOST_MM),
    ):
        if value is None:
            continue
        if opening.role != "side glass":
            raise MeasureError(
                f"{place}, {name} must be that of side glass; this is a {opening.role}.", "Take it out."
            )
        if not 0 < value <= most:
            raise MeasureError(
                f"{place}, {name} must be more than 0 and at most {shown(most, car.unit)}; "
                f"got {shown(value, car.unit)}.",
                "Measure down the glass from the opening's lower edge, and the room outboard of the pane.",
            )


def _check_where(opening, car, place):
    choices = (
        ("role", opening.role, ROLES),
        ("grid", opening.grid, GRID_KINDS),
        ("side", opening.side, SIDES),
        ("grid", opening.grid, GRIDS_OF_ROLE.get(opening.role, GRID_KINDS)),
        ("view", opening.view, VIEWS_OF_GRID.get(opening.grid, tuple(VIEWS))),
        ("side", opening.side, SIDES[:2] if opening.grid == "side" else SIDES),
    )
    for name, value, allowed in choices:
        if value not in allowed:
            raise MeasureError(
                f"{place}, {name} must be {' or '.join(allowed)} for a {opening.role} in the {opening.grid}; "
                f'got "{value}".',
                choice_hint(value, allowed),
            )
    if opening.grid in ("front", "back") and car.panel(opening.grid) is None:
        raise MeasureError(
            f"{place} must lie in a panel of this car; it has no {opening.grid} panel.",
            f"Measure the {opening.grid} panel, or put the opening in the roof.",
        )


def _check_outline(opening, car, place):
    corners = opening.corners
    if len(corners) < 3:
        raise MeasureError(
            f"{place} must have at least 3 corners; got {len(corners)}.", "Measure more corners."
        )
    points = [(c.across_mm, c.up_mm) for c in corners]
    edges = list(zip(points, points[1:] + points[:1], strict=True))
    for i, (start, end) in enumerate(edges):
        if math.dist(start, end) <= car.tape_mm:
            raise MeasureError(
                f"{place}: corners {i + 1} and {(i + 1) % len(points) + 1} are the same point.",
                "Take one of them out.",
            )
        for j in range(i + 2, len(edges)):
            if segments_cross(start, end, *edges[j]):
                raise MeasureError(
                    f"{place} must not cross itself; edges {i + 1} and {j + 1} do.",
                    "List the corners in order around.",
                )
    tangents = [_tangent_mm(points, i, corners[i].radius_mm, car, place) for i in range(len(points))]
    for i, (start, end) in enumerate(edges):
        after = (i + 1) % len(points)
        needed, length = tangents[i] + tangents[after], math.dist(start, end)
        if needed > length + 1e-6:
            raise MeasureError(
                f"{place}: the radii of corners {i + 1} and {after + 1} must fit on the edge between them, "
                f"{shown(length, car.unit)}; they take {shown(needed, car.unit)}.",
                "Measure the radii again, or the corners where the straight edges would meet.",
            )
    _check_halves(opening, car, place)


def _tangent_mm(points, i, radius_mm, car, place):
    """Return how far a corner's arc reaches along its edges. [mm]"""
    if radius_mm < 0:
        raise MeasureError(
            f"{place}, corner {i + 1}: the radius must not be negative; got {shown(radius_mm, car.unit)}.",
            "Write 0 or leave it out for a sharp corner.",
        )
    corner, before, after = points[i], points[i - 1], points[(i + 1) % len(points)]
    u = (before[0] - corner[0], before[1] - corner[1])
    v = (after[0] - corner[0], after[1] - corner[1])
    inside = abs(math.atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1]))
    if inside < math.radians(1.0):  # assumed: no glass has so sharp a corner
        raise MeasureError(f"{place} must not fold back on itself; corner {i + 1} does.", "Measure it again.")
    return radius_mm / math.tan(inside / 2)


def _check_halves(opening, car, place):
    """Refuse an opening on the wrong side of the centre plane where its view shows y."""
    axes = VIEWS[opening.view]
    if 1 not in axes:
        return
    values = [(c.across_mm, c.up_mm)[axes.index(1)] for c in opening.corners]
    least, most, tape = min(values), max(values), car.tape_mm
    is_right = {"right": least >= -tape, "left": most <= tape, "centre": least < 0 < most}[opening.side]
    if not is_right:
        rule = {"right": "y of 0 or more", "left": "y of 0 or less", "centre": "y on both sides of 0"}[
            opening.side
        ]
        raise MeasureError(
            f"{place} must have {rule}; got {shown(least, car.unit)} to {shown(most, car.unit)}.",
            "y is to the car's right in every view, also in the rear one.",
        )


def check_posts(car):
    """Refuse posts that cannot be right; the first must be the A-posts."""
    refuse_repeated("post", [(post.name, post.side) for post in car.posts])
    pairs = [post for post in car.posts if post.side != "centre"]
    if not pairs:
        raise MeasureError("the car must have posts.", "Measure the A-posts first.")
    for post in car.posts:
        _check_post(post, car, f'post "{post.name}" {post.side}')
        if post.side == "left" and (post.name, "right") not in [(p.name, p.side) for p in car.posts]:
            raise MeasureError(
                f'post "{post.name}" must be on both sides; only the left is given.', "Add the right."
            )
        if post.side == "centre" and any(p.name == post.name for p in pairs):
            raise MeasureError(
                f'post "{post.name}" must not be at the centre and at the side too.',
                "Rename the centre post.",
            )
    first, front = car.posts[0], min(pairs, key=lambda post: post.axis_mm[0][0])
    if first.side == "centre" or (first.name != front.name and first.axis_mm[0][0] > front.axis_mm[0][0]):
        raise MeasureError(
            f'posts must begin with the A-posts, the front ones; got "{first.name}" {first.side}.',
            f'List "{front.name}" first.',
        )


def _check_post(post, car, place):
    if post.side not in SIDES:
        raise MeasureError(f"{place}: the side must be {' or '.join(SIDES)}.", choice_hint(post.side, SIDES))
    if any(character in post.name for character in NOT_IN_POST_NAMES):
        raise MeasureError(f'{place} must have no "." or "=" in its name.', "Choose a plain name such as B.")
    if len(post.axis_mm) < 2:
        raise MeasureError(
            f"{place}, axis must have at least 2 points; got {len(post.axis_mm)}.", "Measure both ends."
        )
    for number, (low, high) in enumerate(zip(post.axis_mm, post.axis_mm[1:], strict=False), start=1):
        if not high[2] - low[2] > car.tape_mm:
            raise MeasureError(
                f"{place}, axis must go up from point to point; point {number} is at "
                f"z = {shown(low[2], car.unit)}, point {number + 1} at {shown(high[2], car.unit)}.",
                "List its points from low to high.",
            )
    sides = {
        "right": (lambda y: y > 0),
        "left": (lambda y: y < 0),
        "centre": (lambda y: abs(y) <= car.tape_mm),
    }
    rule = {"right": "a positive y", "left": "a negative y", "centre": "y = 0 within the tape's resolution"}
    for number, point in enumerate(post.axis_mm, start=1):
        if not sides[post.side](point[1]):
            raise MeasureError(
                f"{place}, axis point {number} must have {rule[post.side]}; "
                f"got y = {shown(point[1], car.unit)}.",
                "y is to the car's right, measured from the centreline.",
            )
    for name in ("width", "depth", "wall"):
        if not getattr(post, f"{name}_mm") > 0:
            raise MeasureError(f"{place}, {name} must be more than 0.", "Measure the section again.")
    if not 2 * post.wall_mm < min(post.width_mm, post.depth_mm):
        raise MeasureError(
            f"{place}: wall must be less than half the width and half the depth; "
            f"got {shown(post.wall_mm, car.unit)}.",
            "Measure the sheet's thickness, not the section.",
        )
    _check_cut_room(post, car, place)


def _check_cut_room(post, car, place):
    low, high = post.axis_mm[0][2], post.axis_mm[-1][2]
    heights = [("cut_from", post.cut_from_mm), ("cut_at", post.cut_at_mm), ("cut_to", post.cut_to_mm)]
    for name, z in heights:
        if not low - 1e-6 <= z <= high + 1e-6:
            raise MeasureError(
                f"{place}, {name} must be where the post has metal, between z = {shown(low, car.unit)} and "
                f"{shown(high, car.unit)}; got {shown(z, car.unit)}.",
                "Correct the height, or measure the axis further.",
            )
    for (name, z), (next_name, next_z) in pairwise(heights):
        if z > next_z or (z == next_z and heights[0][1] == heights[2][1]):
            raise MeasureError(
                f"{place}: {name} must be below {next_name}; "
                f"got {shown(z, car.unit)} and {shown(next_z, car.unit)}.",
                "cut_from and cut_to leave room for both cuts; cut_at is the lower cut.",
            )


def check_keep_outs(car):
    """Refuse keep-outs whose measures are not complete for their shape."""
    refuse_repeated("keep_out", [body.name for body in car.keep_outs])
    needed = {"box": ("size",), "cylinder": ("to", "radius"), "sphere": ("radius",)}
    for body in car.keep_outs:
        place = f'keep_out "{body.name}"'
        if body.shape not in SHAPES:
            raise MeasureError(
                f'{place}, shape must be {", ".join(SHAPES)}; got "{body.shape}".',
                choice_hint(body.shape, SHAPES),
            )
        for name in ("size", "to", "radius"):
            is_given = getattr(body, f"{name}_mm") is not None
            if is_given != (name in needed[body.shape]):
                state = "has no" if is_given else "must give its"
                raise MeasureError(
                    f"{place}: a {body.shape} {state} {name}.",
                    f"A {body.shape} has: at, {', '.join(needed[body.shape])}.",
                )
        lengths = [*(body.size_mm or ()), *([body.radius_mm] if body.radius_mm is not None else [])]
        if body.to_mm is not None:
            lengths.append(math.dist(body.at_mm, body.to_mm))
        if not all(length > 0 for length in lengths):
            raise MeasureError(f"{place} must have sizes of more than 0.", "Measure it again.")
