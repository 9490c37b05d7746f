"""Seams laid out straight as SVG: three strips over one length, limits drawn, what is past them filled.

Past a limit is filled: a lap or a low side in purple with bars across, a wide gap or a high side in
orange, so that the two keep apart for colour-blind eyes and in greyscale.
"""

from __future__ import annotations

import math
from hashlib import sha256
from html import escape

import numpy as np

from ..report import Report
from ..ribbon import Ribbon, Strip, window_ribbons
from ..units import shop_inches

WIDTH, LEFT, RIGHT = 760.0, 118.0, 14.0
TOP, STRIP, BETWEEN, BOTTOM = 24.0, 66.0, 14.0, 34.0
INK, SOFT, BAND = "#2b3036", "#5b6570", "#e8eef2"
LOW_COLOUR, HIGH_COLOUR = "#7b4fb5", "#d9650f"
_SHOWN = {"mm": 0.4, "deg": 0.05}  # less past a limit is drawn but not written: it would read as nothing
TICK_MM = {"in": 6 * 25.4, "mm": 100.0}
_BELOW, _ABOVE = {"gap": "laps", "step": "panel low", "turn": "hollow"}, {"gap": "wide", "step": "panel high"}


def ribbons_html(report: Report) -> str:
    """Return the seams around the rear window panel, one picture each; nothing if it is not cut out."""
    unit = report.car["unit"]
    pictures = "".join(f"<div>{ribbon_svg(ribbon, unit)}</div>" for ribbon in window_ribbons(report))
    return f'<div class="pd-ribbons">{pictures}</div>' if pictures else ""


def ribbon_svg(ribbon: Ribbon, unit: str) -> str:
    """Return one seam laid out straight; the picture scales with the room it is given."""
    along = ribbon.along_mm
    first, last = float(along[0]), float(along[-1])
    scale = (WIDTH - LEFT - RIGHT) / max(last - first, 1.0)

    def x_of(mm):
        return LEFT + (np.asarray(mm) - first) * scale

    title = escape(f"{ribbon.seam}, laid out straight", quote=True)
    told = escape("; ".join(_told(strip, unit) for strip in ribbon.strips), quote=True)
    bars = f"pd-bars-{sha256(f'{title}{told}'.encode()).hexdigest()[:8]}"  # one name a page for one pattern
    parts, y = [], TOP
    for strip in ribbon.strips:
        parts += _strip(ribbon, strip, x_of, y, unit, bars)
        y += STRIP + BETWEEN
    foot = y - BETWEEN
    parts += _length_axis(ribbon, x_of, foot, unit)
    height = foot + BOTTOM
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{title}: {told}" '
        f'viewBox="0 0 {WIDTH:.0f} {height:.0f}" font-family="sans-serif" font-size="12" '
        f'style="width:100%;max-width:{WIDTH:.0f}px;height:auto;display:block">'
        f"<title>{title}: {told}</title>{_bars(bars)}"
        f'<text x="{LEFT:.0f}" y="14" fill="{INK}" font-weight="600">{title}</text>{"".join(parts)}</svg>'
    )


def _bars(name):
    return (
        f'<defs><pattern id="{name}" width="6" height="6" patternUnits="userSpaceOnUse">'
        f'<rect width="6" height="6" fill="{LOW_COLOUR}" fill-opacity=".45"/>'
        f'<path d="M0 6L6 0" stroke="{LOW_COLOUR}" stroke-width="1.4"/></pattern></defs>'
    )


def _strip(ribbon, strip, x_of, top, unit, bars):
    low, high = strip.reach
    room = 0.08 * (high - low)
    low, high = low - room, high + room

    def y_of(value):
        return top + STRIP * (high - np.asarray(value)) / (high - low)

    left, right = x_of(ribbon.along_mm[[0, -1]])
    band = y_of(strip.high), y_of(strip.low)
    parts = [
        f'<rect x="{left:.1f}" y="{band[0]:.1f}" width="{right - left:.1f}" '
        f'height="{max(band[1] - band[0], 1.0):.1f}" fill="{BAND}"/>',
        f'<rect x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{STRIP:.0f}" fill="none" '
        'stroke="#c4ccd3"/>',
        _level(left, right, float(y_of(strip.wanted)), SOFT, "4 3"),
    ]
    for run in ribbon.runs:
        x, v = x_of(ribbon.along_mm[run]), strip.values[run]
        parts += _past(x, v, strip.low, y_of, -1, f"url(#{bars})")
        parts += _past(x, v, strip.high, y_of, 1, HIGH_COLOUR)
        line = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y_of(v), strict=True))
        parts.append(f'<polyline points="{line}" fill="none" stroke="{INK}" stroke-width="1.6"/>')
    name = {"turn": "turn of skin"}.get(strip.name, strip.name)
    parts.append(f'<text x="6" y="{top + 13:.0f}" fill="{INK}" font-weight="600">{name}</text>')
    parts.append(f'<text x="6" y="{top + 29:.0f}" fill="{SOFT}" font-size="11">{_asked(strip, unit)}</text>')
    for words, below in ((_ABOVE.get(strip.name, "ridge"), False), (_BELOW[strip.name], True)):
        value = strip.values.min() if below else strip.values.max()
        limit = strip.low if below else strip.high
        if (limit - value if below else value - limit) > _SHOWN[strip.unit]:
            at = top + STRIP - (4 if below else 20)
            colour = LOW_COLOUR if below else "#a8480a"
            text = f"{words} {_amount(abs(value), strip.unit, unit)}"
            parts.append(f'<text x="6" y="{at:.0f}" fill="{colour}" font-size="11">{escape(text)}</text>')
    return parts


