"""What the report says of the driver's view and headroom: frozen records, no geometry.

Frame: car.  Lengths in mm, angles in degrees, signs as in :mod:`model.report`.
"""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Sight:
    """What one eye sees straight ahead: angles from level to the edges of the windshield's opening.

    In the plane y = that of the eye.  None where no pane lies ahead.  The hood
    is not measured: down is to the edge of the opening only.
    """

    eye: str  # V1, V2 or own
    eye_mm: Point
    up_before_deg: float | None  # + above level
    up_after_deg: float | None
    down_before_deg: float | None  # + below level
    down_after_deg: float | None


@dataclass(frozen=True, kw_only=True)
class PostSight:
    """How much a post and the sheet around it hide, seen from above.

    None where the post was not measured at the height of the sight lines.
    """

    post: str
    side: str
    two_eye_before_deg: float | None  # hidden from both eyes; 0: they look past it
    two_eye_after_deg: float | None
    one_eye_before_deg: float | None  # hidden from the middle between the eyes
    one_eye_after_deg: float | None


@dataclass(frozen=True, kw_only=True)
class RearSight:
    """What the inside mirror shows through the rear window, from the image of the eyes in it."""

    mirror_before_mm: Point
    mirror_after_mm: Point
    is_mirror_measured: bool
    up_before_deg: float  # to the upper edge of the window, + above level
    up_after_deg: float
    down_before_deg: float  # to the lower edge, + below level
    down_after_deg: float
    width_before_deg: float
    width_after_deg: float


@dataclass(frozen=True, kw_only=True)
class HeadReport:
    """Room over the owner's head, plumb, to the inside of the skin; below zero the roof is in the head."""

    stature_mm: float
    crown_mm: Point
    clearance_before_mm: float | None  # None where the roof does not reach over it
    clearance_after_mm: float | None


@dataclass(frozen=True, kw_only=True)
class View:
    """The driver's view before and after.  Empty without a seat."""

    sights: tuple[Sight, ...]
    posts: tuple[PostSight, ...]  # those ahead of the eyes
    rear: RearSight | None
    head: HeadReport | None
    to_measure: tuple[str, ...]  # what would tell more
