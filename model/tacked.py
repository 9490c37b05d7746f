"""The tacked roof measured again, and what was found of it: frozen records, no geometry.

:meth:`TackedReport.to_json` is a machine contract; its schema is
``schemas/tacked.schema.json``.  Frame: car (x to the rear, y to the car's
right, z up).  Lengths in mm, angles in degrees.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

Point = tuple[float, float, float]
AXES = ("x", "y", "z")


@dataclass(frozen=True, kw_only=True)
class TackedPoint:
    """One marked point of the tacked roof.

    Attributes
    ----------
    name : str
        A marked point of the car (:mod:`model.markedpoints`), or any name where ``before_mm`` is given.
    at_mm : (x, y, z)
        Where it is on the tacked roof; None for a coordinate that was not measured.
    before_mm : (x, y, z) or None
        Where it was measured on the uncut roof; None: as the car file has it.
    """

    name: str
    at_mm: tuple[float | None, float | None, float | None]
    before_mm: Point | None = None


@dataclass(frozen=True, kw_only=True)
class TackedRoof:
    """What was measured of a tacked roof; ``tape_mm`` is the finest mark of the tape that measured it."""

    points: tuple[TackedPoint, ...]
    tape_mm: float


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """A number and its ± at 95 %; both None where the points measured cannot tell it."""

    value: float | None
    plus_minus: float | None

    @property
    def shows(self) -> bool:
        """Whether it is more than the tape's doubt."""
        return self.value is not None and abs(self.value) > self.plus_minus


@dataclass(frozen=True, kw_only=True)
class Place:
    """A place where a person takes hold of the roof, and how it has to move to meet the plan.

    Attributes
    ----------
    name : str
        ``roof``, ``front``, ``rear``, ``right side``, ``left side``, or a corner such as ``right rear``.
        A corner is where the roof's end of an end post lands; the others are means of corners.
    planned_mm : (x, y, z)
    raise_mm, back_mm, right_mm : Estimate
        What to do: + raise, bring back, move to the right; − lower, forward, left.
    """

    name: str
    planned_mm: Point
    raise_mm: Estimate
    back_mm: Estimate
    right_mm: Estimate


@dataclass(frozen=True, kw_only=True)
class Bend:
    """How the roof differs from itself: what no rigid move undoes.

    Attributes
    ----------
    kind : str
        ``twist``: right rear and left front stand high by the amount, the other two corners low.
        ``spread``: either side stands out by the amount at the posts; negative: in.
        ``bow``: the middle between front and rear posts stands high by the amount; negative: it sags.
    shows : bool
        Whether it is more than chance makes of the tape's doubt; only then is it allowed for.
    """

    kind: str
    amount_mm: Estimate
    shows: bool


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A reading that the others contradict."""

    point: str
    axis: str
    too_much_mm: Estimate  # + reads too far back (x), right (y) or high (z)


@dataclass(frozen=True, kw_only=True)
class PostAsTacked:
    """Where the upper end of one post stands, planned and as tacked; signs as in the report of the plan.

    Gaps are square to the cut plane, over the axis and the four corner edges.
    """

    post: str
    side: str
    miss_fore_aft_planned_mm: float
    miss_fore_aft_mm: Estimate
    miss_across_planned_mm: float
    miss_across_mm: Estimate
    gap_planned_mm: float
    gap_mm: Estimate  # at the axis
    gap_min_mm: float | None
    gap_max_mm: float | None


@dataclass(frozen=True, kw_only=True)
class PointAsTacked:
    """One marked point: where the plan puts it, where it is, and what move and bends leave unexplained."""

    name: str
    planned_mm: Point
    measured_mm: tuple[float | None, float | None, float | None]
    unexplained_mm: tuple[float | None, float | None, float | None]
    is_mirrored: bool  # planned from the mirror image of the side that was measured


@dataclass(frozen=True, kw_only=True)
class TackedReport:
    """How a tacked roof stands against its plan, and what to do about it.

    Attributes
    ----------
    readings, readings_to_spare : int
        Used, and of these more than the unknowns need.
    reading_sd_mm : float
        Standard deviation of measured − planned of one coordinate; the largest.
    misfit : float
        Size of the residuals against what the tape explains; about 1 if all is well.
    rotation, translation_mm
        The rigid move found: a point that should be at P is at rotation @ P + translation.
        Where the points leave a part of it open, the smallest move that fits them.
    centre_mm : (x, y, z)
        Middle of the four corners where the plan puts them; ``stands_…`` are seen there.
    pitch_deg, roll_deg, yaw_deg : Estimate
        How it is turned about +y (+ rear down), +x (+ right side up) and +z (+ rear to the right).
    advice, notes : tuple of str
        Sentences in the car's unit: what to do; what to know before doing it.
    """

    car: str
    plan: str
    unit: str
    readings: int
    readings_to_spare: int
    reading_sd_mm: float
    misfit: float
    rotation: tuple[Point, Point, Point]
    translation_mm: Point
    centre_mm: Point
    stands_back_mm: Estimate
    stands_right_mm: Estimate
    stands_up_mm: Estimate
    pitch_deg: Estimate
    roll_deg: Estimate
    yaw_deg: Estimate
    places: tuple[Place, ...]
    bends: tuple[Bend, ...]
    left_out: tuple[LeftOut, ...]
    doubtful: tuple[str, ...]
    posts: tuple[PostAsTacked, ...]
    points: tuple[PointAsTacked, ...]
    advice: tuple[str, ...]
    notes: tuple[str, ...]

    def to_json(self) -> dict:
        """Return plain lists, dicts, numbers and strings, as the schema says."""
        return asdict(self)

    def place(self, name: str) -> Place:
        """Return the place called ``name``."""
        return next(place for place in self.places if place.name == name)
