"""Integrals over a cell of the skin without the CAD kernel.

By Green's theorem ∬ f du dv = ∮ F dv around the cell, F(u, v) = ∫ f du from
a fixed u; Gauss points along every span of every edge, and in every knot span
along u.
"""

import numpy as np

from model.exactfaces import runs_with_edge
from model.skinlines import curvatures

_X, _W = np.polynomial.legendre.leggauss(5)
_X_IN, _W_IN = np.polynomial.legendre.leggauss(8)


def cell_area(faces, cell):
    """Return the area of a cell. [mm²]"""
    return cell_integrals(faces, cell, is_curvature_asked=False)[0]


def cell_integrals(faces, cell, *, is_curvature_asked=True):
    """Return area [mm²], ∫ H dA [mm] and ∫ K dA [1] of a cell."""
    grid = cell.grid
    start = grid.breaks_u[np.searchsorted(grid.breaks_u, cell.polygon.bounds[0], side="right") - 1]
    total = np.zeros(3)
    for ring in faces.rings[id(cell)]:
        for chain, forward in ring:
            line = faces.lines[id(chain)]
            breaks = np.unique(line.uv.t)
            if line.is_border:
                breaks = line.samples
            half, middle = np.diff(breaks) / 2, (breaks[:-1] + breaks[1:]) / 2
            t = (middle[:, None] + half[:, None] * _X).ravel()
            weight = (half[:, None] * _W).ravel()
            uv, dv = line.uv(t), line.uv(t, 1)[:, 1]
            sign = 1.0 if runs_with_edge(chain, forward) else -1.0
            total += sign * (weight * dv) @ _along_u(grid, start, uv, is_curvature_asked)
    return total


def _along_u(grid, start, uv, is_curvature_asked):
    """Integrate area, H and K elements from u = start to each point at its v, shape (n, 3)."""
    out = np.zeros((len(uv), 3))
    for low, high in zip(grid.breaks_u[:-1], grid.breaks_u[1:], strict=True):
        if high <= start:
            continue
        here = np.nonzero(uv[:, 0] > low)[0]
        if not len(here):
            continue
        end = np.minimum(uv[here, 0], high)
        half = (end - low) / 2
        u = low + half[:, None] * (1 + _X_IN)
        places = np.stack([u, np.broadcast_to(uv[here, 1:], u.shape)], axis=-1).reshape(-1, 2)
        _, du, dv = grid.tangents(places)
        area = np.linalg.norm(np.cross(du, dv), axis=1)
        mean, gauss = curvatures(grid, places) if is_curvature_asked else (0.0 * area, 0.0 * area)
        values = np.stack([area, area * mean, area * gauss], axis=-1).reshape(*u.shape, 3)
        out[here] += half[:, None] * np.einsum("q,nqk->nk", _W_IN, values)
    return out
