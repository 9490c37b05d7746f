"""How wide a seam is open or lapped, as a few classes with a colour each.

Purple through cream to orange keeps apart for colour-blind eyes; overlaps are
also beaded where they are drawn, so that they keep apart in greyscale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .units import shop_inches

_INCH = 25.4


@dataclass(frozen=True)
class SeamClass:
    """Gaps up to ``to_mm`` and above the class before; negative is overlap."""

    to_mm: float
    colour: str

    @property
    def is_overlap(self) -> bool:
        """Whether the pieces lie over each other."""
        return self.to_mm < 0


CLASSES = (  # the limits are for reading the picture, no judgement of the weld
    SeamClass(-_INCH / 2, "#3b0f6f"),
    SeamClass(-_INCH / 8, "#7b4fb5"),
    SeamClass(-_INCH / 32, "#b79bdc"),
    SeamClass(_INCH / 16, "#fff4c8"),
    SeamClass(_INCH / 8, "#fdc057"),
    SeamClass(_INCH / 2, "#ee7a1a"),
    SeamClass(float("inf"), "#a63603"),
)


def class_of(gap_mm: float) -> SeamClass:
    """Return the class of a gap, negative for an overlap."""
    return next(kind for kind in CLASSES if gap_mm <= kind.to_mm)


def classes_of(gaps_mm) -> np.ndarray:
    """Return the number of the class of each gap in :data:`CLASSES`, as :func:`class_of`, shape (n,)."""
    return np.searchsorted([kind.to_mm for kind in CLASSES], gaps_mm)


def legend(unit: str) -> list[tuple[str, str]]:
    """Return (colour, words) of every class, deepest overlap first.

    Examples
    --------
    >>> [words for _, words in legend("in")][:2]
    ['lap over 1/2"', 'lap 1/8" to 1/2"']
    """

    def length(mm):
        return shop_inches(mm, 32) if unit == "in" else f"{mm:.1f} mm"

    words = [f"lap over {length(_INCH / 2)}"]
    limits = [kind.to_mm for kind in CLASSES]
    for low, high in zip(limits[:2], limits[1:3], strict=True):
        words.append(f"lap {length(-high)} to {length(-low)}")
    words.append(f"meets, up to {length(limits[3])}")
    for low, high in zip(limits[3:5], limits[4:6], strict=True):
        words.append(f"gap {length(low)} to {length(high)}")
    words.append(f"gap over {length(limits[5])}")
    return list(zip((kind.colour for kind in CLASSES), words, strict=True))
