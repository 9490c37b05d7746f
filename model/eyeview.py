"""What the driver sees from the seat, drawn: sheet and posts against the glass, below it what a post hides.

From the eye E a point P lies at

    azimuth    α = atan2(P_y − E_y, E_x − P_x),  0 straight ahead, + to the right;
    elevation  ε = atan2(P_z − E_z, hypot(P_x − E_x, P_y − E_y)),  0 level, + up;

and both are laid out on the paper to one scale, so that an angle can be read
anywhere along the rulers.  (A flat picture plane would stretch what lies 60° to the side
fourfold.)  Straight edges are curves there; they are followed in steps of STEP_MM.

E is where :func:`model.occupant.driver_eye_mm` puts it.  The bars along the foot lie from
the inner edge of S1 to the outer edge of S2 of :mod:`model.postsight`, seen from E; the
degrees that stand beside them are the report's: hidden from both eyes while the head
turns.  Only measured sheet is drawn: no hood, no trim, no mirror.
"""

from __future__ import annotations

from html import escape

import numpy as np
import shapely

from .built import Built
from .display import COARSE, POST, Patch, patches_of, split
from .layout import METAL, PANE
from .moves import IDENTITY
from .occupant import driver_eye_mm
from .piececolours import GLASS_COLOUR, colour_of
from .report import Report
from .silhouette import DIMENSION_INK, INK, STOCK_INK, Drawing, boundary_loops, path_data, shaded
from .view import post_bands_deg
from .viewreport import PostSight

PER_DEG = 14.0  # units of the paper
WIDE_DEG, LOW_DEG, HIGH_DEG = 75.0, -30.0, 40.0  # assumed: both A-posts and the header of every car tried
BESIDE_DEG = 85.0  # what lies further to the side is not drawn
STEP_MM = 20.0  # along an edge: at 300 mm from the eye its chord strays 0.1°
LETTER = 1.9 * PER_DEG
ROW = 1.35 * LETTER
_INSIDE, _OUTSIDE, _POST = 0.62, 0.9, 0.5  # how bright a piece's colour is


def eye_drawing(built: Built, report: Report, before: Built | None = None, sag_mm: float = COARSE) -> Drawing:
    """Return what the driver of a car with a measured seat sees.

    Parameters
    ----------
    before : Built, optional
        Whose edges of glass are dashed over it.
    sag_mm : float
        How far an edge of a triangle may lie off the skin.
    """
    car = built.shape.car
    eye = driver_eye_mm(car.seat_mm, car.driver)
    glass, metal = [], []
    for patch in patches_of(built, sag_mm):
        if patch.role not in (METAL, POST, PANE):
            continue
        placed = _placed(patch, built)
        ahead = _ahead(placed, eye)
        if patch.role == PANE:
            glass.append(_filled(ahead, eye, GLASS_COLOUR))
        elif len(ahead.triangles):
            drawn = _sheet(ahead, eye) + (
                _caps(placed, eye) if ahead is placed and patch.role == POST else ""
            )
            metal.append((patch.role == POST, -_away_mm(ahead, eye), drawn))
    drawn = [*glass, *(element for *_, element in sorted(metal))]
    if before is not None:
        drawn.append(_glass_edges(before, eye, sag_mm))
    low, high = np.array([-WIDE_DEG, -HIGH_DEG]) * PER_DEG, np.array([WIDE_DEG, -LOW_DEG]) * PER_DEG
    (x, y), (w, h) = low, high - low
    frame = f'x="{x:g}" y="{y:g}" width="{w:g}" height="{h:g}"'
    clip = f'<clipPath id="eye"><rect {frame}/></clipPath>'
    level = f'<path d="M{x:g} 0h{w:g}M0 {y:g}v{h:g}" stroke="{INK}" stroke-width="1.5" stroke-opacity="0.5"/>'
    border = f'<rect {frame} fill="none" stroke="{INK}" stroke-width="2"/>'
    rows = _bars(built, report, eye, high[1] + 3.8 * ROW)
    elements = (clip, f'<g clip-path="url(#eye)">{"".join(drawn)}{level}</g>', border, *_rulers(low, high))
    room = np.array([5.0 * LETTER, 0.0])
    return Drawing((*elements, *rows), low - room, high + room + (0.0, (2.8 + len(report.view.posts)) * ROW))


def seen_deg(points_mm, eye_mm):
    """Return azimuth and elevation of points from an eye, (n, 2). [deg]"""
    x, y, z = (np.asarray(points_mm) - eye_mm).T
    return np.degrees(np.stack([np.arctan2(y, -x), np.arctan2(z, np.hypot(x, y))], axis=-1))


def _placed(patch: Patch, built: Built) -> Patch:
    return patch.moved(built.moves.get(patch.carrier, IDENTITY))


def _ahead(patch: Patch, eye) -> Patch:
    """Return what of a patch lies within BESIDE_DEG of straight ahead, to either side."""
    for side in (-1.0, 1.0):
        if len(patch.triangles):
            turned = np.radians(BESIDE_DEG) * side
            inward = np.array([-np.sin(abs(turned)), -side * np.cos(turned), 0.0])
            _, patch = split(patch, (patch.point_mm - eye) @ inward)
    return patch


def _away_mm(patch, eye):
    return float(np.linalg.norm(patch.point_mm - eye, axis=1).mean())


