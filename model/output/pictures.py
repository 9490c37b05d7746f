"""Pictures of every view before and after, as SVG and PNG, to send in a message.

A picture is the drawing of :mod:`model.silhouette` with a line under it that
says what it shows.  Before and after of one view have the same scale and lie
at the same place on the paper, so that one can be laid over the other; after
has the stock outline dashed over it.  From the driver's eye see :mod:`model.eyeview`.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path

import numpy as np
import resvg_py

from ..built import Built, build_on
from ..evaluate import fit_report_of
from ..eyeview import eye_drawing
from ..files import made_folder, write_bytes_atomically, write_text_atomically
from ..plan import Plan
from ..progress import say_nothing
from ..report import Report
from ..silhouette import INK, VIEWS, Drawing, drawing_of, side_drawing
from ..units import shop_inches

WIDTH_PX = 1600  # assumed: sharp on a phone, small enough for a message
SAG_MM = 0.4  # of a curve drawn with straight lines: a third of a pixel of a car 2000 mm wide
MARGIN_MM = 60.0
LETTER = 0.019  # its height as a share of the car's width on the paper
BEFORE, AFTER, MEASURED = "before", "after", "dimensions"
EYE, FROM_EYE = "drivers-eye", "from the driver's eye"
NOT_AN_APPROVAL = "a plan to look at, not an engineering approval"
AS_MEASURED = "as it was measured, nothing cut"
OPEN = f"white between pieces is open: new metal closes it; {NOT_AN_APPROVAL}"

EYE_NOTE = "dashed: the glass before; local law asks for a view; not an engineering approval"


def pictures_of(built: Built, report: Report) -> dict[str, str]:
    """Return {name: SVG}: ``side-before``, ``side-after`` and so on, and ``side-dimensions``.

    From the driver's eye only where a seat was measured.
    """
    stock = build_on(built.shape, Plan())
    car, said = report.car["name"], drops_said(report)
    note = NOT_AN_APPROVAL if report.new_metal else OPEN
    is_stock = built.plan.roof is None and built.plan.window is None
    pictures = {}
    for name, view in VIEWS.items():
        stem = name.replace(" ", "-")
        before = drawing_of(stock, view, sag_mm=SAG_MM)
        pictures[f"{stem}-{BEFORE}"] = captioned(before, f"{car}, {name}: stock", AS_MEASURED)
        if not is_stock:
            after = drawing_of(built, view, sag_mm=SAG_MM)
            pictures[f"{stem}-{AFTER}"] = captioned(after, f"{car}, {name}: {said}", note)
    if not is_stock:
        drawn = side_drawing(built, report, SAG_MM)
        pictures[f"side-{MEASURED}"] = captioned(drawn, f"{car}, side: {said}", note)
    if built.shape.car.seat_mm is not None:
        stock_drawn = eye_drawing(stock, fit_report_of(stock), sag_mm=SAG_MM)
        pictures[f"{EYE}-{BEFORE}"] = captioned(stock_drawn, f"{car}, {FROM_EYE}: stock", EYE_NOTE)
        if not is_stock:
            drawn = eye_drawing(built, report, stock, SAG_MM)
            pictures[f"{EYE}-{AFTER}"] = captioned(drawn, f"{car}, {FROM_EYE}: {said}", EYE_NOTE)
    return pictures


def drops_said(report: Report) -> str:
    """Return in a few words what a plan does, such as ``roof down 2-1/4" in front, 3" at the rear``."""
    unit, totals, window = report.car["unit"], report.totals, report.window

    def length(mm):
        return shop_inches(mm) if unit == "in" else f"{mm:.0f} mm"

    words = []
    if report.posts:
        drops = length(totals.front_drop_mm), length(totals.rear_drop_mm)
        words.append(f"roof down {drops[0]} in front, {drops[1]} at the rear")
    if report.plan.get("window"):
        words.append(f"rear window {_window_said(window, length)}")
    return ", ".join(words) or "stock"


def _window_said(window, length):
    """Return how far the rear window moved, forward before down; under 1/64 in is nothing."""
    moves = (
        (window.rear_forward_mm, "forward", "rearward"),
        (window.rear_down_mm, "down", "up"),
    )
    for mm, positive, negative in moves:
        if abs(mm) > 0.4:
            return f"{length(abs(mm))} {positive if mm > 0 else negative}"
    return "cut out and set back where it was"


def captioned(drawing: Drawing, says: str, note: str) -> str:
    """Return a drawing as a whole SVG file on white, with lines under it that say what it shows."""
    wide = drawing.high[0] - drawing.low[0]
    lines = [f"{says}.", f"{note[0].upper()}{note[1:]}."]
    size = min(LETTER * wide, *(wide / (0.56 * len(line)) for line in lines))  # 0.56: a letter's mean width
    elements = [
        f'<text x="{drawing.low[0]:.0f}" y="{drawing.high[1] + MARGIN_MM + 1.4 * size * (row + 1):.0f}" '
        f'font-size="{size:.0f}" font-family="sans-serif" fill="{INK}">{escape(line)}</text>'
        for row, line in enumerate(lines)
    ]
    room = np.array([0.0, MARGIN_MM + 2.8 * LETTER * wide])
    low, high = drawing.low - MARGIN_MM, drawing.high + room + MARGIN_MM
    (x, y), (w, h) = low, high - low
    paper = f'<rect x="{x:.0f}" y="{y:.0f}" width="{w:.0f}" height="{h:.0f}" fill="#ffffff"/>'
    return Drawing((paper, *drawing.elements, *elements), low, high).svg(WIDTH_PX, 0.0, says)


def png_of(svg: str) -> bytes:
    """Return a picture as PNG, :data:`WIDTH_PX` wide."""
    return bytes(resvg_py.svg_to_bytes(svg_string=svg, width=WIDTH_PX, dpi=96, background="#ffffff"))


def write_pictures(
    built: Built, report: Report, folder, on_progress: Callable[[float, str], None] = say_nothing
) -> list[Path]:
    """Write every picture as SVG and PNG into a folder, made if it is not there; return the files.

    ``on_progress`` is told the share that is done, and of what.

    Raises
    ------
    FileRefused
        If it cannot be written there.
    """
    folder = made_folder(folder)
    files = []
    pictures = pictures_of(built, report)
    for done, (name, svg) in enumerate(pictures.items()):
        on_progress(done / len(pictures), "of the pictures written")
        write_text_atomically(folder / f"{name}.svg", svg)
        write_bytes_atomically(folder / f"{name}.png", png_of(svg))
        files += [folder / f"{name}.svg", folder / f"{name}.png"]
    return files
