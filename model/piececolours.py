"""One colour for every part, the same in every picture, in STEP and in GLB.

The colours of pieces are told apart by colour-blind eyes too.
"""

from __future__ import annotations

from functools import lru_cache

from .display import KEEP_OUT, POST
from .fillers import KIND as FILLER
from .hingepieces import KIND as HINGE_PIECE
from .layout import BODY, GLASS_WASTE, PANE, ROOF, WASTE, WINDOW
from .postpieces import KIND as POST_PIECE
from .roofparts import is_roof

COLOURS = {BODY: "#c3c7cb", ROOF: "#6fa3cf", WINDOW: "#6bbf9f"}
SHIFTED_COLOUR, STRIP_COLOUR, SLUG_COLOUR, GLASS_COLOUR = "#e4d06f", "#c9a227", "#c9735a", "#cfe3ea"
FILLER_COLOUR = "#7a2d4f"  # dark, so that no lap is taken for it, in greyscale too
KEEP_OUT_COLOUR = "#c9b79c"
BEHIND = 6  # tenths of a piece's colour that its posts have: they stand behind the skin
_BY_KIND = {
    PANE: GLASS_COLOUR,
    GLASS_WASTE: GLASS_COLOUR,
    WASTE: SLUG_COLOUR,
    KEEP_OUT: KEEP_OUT_COLOUR,
}
_OPACITY = {PANE: 0.4, GLASS_WASTE: 0.4, KEEP_OUT: 0.5}


def colour_of(carrier: str) -> str:
    """Return the colour of a piece; the parts of a split roof have the roof's."""
    if is_roof(carrier):
        return COLOURS[ROOF]
    if carrier in COLOURS:
        return COLOURS[carrier]
    if carrier.startswith((FILLER, POST_PIECE, HINGE_PIECE)):
        return FILLER_COLOUR
    return STRIP_COLOUR if carrier.endswith("strip") else SHIFTED_COLOUR


@lru_cache(maxsize=64)
def rgb_of(colour: str) -> tuple[int, int, int]:
    """Return red, green and blue of ``#rrggbb``, 0 to 255.

    Examples
    --------
    >>> rgb_of("#ff8000")
    (255, 128, 0)
    """
    return tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5))


def part_rgb(kind: str, carrier: str) -> tuple[int, int, int]:
    """Return red, green and blue, 0 to 255 as on a screen, of a part that moves with a piece."""
    colour = rgb_of(_BY_KIND.get(kind) or colour_of(carrier))
    return tuple(each * BEHIND // 10 for each in colour) if kind == POST else colour


def part_rgba(kind: str, carrier: str) -> tuple[float, float, float, float]:
    """Return the same from 0 to 1, with the opacity."""
    return *(each / 255 for each in part_rgb(kind, carrier)), _OPACITY.get(kind, 1.0)
