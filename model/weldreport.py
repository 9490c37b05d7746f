"""What the weld plan says: frozen records, no geometry.

Frame: car.  Lengths in mm, masses in g, times in minutes.  ``(low, high)`` is
a range: what the rules give at their ends, not a tolerance.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from .doorframes import DoorSeam

Point = tuple[float, float, float]
Range = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class WeldRule:
    """A rule that the plan was made by, and where it is from."""

    what: str
    rule: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """A piece of a run that is welded without a stop; ``turn`` counts from 1."""

    turn: int
    from_mm: float  # from the run's mark
    to_mm: float


@dataclass(frozen=True, kw_only=True)
class WeldRun:
    """An unbroken part of a seam, measured from the mark at its first end.

    The mark and the end are None where nothing faces the edge.  ``tacks_mm``
    are in the order in which they are set, ``stretches`` in that in which they
    are welded.
    """

    part: str  # face of a post's box, else empty
    mark_mm: Point | None
    end_mm: Point | None
    length_mm: float
    tacks_mm: tuple[float, ...]
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True, kw_only=True)
class WeldSeam:
    """One seam as it is welded.

    ``crown_mm`` is how far the sheet beside it bulges over a straightedge of
    the plan's ``chord_mm``, at the place where it bulges least; None for a box and
    between two pieces of new metal.
    """

    name: str
    kind: str
    side: str
    pieces: tuple[str, str]
    joint: str
    access: str
    length_mm: float
    sheet_mm: tuple[float, float]  # thickness of either piece
    root_gap_mm: float  # as planned
    gap_mm: Range | None  # as it comes out before anything is closed; None: no facing edge
    is_ready: bool  # nowhere wider than a weld closes, nowhere lapping
    crown_mm: float | None
    is_low_crown: bool
    tack_pitch_mm: float
    runs: tuple[WeldRun, ...]
    filler_g: Range
    arc_min: Range
    shrink_mm: Range  # across the seam


@dataclass(frozen=True, kw_only=True)
class WeldStep:
    """One step of the order of work; left and right by turns."""

    do: str  # tack or weld
    seams: tuple[str, ...]
    why: str


@dataclass(frozen=True, kw_only=True)
class PanelPull:
    """What shrinkage along two opposite edges would do to the largest panel.

    ``falls_mm``: the seams shrink across and the frame holds the edges apart.
    ``rises_mm``: the edges shorten along themselves and the middle does not.
    """

    panel: str
    along: str  # along the centreline, or across the middle
    chord_mm: float
    crown_mm: float
    edges_welded: int  # of the two ends of that chord
    shrink_mm: Range  # of one seam, across
    falls_mm: Range
    rises_mm: Range


@dataclass(frozen=True, kw_only=True)
class WeldPlan:
    """How one plan's seams are welded."""

    car: dict
    plan: str
    chord_mm: float
    seams: tuple[WeldSeam, ...]
    steps: tuple[WeldStep, ...]
    pulls: tuple[PanelPull, ...]
    length_mm: float
    low_crown_mm: float  # length of seams in low-crown sheet
    filler_g: Range
    wire_m: Range  # of the wire named in the rules
    arc_min: Range
    bench_min: Range  # arc time over the share of the hours in which the arc burns
    rules: tuple[WeldRule, ...]
    door_seams: tuple[DoorSeam, ...] = ()  # of the doors' own frames: in none of the sums above
    door_frame_mm: float = 0.0

    def to_json(self) -> dict:
        """Return plain lists, dicts, numbers and strings, as the schema says."""
        return asdict(self)

    def seam(self, name: str) -> WeldSeam:
        """Return the seam called ``name``."""
        return next(s for s in self.seams if s.name == name)