def _sheet(patch, eye):
    """Return a patch of sheet or post, what shows its inside darker."""
    colour = colour_of(patch.carrier)
    inside, outside = split(patch, ((eye - patch.point_mm) * patch.normal).sum(axis=1))
    tones = (_POST, _POST) if patch.role == POST else (_INSIDE, _OUTSIDE)
    return "".join(
        _filled(part, eye, shaded(colour, tone)) for part, tone in zip((inside, outside), tones, strict=True)
    )


def _caps(patch, eye):
    """Return the two open ends of a post's box as areas."""
    corners = patch.point_mm.reshape(4, -1, 2, 3)  # as scene.post_mesh gives them: sides, rows, edges
    ends = (shapely.MultiPoint(_on_paper(corners[:, row].reshape(-1, 3), eye)) for row in (0, -1))
    path = path_data([np.array(end.convex_hull.exterior.coords) for end in ends], close=True)
    return f'<path d="{path}" fill="{shaded(colour_of(patch.carrier), _POST)}"/>'


def _filled(patch, eye, colour):
    if not len(patch.triangles):
        return ""
    loops = [_on_paper(_stepped(patch.point_mm[loop]), eye) for loop in boundary_loops(patch)]
    path = path_data(loops, close=True)
    return f'<path d="{path}" fill="{colour}" stroke="{colour}" stroke-width="1"/>'


def _glass_edges(built, eye, sag_mm):
    loops = []
    for patch in patches_of(built, sag_mm):
        if patch.role == PANE:
            placed = _ahead(_placed(patch, built), eye)
            loops += [_on_paper(_stepped(placed.point_mm[loop]), eye) for loop in boundary_loops(placed)]
    return (
        f'<path d="{path_data(loops, close=True)}" fill="none" stroke="{STOCK_INK}" stroke-width="3" '
        'stroke-dasharray="14 9"/>'
    )


def _stepped(line_mm):
    """Return a line with points no more than STEP_MM apart."""
    if len(line_mm) < 2:
        return line_mm
    lengths = np.linalg.norm(np.diff(line_mm, axis=0), axis=1)
    counts = np.maximum(1, np.ceil(lengths / STEP_MM).astype(int))
    owner = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[owner]
    inner = line_mm[owner] + share[:, None] * (line_mm[owner + 1] - line_mm[owner])
    return np.concatenate([inner, line_mm[-1:]])


def _on_paper(points_mm, eye):
    return seen_deg(points_mm, eye) * (PER_DEG, -PER_DEG)


def _rulers(low, high):
    """Return marks every 5° and words every 15° along the foot, every 10° up the left side."""
    across, up = np.arange(-WIDE_DEG, WIDE_DEG + 1, 5.0), np.arange(LOW_DEG, HIGH_DEG + 1, 10.0)
    marks = "".join(f"M{a * PER_DEG:g} {high[1]:g}v{_mark(a)}" for a in across)
    marks += "".join(f"M{low[0]:g} {-e * PER_DEG:g}h-12" for e in up)
    yield f'<path d="{marks}" stroke="{INK}" stroke-width="2"/>'
    for a in across[across % 15 == 0]:
        side = "ahead" if a == 0 else f"{abs(a):g}° {'right' if a > 0 else 'left'}"
        yield _text(a * PER_DEG, high[1] + 18 + LETTER, side, "middle", INK)
    for e in up:
        words = "level" if e == 0 else f"{abs(e):g}° {'up' if e > 0 else 'down'}"
        yield _text(low[0] - 18, -e * PER_DEG + 0.35 * LETTER, words, "end", INK)


def _mark(deg):
    return 16 if deg % 15 == 0 else 9


def _bars(built, report, eye, top):
    """Return a bar for every post in the picture with what it hides in words, a row each."""
    bands, words = post_bands_deg(built, eye), "bars: what a post covers from one point between the eyes"
    out = [_text(-WIDE_DEG * PER_DEG, top - 1.1 * ROW, words, "start", INK)]
    sights = {(post.post, post.side): post for post in report.view.posts}
    in_sight = [key for key, band in bands.items() if key in sights and np.abs(band).min() < WIDE_DEG]
    rows = sorted(in_sight, key=lambda key: bands[key])
    for row, key in enumerate(rows):
        y = top + row * ROW
        left, right = (a * PER_DEG for a in sorted(np.clip(bands[key], -WIDE_DEG, WIDE_DEG)))
        out.append(
            f'<rect x="{left:.1f}" y="{y - 0.75 * LETTER:.1f}" width="{right - left:.1f}" '
            f'height="{LETTER:.1f}" fill="{DIMENSION_INK}"/>'
        )
        is_left = left + right < 0
        at, anchor = (right + 14, "start") if is_left else (left - 14, "end")
        out.append(_text(at, y + 0.1 * LETTER, hides_said(sights[key]), anchor, DIMENSION_INK))
    return out


def hides_said(post: PostSight) -> str:
    """Return what a post hides, before and after, in a few words."""
    before, after = post.two_eye_before_deg, post.two_eye_after_deg
    name = f"{post.post} {post.side}"
    if after is None:
        return f"{name}: not measured at the height of the eyes"
    now, then = f"{after:.1f}°", "" if before is None else f"{before:.1f}°"
    return f"{name} hides {now} from both eyes" + (f", {then} before" if then not in ("", now) else "")


def _text(x, y, words, anchor, ink):
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{LETTER:.1f}" font-family="sans-serif" '
        f'text-anchor="{anchor}" fill="{ink}">{escape(words)}</text>'
    )
