"""Triangles on the skin split until no edge sags off it by more than asked.

An edge from P(a) to P(b) sags by |P((a + b) / 2) − (P(a) + P(b)) / 2|, with a
and b in (u, v).  On an arc of radius R a chord c sags by c² / 8 R, so a split
in the middle leaves a quarter.  Whether an edge is split is asked of the edge,
not of a triangle: neighbours agree, and no crack opens between them.
"""

from __future__ import annotations

import numpy as np

from .scene import Mesh
from .skin import Grid

_MOST_ROUNDS = 8  # each quarters the sag
# New triangles by which edges (ab, bc, ca: bits 1, 2, 4) are split; 0-2 are a, b, c, 3-5 the middles.
_SPLIT = {
    0: ((0, 1, 2),),
    1: ((0, 3, 2), (3, 1, 2)),
    2: ((0, 1, 4), (0, 4, 2)),
    4: ((0, 1, 5), (5, 1, 2)),
    3: ((3, 1, 4), (0, 3, 4), (0, 4, 2)),
    6: ((4, 2, 5), (0, 1, 4), (0, 4, 5)),
    5: ((0, 3, 5), (3, 1, 2), (3, 2, 5)),
    7: ((0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5)),
}


def finer_mesh(grid: Grid, mesh: Mesh, sag_mm: float) -> Mesh:
    """Return a mesh of the same region of a grid, with no edge that sags by more than ``sag_mm``.

    Edges that eight halvings do not bring under it are left as they are.
    """
    for _ in range(_MOST_ROUNDS):
        edges, of_triangle = _edges(mesh.triangles)
        middle_uv = mesh.uv[edges].mean(axis=1)
        point, _, _, normal = grid.frame(middle_uv)
        sag = np.linalg.norm(point - mesh.point_mm[edges].mean(axis=1), axis=1)
        is_split = sag > sag_mm
        if not is_split.any():
            break
        number = len(mesh.uv) + np.cumsum(is_split) - 1  # of the new point on each edge that is split
        corners = np.concatenate([mesh.triangles, number[of_triangle]], axis=1)
        pattern = is_split[of_triangle] @ (1, 2, 4)
        triangles = [
            corners[pattern == which][:, new] for which, split in _SPLIT.items() for new in map(list, split)
        ]
        mesh = Mesh(
            np.concatenate([mesh.uv, middle_uv[is_split]]),
            np.concatenate([mesh.point_mm, point[is_split]]),
            np.concatenate([mesh.normal, normal[is_split]]),
            np.concatenate(triangles),
        )
    return mesh


def _edges(triangles):
    """Return the distinct edges (m, 2), and the numbers of each triangle's ab, bc, ca (n, 3)."""
    pairs = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]], axis=2).reshape(-1, 2)
    edges, number = np.unique(pairs, axis=0, return_inverse=True)
    return edges, number.reshape(-1, 3)
