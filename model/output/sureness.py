"""How sure the numbers are, as text and for the notebook: every ± beside its number."""

from __future__ import annotations

from dataclasses import replace
from html import escape
from math import ceil

from ..tapereport import PlusMinus, Uncertainty
from ..units import shop_inches
from .cells import GAP_INCH, angle_cell, table_lines, wrapped

CUT = ("take-out", "miss fore-and-aft", "miss across")
_INCH = 25.4
BASIS = (
    "± at 95 %, from the tape's graduation and how often each length was read; "
    "a sagging tape or a wrong datum comes on top."
)


def sure_cell(number: PlusMinus | None, unit: str) -> str:
    """Return a number with its ±; the ± in inches goes up to the next 1/64.

    Examples
    --------
    >>> cell = PlusMinus(where="A right", what="take-out", value=67.7, plus_minus=0.6, unit="mm")
    >>> sure_cell(cell, "in"), sure_cell(cell, "mm")
    ('2-11/16" ± 1/32"', '67.7 ± 0.6')
    """
    if number is None:
        return "—"
    spread = spread_cell(number, unit)
    if number.unit == "deg":
        return f"{angle_cell(number.value)} ± {spread}"
    if unit == "in":
        fine = GAP_INCH if number.what.startswith("gap") else 16  # as the other tables read it
        return f"{shop_inches(number.value, fine)} ± {spread}"
    return f"{number.value:.1f} ± {spread}"


def spread_cell(number: PlusMinus, unit: str) -> str:
    """Return the ± of a number by itself, in inches up to the next 1/64."""
    if number.unit == "deg":
        return angle_cell(ceil(number.plus_minus * 10) / 10)
    if unit == "in":
        return shop_inches(ceil(number.plus_minus / _INCH * 64 - 1e-9) / 64 * _INCH, 64)
    return f"{ceil(number.plus_minus * 10 - 1e-9) / 10:.1f}"


_WAYS = {"miss fore-and-aft": ("rearward", "forward"), "miss across": ("inboard", "outboard")}


def cut_cell(number: PlusMinus | None, unit: str) -> str:
    """Return a take-out or a miss with its ±, the miss's direction in words."""
    if number is not None and number.what in _WAYS:
        if abs(number.value) < 0.05 and number.plus_minus < 0.05:
            return "none, by the plan"
        word = "" if abs(number.value) < 0.05 else " " + _WAYS[number.what][number.value < 0]
        return sure_cell(replace(number, value=abs(number.value)), unit) + word
    return sure_cell(number, unit)


def is_doubtful(number: PlusMinus) -> bool:
    """Return whether a length that would be acted on cannot be told from none."""
    return number.unit == "mm" and 0.4 < abs(number.value) <= number.plus_minus


def sureness_lines(uncertainty: Uncertainty | None, unit: str) -> list[str]:
    """Return the section of a report on take-outs and misses, and what to read again."""
    if uncertainty is None or not uncertainty.numbers:
        return []
    posts = dict.fromkeys(n.where for n in uncertainty.numbers if n.what in CUT)
    rows = [[post, *(cut_cell(uncertainty.of(post, what), unit) for what in CUT)] for post in posts]
    doubtful = [n for n in uncertainty.numbers if is_doubtful(n)]
    return [
        *wrapped(BASIS, "HOW SURE THE CUT IS   ", "  "),
        *table_lines(["post", *CUT], rows),
        *(line for n in doubtful for line in wrapped(_doubt(n, unit), "  ! ")),
        *_again_lines(uncertainty),
    ]


def tape_text(car, plan, uncertainty: Uncertainty) -> str:
    """Return every ± of a plan as text."""
    unit = car.unit
    others = [n for n in uncertainty.numbers if n.what not in CUT]
    gaps = list(dict.fromkeys(n.where for n in others if n.what.startswith("gap ")))
    ends = ("gap min", "gap mean", "gap max")
    lines = [f"{car.name}   plan: {plan.name or 'stock'}", ""]
    lines += sureness_lines(uncertainty, unit) if any(n.what in CUT for n in uncertainty.numbers) else [BASIS]
    if gaps:
        rows = [[seam, *(sure_cell(uncertainty.of(seam, end), unit) for end in ends)] for seam in gaps]
        lines += ["", "GAPS   negative: overlap", *table_lines(["seam", "least", "mean", "greatest"], rows)]
    rest = [[n.where, n.what, sure_cell(n, unit)] for n in others if n.where not in gaps]
    lines += ["", "THE REST", *table_lines(["", "", ""], rest, words=2)[1:]]
    return "\n".join(lines) + "\n"


def _doubt(number, unit):
    return f"{number.where}: {number.what} {cut_cell(number, unit)} cannot be told from none with this tape."


def _again_lines(uncertainty):
    if not uncertainty.take_again:
        return []
    lines = ["  Measured once more, these would shrink the doubt about the cut the most:"]
    for number, again in enumerate(uncertainty.take_again, start=1):
        lines += wrapped(_again(again), f"  {number}. ")
    return lines


def _again(again):
    of, less = again.of, 1 - again.plus_minus_then / again.of.plus_minus
    return (
        f"{again.place}: {again.what} ({again.share:.0%} of the doubt; takes {less:.0%} off the ± of "
        f"{of.where}, {of.what})"
    )


def sureness_html(uncertainty: Uncertainty | None, unit: str) -> str:
    """Return what is sure and what is not, as a table and three measurements to take again."""
    if uncertainty is None or not uncertainty.numbers:
        return '<p class="pd-quiet">The posts are not cut.</p>'

    def cell(number):
        text = escape(cut_cell(number, unit))
        return f"<b>{text} ?</b>" if number is not None and is_doubtful(number) else text

    posts = dict.fromkeys(n.where for n in uncertainty.numbers if n.what in CUT)
    rows = [(post, [cell(uncertainty.of(post, what)) for what in CUT]) for post in posts]
    rest = [n for n in uncertainty.numbers if n.what not in CUT]
    body = "".join(
        f'<tr><td class="pd-word"><b>{escape(post)}</b></td>'
        + "".join(f'<td class="pd-num">{text}</td>' for text in cells)
        + "</tr>"
        for post, cells in rows
    )
    heads = '<th class="pd-word">post</th>' + "".join(f'<th class="pd-num">{name}</th>' for name in CUT)
    others = "".join(
        f'<tr><td class="pd-word">{escape(n.where)}</td><td class="pd-word">{escape(n.what)}</td>'
        f'<td class="pd-num">{cell(n)}</td></tr>'
        for n in rest
    )
    others = (
        f'<details><summary>gaps, weld, headroom and rakes</summary><table class="pd-table">{others}</table>'
        "</details>"
        if others
        else ""
    )
    again = "".join(f"<li>{escape(_again(a))}</li>" for a in uncertainty.take_again)
    again = (
        f"<p>Measured once more, these would shrink the doubt the most:</p><ol>{again}</ol>" if again else ""
    )
    doubtful = any(is_doubtful(n) for n in uncertainty.numbers)
    note = "<p><b>?</b> cannot be told from none with this tape.</p>" if doubtful else ""
    return (
        f'<p class="pd-quiet">{escape(BASIS)}</p><table class="pd-table"><thead><tr>{heads}</tr></thead>'
        f"<tbody>{body}</tbody></table>{note}{again}{others}"
    )
