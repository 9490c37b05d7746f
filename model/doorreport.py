"""What the report says of doors and side glass: frozen records, no geometry.

Frame: car.  Lengths in mm, angles in degrees, signs as in :mod:`model.report`.
"""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float, float]
Place = tuple[float, float]  # in a pane's own plane: level, + rearward; up the glass

DOOR, FIXED = "door", "fixed"


@dataclass(frozen=True, kw_only=True)
class DoorLeg:
    """One leg of a door's upper frame, cut as the post beside it is cut.

    A leg is a line here, the edge of the glass: its section was not measured.
    """

    leg: str  # front or rear
    post: str  # the post it stands beside
    cut: str  # level, square or given
    cut_height_mm: float  # z of the lower cut
    lean_side_deg: float
    lean_front_deg: float
    take_out_mm: float  # along the leg
    removed_mm: float  # mark to mark: take-out and the root gap
    lower_mm: Point
    upper_mm: Point
    miss_fore_aft_mm: float  # if the whole frame came down with the roof
    miss_across_mm: float
    bead_mm: float  # around the frame's section, assumed, in the cut plane
    room_mm: float  # from the cuts to the nearer end of the straight leg; below zero: too short


@dataclass(frozen=True, kw_only=True)
class PaneCorner:
    """An upper corner of a pane, where edge and rail would meet without a radius.

    ``angle`` is inside the pane between the edge and the rail, in side view;
    ``lean_front`` that of the line from the lower end of the edge to the corner.
    """

    corner: str  # front or rear
    before_mm: Point
    after_mm: Point
    angle_before_deg: float
    angle_after_deg: float
    lean_front_before_deg: float
    lean_front_after_deg: float
    jog_mm: float  # how far the moved metal has to be brought along the car, + rearward


@dataclass(frozen=True, kw_only=True)
class WellReport:
    """A pane going down into its door, along the glass."""

    depth_mm: float | None  # of the well below the glass opening; None: not measured
    room_mm: float | None  # outboard of the pane's lower edge down there; None: not measured
    stands_before_mm: float | None  # what stays above the opening's lower edge
    stands_after_mm: float | None
    stroke_before_mm: float | None  # how far the pane goes down; None without the depth
    stroke_after_mm: float | None
    swing_mm: float  # outboard, of the lower edge of a pane that is all the way down


@dataclass(frozen=True, kw_only=True)
class PaneReport:
    """One side pane before and after, with what it takes to make it.

    The outlines are closed, the first place not repeated, in the pane's own
    plane: level from the lower front corner, + rearward, and up the glass.
    """

    pane: str
    side: str
    kind: str  # door or fixed
    rail_before_mm: float  # straight, between the upper corners
    rail_after_mm: float
    height_before_mm: float  # greatest, up the glass
    height_after_mm: float
    off_plane_mm: float  # how far a corner of the new opening lies off the pane's plane
    outline_before_mm: tuple[Place, ...]
    outline_after_mm: tuple[Place, ...]  # empty where the lowered outline would cross itself
    corners: tuple[PaneCorner, ...]
    legs: tuple[DoorLeg, ...]  # of a door
    well: WellReport | None  # of a door
    to_measure: tuple[str, ...]
