"""How the rear window panel meets the shell around it, wherever it is moved: what the fit minimises.

Seams, departures from the uncut skin and their sum are defined in
:mod:`model.windowfit`.  The shell stays; instead of moving the panel's edges
the shell's places are looked at from the moved panel, so that the edges and
their splines are laid once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from .edges import Edges
from .fit import edge_of, nearest_chords, read_on_chords, station_counts, stations, turn_deg
from .layout import METAL, WASTE, WINDOW, Layout
from .measured import Car
from .moves import IDENTITY, RigidMove
from .placing import WindowPlace, window_limits, window_place
from .plan import FIT, WindowMove
from .roofparts import is_roof

BODY_WEIGHT = 0.1  # of a misfit along the body against one along the roof; assumed
TURN_LENGTH_MM = 50.0  # over which a break of the line is seen; assumed
OVER_A_DECK_DEG = 45.0  # a panel flatter than that, from plumb, has a deck under its lower edge; assumed
FITTED = ("forward_mm", "down_mm", "lay_down_deg")


@dataclass(frozen=True, eq=False)
class PanelSeam:
    """The places along one piece's edge around the panel, where the plan puts that piece.

    ``fair`` is what is read on the uncut skin: gap, step and turn, each (n,).
    """

    piece: str
    weight: float
    point_mm: np.ndarray  # (n, 3)
    tangent: np.ndarray
    normal: np.ndarray
    length_mm: np.ndarray  # (n,)
    fair: np.ndarray  # (3, n)


@dataclass(frozen=True, eq=False)
class PanelReading:
    """Departures of a seam from the uncut skin, each (n,).

    Where nothing faces, ``gap_mm`` is the distance and the others are 0.
    """

    gap_mm: np.ndarray
    step_mm: np.ndarray
    break_deg: np.ndarray
    faces: np.ndarray

    def in_mm(self) -> np.ndarray:
        """Return all three as lengths, (3, n)."""
        return np.stack([self.gap_mm, self.step_mm, np.radians(self.break_deg) * TURN_LENGTH_MM])

    def part(self, places) -> PanelReading:
        """Return some of the places."""
        return PanelReading(
            self.gap_mm[places], self.step_mm[places], self.break_deg[places], self.faces[places]
        )


@dataclass(frozen=True, eq=False)
class PanelProblem:
    """Everything that does not change while the panel is moved."""

    window: WindowMove
    pivot_mm: np.ndarray
    top_mm: np.ndarray
    carrier: RigidMove
    edges: Edges  # of the panel, before any move
    seams: tuple[PanelSeam, ...]
    lower_mm: np.ndarray  # (k, 3), samples of the panel's lower edge
    limits: dict[str, tuple[float, float]]
    proud_mm: float

    @cached_property
    def tree(self) -> cKDTree:
        """Samples of the panel's edges, to be asked for the nearest."""
        return cKDTree(self.edges.point_mm)

    @cached_property
    def _places(self):
        """Points, directions and normals, and what is wanted there, of all seams one after another."""
        proud = [self.proud_mm * (seam.weight == 1.0) for seam in self.seams]
        wanted = [
            seam.fair + np.array([[0.0], [up], [0.0]]) for seam, up in zip(self.seams, proud, strict=True)
        ]
        lines = (
            np.concatenate([getattr(seam, name) for seam in self.seams])
            for name in ("point_mm", "tangent", "normal")
        )
        return *lines, np.concatenate(wanted, axis=1)

    @cached_property
    def root_weight(self) -> np.ndarray:
        """Root of every place's share in the sum, (n,)."""
        whole = sum(seam.length_mm.sum() for seam in self.seams)
        return np.concatenate([seam.weight * np.sqrt(seam.length_mm / whole) for seam in self.seams])

    @property
    def free(self) -> tuple[str, ...]:
        """Names of the fields that are to be solved."""
        return tuple(name for name in FITTED if getattr(self.window, name) == FIT)

    @property
    def height_mm(self) -> float:
        """Straight height of the panel on the centreline."""
        return float(np.linalg.norm(self.top_mm - self.pivot_mm))

    @property
    def sink_limit_mm(self) -> float | None:
        """How far the fit lets the lower edge come down: as stated; over a deck the flange, else None."""
        if self.window.sink_mm is not None:
            return self.window.sink_mm
        run = self.top_mm - self.pivot_mm
        is_over_deck = abs(run[0]) > abs(run[2]) * np.tan(np.radians(OVER_A_DECK_DEG))
        return self.window.flange_mm if is_over_deck else None

    def place(self, window: WindowMove) -> WindowPlace:
        """Return where a window move of plain numbers puts the panel."""
        return window_place(window, self.pivot_mm, self.top_mm, self.carrier)

    def turn_sinks_mm(self, lay_down_deg: float) -> float:
        """Return how far the lowest place of the lower edge comes down from the lay-down alone. [mm]"""
        laid = self.place(WindowMove(down_mm=0.0, lay_down_deg=lay_down_deg)).move
        return float((self.lower_mm[:, 2] - laid.points(self.lower_mm)[:, 2]).max())

    def read(self, move: RigidMove) -> PanelReading:
        """Return how all seams, one after another, depart from the uncut skin with the panel moved."""
        places = self._seen_from(move)
        chords = nearest_chords(self.edges, *places[:2])
        return self._reading(chords, *places, self._places[3])

    def slopes_mm(self, moves: list[RigidMove], around: RigidMove) -> list[np.ndarray]:
        """Return the residuals of moves close to another one, each (3n,), on the chords that face there.

        Held to its chords the sum is smooth, and many moves take hardly longer than one.
        """
        place, segment, part = nearest_chords(self.edges, *self._seen_from(around)[:2])
        n, count = len(self.root_weight), len(moves)
        chords = (
            (place + n * np.arange(count)[:, None]).ravel(),
            np.tile(segment, count),
            np.tile(part, count),
        )
        places = (np.concatenate(each) for each in zip(*map(self._seen_from, moves), strict=True))
        reading = self._reading(chords, *places, np.tile(self._places[3], count))
        weighted = np.tile(self.root_weight, count) * reading.in_mm()
        return [weighted[:, n * k : n * (k + 1)].ravel() for k in range(count)]

    def _seen_from(self, move):
        """Return points, directions and normals of the shell as seen from the moved panel."""
        back = move.inverse()
        point, tangent, normal, _ = self._places
        return back.points(point), back.vectors(tangent), back.vectors(normal)

    def _reading(self, chords, at, tangent, normal, wanted):
        gap, step, *angles = read_on_chords(self.edges, chords, at, tangent, normal)
        faces = ~np.isnan(gap)
        gap, step, broken = np.stack([gap, step, turn_deg(*angles)]) - wanted
        if not faces.all():
            gap = np.where(faces, gap, self.tree.query(at)[0])
            step, broken = (np.where(faces, x, 0.0) for x in (step, broken))
        return PanelReading(gap, step, broken, faces)

    def by_seam(self, reading: PanelReading) -> list[PanelReading]:
        """Return a reading of all seams seam by seam."""
        ends = np.cumsum([0] + [len(seam.length_mm) for seam in self.seams])
        return [reading.part(slice(a, b)) for a, b in zip(ends[:-1], ends[1:], strict=True)]

    def residuals_mm(self, move: RigidMove) -> np.ndarray:
        """Return what is squared and summed, (3n,)."""
        return (self.root_weight * self.read(move).in_mm()).ravel()


