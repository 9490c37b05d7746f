"""Whether what was cut back for new metal left a seam worse than it was.

A cut is undone where afterwards the seam laps, stands open in more stretches
than before, or has new metal that comes nearer to old sheet than a root gap
(:mod:`model.nearness`, on a lattice of the new metal's surface), and nearer
than it did, or bends tighter than its gauge where it did not.
"""

from __future__ import annotations

from collections.abc import Generator

import numpy as np

from .built import Built
from .cutback import CutBack
from .cutdepths import LEAST_MM
from .fillerruns import closes_from_mm, runs_of
from .fillers import fillers_of, filling, least_radius_mm
from .layout import METAL
from .nearness import distances_mm
from .seams import seams_of
from .trimlines import lapping_seams

GIVES_WAY_MM = 0.2  # of a root gap: where two fillers share a corner; see DEVELOPERS
_NEARER_MM = LEAST_MM / 10  # by less than this is not nearer than before
_ACROSS = 9  # places across a filler at which its distance from old sheet is looked up


def spoilt_steps(before: Built, after: Built, cuts: list[CutBack]) -> Generator[None, None, frozenset[str]]:
    """Return the seams that cutting back left worse."""
    limit = closes_from_mm(before)
    names = {cut.seam.name for cut in cuts}
    runs: list[dict] = [{}, {}]
    for found, built in zip(runs, (before, after), strict=True):
        for seam in seams_of(built):
            if seam.name in names:
                found[seam.name] = runs_of(built, seam, limit)
                yield
    laps = {seam.name for seam, _ in lapping_seams(after)}
    worse = {
        name
        for name in names
        if name in laps or name not in runs[1] or len(runs[0][name]) < len(runs[1][name])
    }
    yield
    return frozenset(worse | (yield from _with_worse_metal(before, after, names - worse)))


def _with_worse_metal(before: Built, after: Built, names: set[str]) -> Generator[None, None, set[str]]:
    """Return the seams whose new metal comes too near to old sheet, or folds, where it did so less."""
    least = after.plan.root_gap_mm - GIVES_WAY_MM
    out = set()
    yield from filling(after).steps()
    for name in names:
        yield
        apart = _nearest_mm(after, name)
        yield
        folds = _bends_too_tightly(after, name)
        if apart < least or folds:
            yield from filling(before).steps()
            is_nearer = apart < min(least, _nearest_mm(before, name) - _NEARER_MM)
            if is_nearer or (folds and not _bends_too_tightly(before, name)):
                out.add(name)
    return out


def _bends_too_tightly(built: Built, name: str) -> bool:
    """Return whether any new metal of one seam bends tighter than its gauge."""
    return any(
        least_radius_mm(filler.grid) < filler.thickness_mm
        for filler in fillers_of(built)
        if filler.seam.name == name
    )


def _nearest_mm(built: Built, name: str) -> float:
    """Return how near the new metal of one seam comes to any old sheet. [mm]"""
    pieces = {cell.part for cell in built.layout.cells if cell.role == METAL}
    apart = [np.inf]
    for filler in fillers_of(built):
        if filler.seam.name == name:
            across = np.linspace(0.0, 1.0, _ACROSS)
            uv = np.stack(np.meshgrid(filler.grid.breaks_u, across, indexing="ij"), axis=-1)
            points = filler.grid.point(uv.reshape(-1, 2))
            apart += [float(distances_mm(built, piece, points).min()) for piece in sorted(pieces)]
    return min(apart)
