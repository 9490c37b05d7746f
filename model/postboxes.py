"""Where a point lies in a post's box: the foot on its axis, and the frame there."""

from __future__ import annotations

import numpy as np

from .numeric import dot
from .postlines import PostLine

_SAMPLES = 41  # of the axis, from the nearest of which Newton's steps begin
_STEPS = 4


def frames_at_feet(line: PostLine, points_mm):
    """Return the axis parameters of the feet of points (n, 3), and axis points, t, w and d there.

    A foot lies where the axis is square to the way to the point; a fifth past
    an end of the axis it is held.
    """
    stops = np.linspace(0, 1, _SAMPLES)
    axis = line.frame(stops)[0]
    s = stops[np.linalg.norm(points_mm[:, None] - axis[None], axis=2).argmin(axis=1)]
    for _ in range(_STEPS):
        centre, t, _, _ = line.frame(s)
        speed = np.linalg.norm(line._axis(s, nu=1), axis=1)
        s = np.clip(s + dot(points_mm - centre, t) / speed, -0.2, 1.2)
    return s, line.frame(s)
