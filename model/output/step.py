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
from ..moves import IDENTITY
from ..piececolours import part_rgba
from ..solids import SOLIDS, SURFACES, ExactPart, exact_parts

CHOPPED, STOCK = "chopped", "stock"
REMOVED = "removed"


def assembly_of(built: Built, *, stays: str = CHOPPED, form: str = SOLIDS) -> cq.Assembly:
    """Return a plan as a CadQuery assembly.

    Parameters
    ----------
    built : Built
        A plan without roof and window gives the whole stock car.
    stays : str
        ``chopped``: every piece where the plan puts it.  ``stock``: the same
        pieces, cut but still in place, without new metal or glass.
    form : str
        ``solids`` with their gauge, or ``surfaces``: the outside only.
    """
    if stays not in (CHOPPED, STOCK):
        raise ValueError(f"stays must be 'chopped' or 'stock'; got {stays!r}.")
    parts = [p for p in exact_parts(built, form=form) if stays == CHOPPED or not p.is_new]
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
    return part_rgba(part.kind, part.piece)


__all__ = ["CHOPPED", "SOLIDS", "STOCK", "SURFACES", "assembly_of", "colour_of", "write_step"]
