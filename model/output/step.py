"""STEP: the car as an assembly of named, coloured parts, in millimetres.

The assembly's name is the car's.  A part is written where it is on the uncut
car; the plan's move is its placement in the assembly.  What is cut out
(slugs, trimmings, glass) is in the sub-assembly ``removed``, where it was.
"""

from __future__ import annotations

import contextlib
import io

import cadquery as cq

from ..built import Built
from ..exactkernel import location_of
from ..files import written_beside
from ..layout import GLASS_WASTE, METAL, PANE, WASTE, WINDOW
from ..moves import IDENTITY
from ..solids import KEEP_OUT, POST, SOLIDS, SURFACES, ExactPart, exact_parts

CHOPPED, STOCK = "chopped", "stock"
REMOVED = "removed"

# Red, green, blue and opacity as shown on a screen (sRGB).
_BODY_METAL = (0.36, 0.43, 0.52, 1.0)
_MOVED_METAL = (0.72, 0.33, 0.24, 1.0)
_WINDOW_METAL = (0.85, 0.62, 0.25, 1.0)
_COLOURS = {
    POST: (0.55, 0.55, 0.50, 1.0),
    PANE: (0.60, 0.80, 0.85, 0.4),
    WASTE: (0.75, 0.75, 0.75, 1.0),
    GLASS_WASTE: (0.80, 0.88, 0.90, 0.4),
    KEEP_OUT: (0.45, 0.65, 0.35, 0.5),
}


def assembly_of(built: Built, *, stays: str = CHOPPED, form: str = SOLIDS) -> cq.Assembly:
    """Return a plan as a CadQuery assembly.

    Parameters
    ----------
    built : Built
        A plan without roof and window gives the whole stock car.
    stays : str
        ``chopped``: every piece where the plan puts it.  ``stock``: the same
        pieces, cut but still in place.
    form : str
        ``solids`` with their gauge, or ``surfaces``: the outside only.
    """
    if stays not in (CHOPPED, STOCK):
        raise ValueError(f"stays must be 'chopped' or 'stock'; got {stays!r}.")
    parts = exact_parts(built, form=form)
    whole = cq.Assembly(name=f"{built.shape.car.name} ({stays})".replace("/", "-"))
    removed = cq.Assembly(name=REMOVED)
    for part in parts:
        move = IDENTITY if stays == STOCK else part.move
        (removed if part.is_removed else whole).add(
            cq.Shape.cast(part.shape),
            name=part.name.replace("/", "-"),
            loc=cq.Location(location_of(move)),
            color=cq.Color(*colour_of(part)),
        )
    if removed.children:
        whole.add(removed, name=REMOVED)
    return whole


def write_step(built: Built, path, *, stays: str = CHOPPED, form: str = SOLIDS) -> None:
    """Write a plan as a STEP file; see :func:`assembly_of` for the choices.

    The file is written beside its place and renamed when it is complete.

    Raises
    ------
    FileRefused
        If it cannot be written there.
    """
    with written_beside(path) as beside:
        whole = assembly_of(built, stays=stays, form=form)
        with contextlib.redirect_stdout(io.StringIO()):
            whole.export(str(beside), exportType="STEP")
        if not beside.stat().st_size:
            raise OSError(0, "the CAD kernel wrote nothing")


def colour_of(part: ExactPart) -> tuple[float, float, float, float]:
    """Return red, green, blue and opacity of a part, 0 to 1, as shown on a screen."""
    if part.kind != METAL:
        return _COLOURS[part.kind]
    if part.name == "body":
        return _BODY_METAL
    return _WINDOW_METAL if part.name == WINDOW else _MOVED_METAL


__all__ = ["CHOPPED", "SOLIDS", "STOCK", "SURFACES", "assembly_of", "colour_of", "write_step"]