def _past(x, values, limit, y_of, sign, fill):
    """Return what lies past a limit as filled shapes, cut where the line crosses it."""
    off = sign * (values - limit)
    cross = np.nonzero(off[:-1] * off[1:] < 0)[0]
    share = off[cross] / (off[cross] - off[cross + 1])
    xs = np.concatenate([x, x[cross] + share * (x[cross + 1] - x[cross])])
    vs = np.concatenate([values, np.full(len(cross), limit)])
    order = np.argsort(xs, kind="stable")
    xs, vs = xs[order], vs[order]
    past = sign * (vs - limit) >= 0
    limits = np.nonzero(np.diff(np.concatenate([[False], past, [False]])))[0]
    shapes, base = [], float(y_of(limit))
    for a, b in zip(limits[::2], limits[1::2], strict=True):
        if b - a > 1 and (sign * (vs[a:b] - limit)).max() > 0:
            line = " ".join(f"{p:.1f},{q:.1f}" for p, q in zip(xs[a:b], y_of(vs[a:b]), strict=True))
            shapes.append(
                f'<polygon points="{xs[a]:.1f},{base:.1f} {line} {xs[b - 1]:.1f},{base:.1f}" fill="{fill}" '
                f'fill-opacity="{1 if sign < 0 else 0.55}"/>'
            )
    return shapes


def _length_axis(ribbon, x_of, foot, unit):
    """Return ticks from the centreline, each way, and what the length is measured from."""
    first, last = ribbon.along_mm[[0, -1]]
    step = TICK_MM[unit]
    parts = []
    for k in range(math.ceil(first / step), math.floor(last / step) + 1):
        x = float(x_of(k * step))
        parts.append(f'<line x1="{x:.1f}" y1="{foot:.0f}" x2="{x:.1f}" y2="{foot + 4:.0f}" stroke="{SOFT}"/>')
        text = shop_inches(abs(k * step)) if unit == "in" else f"{abs(k * step):.0f}"
        parts.append(
            f'<text x="{x:.1f}" y="{foot + 16:.0f}" text-anchor="middle" fill="{SOFT}" font-size="11">'
            f"{escape(text)}</text>"
        )
    if ribbon.has_centreline:
        x = float(x_of(0.0))
        parts.append(
            f'<line x1="{x:.1f}" y1="{TOP:.0f}" x2="{x:.1f}" y2="{foot:.0f}" stroke="{SOFT}" '
            'stroke-width=".8" stroke-dasharray="9 3 2 3"/>'
        )
        ends = (("start", float(x_of(first)), "◂ left"), ("end", float(x_of(last)), "right ▸"))
        parts += [
            f'<text x="{at:.1f}" y="{foot + 29:.0f}" text-anchor="{anchor}" fill="{SOFT}" font-size="11">'
            f"{words}</text>"
            for anchor, at, words in ends
        ]
    words = f"along the edge of the {ribbon.pieces[0]}, from the centreline"
    if not ribbon.has_centreline:
        words = f"along the edge of the {ribbon.pieces[0]}"
    middle = (LEFT + WIDTH - RIGHT) / 2
    parts.append(
        f'<text x="{middle:.0f}" y="{foot + 29:.0f}" text-anchor="middle" fill="{SOFT}" font-size="11">'
        f"{escape(words)}</text>"
    )
    return parts


def _level(left, right, y, colour, dashes):
    return (
        f'<line x1="{left:.1f}" y1="{y:.1f}" x2="{right:.1f}" y2="{y:.1f}" stroke="{colour}" '
        f'stroke-dasharray="{dashes}"/>'
    )


def _amount(value, quantity, unit, finest=32):
    """Return a size for reading."""
    if quantity == "deg":
        return f"{value:.1f}°"
    return shop_inches(value, finest) if unit == "in" else f"{value:.1f} mm"


def _asked(strip: Strip, unit):
    """Return what the plan asks for and how far off is still fine."""
    if strip.name == "gap":
        return escape(f"root gap {_amount(strip.wanted, 'mm', unit)}")
    off = _amount((strip.high - strip.low) / 2, strip.unit, unit, 64)
    return escape(f"fine within {off}" if not strip.wanted else f"proud, within {off}")


def _told(strip, unit):
    low, high = (_amount(v, strip.unit, unit) for v in (strip.values.min(), strip.values.max()))
    return f"{strip.name} {low} to {high}"
