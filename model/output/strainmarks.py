"""What a strain map asks of a shaper: classes with colour and words, and where to write them.

A cell has two principal strains; the one of the larger size is what it is
worked for, along its own direction.  Positive: **stretch** (hammer, planish,
wheel).  Negative: **shrink** (gather, tuck, heat).  Sizes are told apart by
lightness, the two kinds by hue (orange and purple, which colour-blind eyes
keep apart) and by marks, so that a grey copy still says which is which.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from ..blanks import YIELD_STRAIN, StrainMap

LEAST_SHARE = 0.5  # of the greatest strain of its kind: a lesser place gets no label of its own
MOST_LABELS = 4  # of each kind
APART = 0.3  # of the blank's diagonal, between two labels of one kind


@dataclass(frozen=True)
class StrainClass:
    """Strains of a size up to ``to`` and above the class before."""

    to: float
    stretch_colour: str
    shrink_colour: str


CLASSES = (  # the first: what springs back; the others are for reading the picture, no judgement
    StrainClass(YIELD_STRAIN, "#ffffff", "#ffffff"),
    StrainClass(0.005, "#fff0cf", "#efe8f7"),
    StrainClass(0.01, "#fdd49a", "#d6c6ea"),
    StrainClass(0.02, "#fba84f", "#b79bdc"),
    StrainClass(0.05, "#e8731a", "#8d63c2"),
    StrainClass(float("inf"), "#a63603", "#532a8c"),
)


@dataclass(frozen=True, kw_only=True)
class Label:
    """A place to write what the metal needs.

    Attributes
    ----------
    at_mm : (x, y)
        In the blank.
    strain : float
        + stretch, − shrink. [1]
    words : str
        Such as ``SHRINK 1.2 %``.
    """

    at_mm: tuple[float, float]
    strain: float
    words: str


def worked_strains(strain_map: StrainMap):
    """Return each cell's strain of the larger size (p, q), and its direction in the blank (p, q, 2)."""
    first, second = strain_map.strains[..., 0], strain_map.strains[..., 1]
    is_first = first >= -second
    along = strain_map.directions
    across = np.stack([-along[..., 1], along[..., 0]], axis=-1)
    return np.where(is_first, first, second), np.where(is_first[..., None], along, across)


def class_of(strain: float) -> StrainClass:
    """Return the class of a strain of either sign."""
    return next(kind for kind in CLASSES if abs(strain) <= kind.to)


def colour_of(strain: float) -> str:
    """Return the colour of a strain."""
    kind = class_of(strain)
    return kind.stretch_colour if strain > 0 else kind.shrink_colour


def percent(strain: float) -> str:
    """Return a strain's size in percent as it is read in the shop.

    Examples
    --------
    >>> percent(-0.0123), percent(0.004), percent(0.0002)
    ('1.2 %', '0.4 %', 'under 0.1 %')
    """
    size = abs(strain) * 100
    return f"{size:.1f} %" if size >= 0.05 else "under 0.1 %"


def labels_of(strain_map: StrainMap) -> tuple[Label, ...]:
    """Return where to write stretch and shrink: the peaks of each kind, the greatest first, well apart."""
    strains, _ = worked_strains(strain_map)
    corners = strain_map.corners_mm
    middles = (corners[:-1, :-1] + corners[1:, :-1] + corners[:-1, 1:] + corners[1:, 1:]) / 4
    diagonal = np.linalg.norm(np.ptp(corners.reshape(-1, 2), axis=0))
    out = []
    for sign, word in ((1, "STRETCH"), (-1, "SHRINK")):
        size = np.maximum(sign * strains, 0)
        is_peak = (size == ndimage.maximum_filter(size, size=3, mode="nearest")) & (size > YIELD_STRAIN)
        peaks = sorted(
            zip(*np.nonzero(is_peak & (size >= LEAST_SHARE * size.max())), strict=True),
            key=lambda k: -size[k],
        )
        taken = []
        for k in peaks:
            if len(taken) < MOST_LABELS and all(
                np.linalg.norm(middles[k] - middles[other]) > APART * diagonal for other in taken
            ):
                taken.append(k)
        out += [
            Label(
                at_mm=tuple(map(float, middles[k])),
                strain=float(strains[k]),
                words=f"{word} {percent(strains[k])}",
            )
            for k in taken
        ]
    return tuple(out)


def legend() -> list[tuple[str, str, str]]:
    """Return (stretch colour, shrink colour, words) of every class, the least first.

    Examples
    --------
    >>> [words for _, _, words in legend()][:2], legend()[-1][2]
    (['under 0.1 %: leave it', '0.1 to 0.5 %'], 'over 5 %')
    """
    ends = [f"{kind.to * 100:g}" for kind in CLASSES]
    words = [f"under {ends[0]} %: leave it"]
    words += [f"{low} to {high} %" for low, high in zip(ends[:-2], ends[1:-1], strict=True)]
    words.append(f"over {ends[-2]} %")
    return [
        (kind.stretch_colour, kind.shrink_colour, text) for kind, text in zip(CLASSES, words, strict=True)
    ]
