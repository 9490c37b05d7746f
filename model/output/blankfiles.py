"""The blanks of a plan's new metal as drawings, one SVG and one PNG for each piece; walls at true size."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from ..built import Built
from ..errors import PlanError
from ..files import made_folder, write_bytes_atomically, write_text_atomically
from ..fillers import KIND, fillers_of
from ..metalblanks import can_be_formed, filler_blank
from ..progress import say_nothing
from ..report import Report
from .blankpicture import blank_svg
from .pictures import png_of
from .wallpicture import walls_svg


def blank_drawings(
    built: Built, report: Report, on_progress: Callable[[float, str], None] = say_nothing
) -> dict[str, str]:
    """Return {file stem: SVG} of every piece of new metal that can be formed, walls of pieces in posts too.

    ``on_progress`` is told the share that is done, and of what.

    Raises
    ------
    PlanError
        If the plan lets no new metal in.
    """
    if built.plan.new_metal is None:
        raise PlanError(
            "new_metal",
            "must be in a plan for it to have blanks; this one has none.",
            "Add a table [new_metal] to it.",
        )
    metals = {metal.name: metal for metal in report.new_metal}
    drawings = {}
    fillers = fillers_of(built)
    for done, filler in enumerate(fillers):
        on_progress(done / len(fillers), "of the blanks laid flat")
        if can_be_formed(metals[filler.name]):
            blank = filler_blank(filler, built.plan.new_metal.trim_mm)
            if blank is None:
                continue
            pieces = filler.seam.pieces
            drawings[stem_of(filler.name)] = blank_svg(
                blank, name=filler.name, unit=report.car["unit"], side_names=("", "", *pieces)
            )
    for metal in report.new_metal:
        if metal.walls:
            drawings[stem_of(metal.name)] = walls_svg(metal, unit=report.car["unit"])
    return drawings


def without_blank(built: Built, report: Report) -> tuple[str, ...]:
    """Return the names of the pieces that bend too tightly for a blank, or cannot be laid flat surely."""
    metals, trim_mm = {metal.name: metal for metal in report.new_metal}, built.plan.new_metal.trim_mm
    return tuple(
        filler.name
        for filler in fillers_of(built)
        if not can_be_formed(metals[filler.name]) or filler_blank(filler, trim_mm) is None
    )


def stem_of(name: str) -> str:
    """Return a piece's name as the stem of a file.

    Examples
    --------
    >>> stem_of("filler C left, side skin")
    'C-left-side-skin'
    """
    return name.removeprefix(f"{KIND} ").replace(",", "").replace("/", "-").replace(" ", "-")


def write_blanks(
    built: Built, report: Report, folder, on_progress: Callable[[float, str], None] = say_nothing
) -> list[Path]:
    """Write every blank as SVG and PNG into a folder, made if it is not there; return the files.

    Raises
    ------
    PlanError
        If the plan lets no new metal in.
    FileRefused
        If it cannot be written there.
    """
    drawings = blank_drawings(built, report, on_progress)
    folder = made_folder(folder)
    files = []
    for stem, svg in drawings.items():
        write_text_atomically(folder / f"{stem}.svg", svg)
        write_bytes_atomically(folder / f"{stem}.png", png_of(svg))
        files += [folder / f"{stem}.svg", folder / f"{stem}.png"]
    return files
