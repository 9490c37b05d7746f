"""Plans side by side as text and as HTML: the first as it is, every other with what it has more or less."""

from __future__ import annotations

from html import escape

from .cells import table_lines, wrapped
from .headlines import HEADLINES, NO_CHANGE
from .text import CAUTION_ROAD, lengths_line

_NAME_LENGTH, _IN_A_BLOCK = 22, 3


def comparison_text(reports) -> str:
    """Return plans of one car side by side, three to a block of at most 100 columns."""
    blocks = [reports[i : i + _IN_A_BLOCK] for i in range(0, len(reports), _IN_A_BLOCK)]
    unit = reports[0].car["unit"]
    lines = [f"{reports[0].car['name']}: {len(reports)} plans side by side", lengths_line(unit)]
    for block in blocks:
        names = [_shortened(report.plan["name"], _NAME_LENGTH) for report in block]
        rows = [[line.label, *(line.text(report, unit) for report in block)] for line in HEADLINES]
        lines += ["", *table_lines(["", *names], rows)]
    return "\n".join([*lines, "", *wrapped(CAUTION_ROAD, "  Caution: ", "  ")]) + "\n"


def comparison_html(reports, names) -> str:
    """Return a table: a column for each plan, and how it differs from the first; what differs stands out.

    Parameters
    ----------
    reports : sequence of Report
        Of one car, the first being the one the others are held against.
    names : sequence of str
        What the columns are called.
    """
    unit, base, others = reports[0].car["unit"], reports[0], reports[1:]
    heads = "".join(f'<th scope="col" class="pd-num">{escape(name)}</th>' for name in names)
    rows = []
    for line in HEADLINES:
        changes = [line.difference(report, base, unit) for report in others]
        cells = [f'<td class="pd-num">{escape(line.text(base, unit))}</td>']
        for report, change in zip(others, changes, strict=True):
            note = "" if change == NO_CHANGE else f"<b>{escape(change)}</b>"
            cells.append(f'<td class="pd-num">{escape(line.text(report, unit))}{note}</td>')
        kind = ' class="pd-alike"' if others and set(changes) == {NO_CHANGE} else ""
        rows.append(
            f'<tr{kind}><th scope="row" class="pd-word">{escape(line.label)}</th>{"".join(cells)}</tr>'
        )
    against = f"Below each number, what it has more (+) or less (−) than {names[0]}." if others else ""
    return (
        f'<p class="pd-quiet">{escape(against)}</p><table class="pd-table pd-compared"><thead><tr>'
        f"<td></td>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
        f'<p class="pd-caution">{escape(CAUTION_ROAD)}</p>'
    )


def _shortened(text, size):
    return text if len(text) <= size else text[: size - 1] + "…"