def panel_problem(
    window: WindowMove, layout: Layout, moves: dict[str, RigidMove], ends_mm, carrier: RigidMove, car: Car
) -> PanelProblem:
    """Return what is to be solved.

    Parameters
    ----------
    moves : dict
        Of every piece of the shell, by name.
    ends_mm : (pivot, top)
        Lower and upper flange edge at the centreline, before the move.
    carrier : RigidMove
        What would move the panel if it were not cut out.
    """
    around: dict[str, list] = {}
    for cell in layout.cells:
        if cell.part == "trimming rear window" and cell.role == WASTE:
            for chain in layout.chains_of[id(cell)]:
                other = chain.beside(cell)
                if other is not None and other.role == METAL and other.part != WINDOW:
                    around.setdefault(other.part, []).append((chain, other))
    border = [
        edge_of(chain, cell, IDENTITY)
        for cell in layout.parts[WINDOW]
        for chain in layout.chains_of[id(cell)]
        if chain.line == "flange"
    ]
    edges = Edges(border)
    is_cut = any(map(is_roof, moves))
    seams = tuple(
        _seam(piece, 1.0 if is_roof(piece) or not is_cut else BODY_WEIGHT, sides, moves, edges)
        for piece, sides in sorted(around.items())
    )
    pivot, top = (np.asarray(p, float) for p in ends_mm)
    return PanelProblem(
        window=window,
        pivot_mm=pivot,
        top_mm=top,
        carrier=carrier,
        edges=edges,
        seams=seams,
        lower_mm=_lower_edge(border, pivot, top),
        limits=window_limits(car),
        proud_mm=window.proud_mm,
    )


def _seam(piece, weight, sides, moves, panel):
    laid = Edges([edge_of(chain, cell, IDENTITY) for chain, cell in sides])
    edge, along, length = stations(laid, np.arange(len(sides)), station_counts(laid))
    point, tangent, normal = laid.at(edge, along)
    chords = nearest_chords(panel, point, tangent)
    gap, step, *angles = read_on_chords(panel, chords, point, tangent, normal)
    move = moves[sides[0][1].carrier]
    return PanelSeam(
        piece,
        weight,
        move.points(point),
        move.vectors(tangent),
        move.vectors(normal),
        length,
        np.stack([gap, step, turn_deg(*angles)]),
    )


def _lower_edge(border, pivot, top):
    """Return the samples of the panel's border below its middle that run more across than along or up."""
    kept = [pivot[None]]
    for edge in border:
        run = np.gradient(edge.point_mm, axis=0)
        across = np.abs(run[:, 1]) > np.hypot(run[:, 0], run[:, 2])
        kept.append(edge.point_mm[across & (edge.point_mm[:, 2] < (pivot[2] + top[2]) / 2)])
    return np.concatenate(kept)
