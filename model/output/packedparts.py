"""Parts of the 3-D picture packed into text, for a page that has to be small and complete.

A position p, mm in the car's frame, is written as a whole number q of 16 bits::

    q = round((p − low) / step) − 32768        step = longest side of the box / 65535

so that the page's p' = low + step (q + 32768) is at most step / 2 off, 0.03 mm
on a car 4 m long.  Numbers are little-endian, in base64; indices have 16 bits
where a part has few enough points.
"""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass

import numpy as np

_LOWEST, _STEPS = -32768, 65535


@dataclass(frozen=True, eq=False)
class Box:
    """Where the numbers of a page begin, and how far apart they are. [mm]"""

    low_mm: np.ndarray  # (3,)
    step_mm: float


def box_of(pictures) -> Box:
    """Return the box around pictures, each {part: raw arrays} as of :func:`model.viewparts.parts_of`."""
    points = [_points(part) for parts in pictures for part in parts.values()]
    low = np.min([each.min(axis=0) for each in points if len(each)], axis=0)
    high = np.max([each.max(axis=0) for each in points if len(each)], axis=0)
    return Box(low.astype(float), float((high - low).max()) / _STEPS)


def packed(part: dict, box: Box) -> dict:
    """Return a part with its arrays as text."""
    points = _points(part)
    whole = np.rint((points - box.low_mm) / box.step_mm) + _LOWEST
    index = np.frombuffer(part["index"], np.uint32)
    is_wide = len(points) > 65535
    out = {"position": _text(whole.astype("<i2")), "index": _text(index.astype("<u4" if is_wide else "<u2"))}
    out |= {"is_wide": is_wide, "names": part.get("names", [])}
    return out | {name: b64encode(part[name]).decode() for name in ("normal", "colour") if name in part}


def _points(part):
    return np.frombuffer(part["position"], np.float32).reshape(-1, 3)


def _text(array):
    return b64encode(array.tobytes()).decode()
