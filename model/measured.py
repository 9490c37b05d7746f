"""What was measured on the car: frozen records, no geometry.

Frame: car (x to the rear, y to the car's right, z up).  All lengths in mm.
The right side is always measured; a left side that was not measured is the
mirror image of the right (y changes sign).
"""

from __future__ import annotations

from dataclasses import dataclass

from .errors import MeasureError

Point = tuple[float, float, float]

GUTTER = "gutter"  # the row that is the corner between side and roof
CROWN = "crown"  # the last row: the roof's centreline
VIEWS = {"side": (0, 2), "front": (1, 2), "rear": (1, 2), "plan": (0, 1)}  # axes seen in each view
GRID_KINDS = ("side", "roof", "front", "back")
SIDES = ("right", "left", "centre")


def mirrored(point_mm: Point) -> Point:
    """Return the point on the other side of the car's centre plane y = 0."""
    x, y, z = point_mm
    return (x, -y, z)


@dataclass(frozen=True, kw_only=True)
class Hoop:
    """One measured half-section over the cab, belt to crown; it may lean.

    Attributes
    ----------
    right_mm : tuple of (x, y, z)
        One point for each of the car's rows, in their order.
    left_mm : tuple of (x, y, z) or None
        The same on the left side where it was measured; the crown point must
        be the right side's.
    """

    name: str
    right_mm: tuple[Point, ...]
    left_mm: tuple[Point, ...] | None = None

    def side_mm(self, side: str) -> tuple[Point, ...]:
        """Return the points of ``right`` or ``left``, mirrored if need be."""
        if side == "right":
            return self.right_mm
        return self.left_mm or tuple(mirrored(p) for p in self.right_mm)


@dataclass(frozen=True, kw_only=True)
class EndPanel:
    """The skin that closes the front (windshield frame) or the back of the cab.

    A grid of its own.  Its upper border is the first (front) or last (back)
    hoop from gutter over crown to gutter, its side borders are that hoop from
    belt to gutter; what is measured here are the points inside that frame:
    one line of points for every row from the belt up to below the gutter,
    one point in a line for every row above the gutter (shoulder … crown),
    counted from the side of the car to its centre.

    Attributes
    ----------
    name : str
        ``front`` or ``back``.
    right_mm : tuple of tuple of (x, y, z)
        ``right_mm[i][j]``: height row i, column j.
    left_mm : the same for the left side, or None
    """

    name: str
    right_mm: tuple[tuple[Point, ...], ...]
    left_mm: tuple[tuple[Point, ...], ...] | None = None

    def side_mm(self, side: str) -> tuple[tuple[Point, ...], ...]:
        """Return the points of ``right`` or ``left``, mirrored if need be."""
        if side == "right":
            return self.right_mm
        return self.left_mm or tuple(tuple(mirrored(p) for p in line) for line in self.right_mm)


@dataclass(frozen=True, kw_only=True)
class Corner:
    """A corner of an opening as seen in its view, and the radius that rounds it. [mm]"""

    across_mm: float  # first axis of the view: x in side and plan view, y in front and rear view
    up_mm: float  # second axis of the view: z, or y in plan view
    radius_mm: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Opening:
    """A hole for glass, measured in the view in which a person sees it.

    Attributes
    ----------
    name : str
        For example ``door glass``; unique together with ``side``.
    role : str
        ``windshield``, ``rear window`` or ``side glass``.
    grid : str
        Which part of the skin it lies in: ``side``, ``roof``, ``front``, ``back``.
    view : str
        ``side`` (x, z), ``front`` or ``rear`` (y, z), ``plan`` (x, y).
    side : str
        ``right`` (also stands for the mirrored left one unless a left opening
        of the same name is given), ``left`` or ``centre``.
    corners : tuple of Corner
        In order around the opening, at least three.
    well_mm, well_room_mm : float or None
        Of a pane that is wound down: how far below the opening its lower edge
        goes, along the glass, and how much free room there is outboard of it
        down there.
    """

    name: str
    role: str
    grid: str
    view: str
    side: str
    corners: tuple[Corner, ...]
    well_mm: float | None = None
    well_room_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Post:
    """A roof post: a box section along a measured axis.

    The axis runs through the middle of the section, from low to high.  The
    section's width is fore-and-aft and its depth across, both square to the
    axis.

    Attributes
    ----------
    side : str
        ``right`` (also stands for the mirrored left post unless a left post
        of the same name is given), ``left``, or ``centre`` for the divider of
        a two-pane windshield.
    axis_mm : tuple of (x, y, z)
        At least two points; three or more for a curved post.
    cut_from_mm, cut_to_mm : float
        Lowest and highest z at which both cuts must stay.
    cut_at_mm : float
        z of the lower cut on the axis unless the plan says otherwise.
    """

    name: str
    side: str
    axis_mm: tuple[Point, ...]
    width_mm: float
    depth_mm: float
    wall_mm: float
    cut_from_mm: float
    cut_to_mm: float
    cut_at_mm: float


@dataclass(frozen=True, kw_only=True)
class KeepOut:
    """A body the lowered roof must clear: ``box``, ``cylinder`` or ``sphere``.

    Attributes
    ----------
    at_mm : (x, y, z)
        Centre of a box or a sphere; one end of a cylinder's axis.
    size_mm : (x, y, z) or None
        Whole sides of a box, along the car's axes.
    to_mm : (x, y, z) or None
        Other end of a cylinder's axis.
    radius_mm : float or None
        Of a cylinder or a sphere.
    """

    name: str
    shape: str
    at_mm: Point
    size_mm: Point | None = None
    to_mm: Point | None = None
    radius_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Driver:
    """Who sits in the driver's seat, and how.

    Attributes
    ----------
    stature_mm : float or None
        Standing height without shoes.
    back_deg : float
        Lean of the seat's back from plumb, + rearward going up.
    mirror_mm : (x, y, z) or None
        Middle of the inside mirror.
    """

    stature_mm: float | None = None
    back_deg: float = 25.0  # the back angle of UN Regulation 125's eye points
    mirror_mm: Point | None = None


@dataclass(frozen=True, kw_only=True)
class Car:
    """A measured car.

    Attributes
    ----------
    rows : tuple of str
        From the belt up: ``belt`` … ``gutter`` … ``crown``.
    hoops : tuple of Hoop
        From the windshield frame rearward.
    rear_point : (str, str)
        Hoop and row of the point on the roof whose drop is "the rear drop".
    unit : str
        ``in`` or ``mm``: how lengths of this car are typed and shown.
    readings : int
        How often every length was read; what the file says is their mean.
    read_again : tuple of (place, times)
        Places read more often, named as :mod:`model.readings` names them.
    """

    name: str
    unit: str
    origin: str
    rows: tuple[str, ...]
    hoops: tuple[Hoop, ...]
    panels: tuple[EndPanel, ...]
    openings: tuple[Opening, ...]
    posts: tuple[Post, ...]
    gauge_mm: float
    glass_mm: float
    tape_mm: float
    rear_point: tuple[str, str]
    seat_mm: Point | None = None
    driver: Driver = Driver()
    keep_outs: tuple[KeepOut, ...] = ()
    readings: int = 1
    read_again: tuple[tuple[str, int], ...] = ()

    def times_read(self, place: str) -> int:
        """Return how often the lengths at a place were read."""
        return dict(self.read_again).get(place, self.readings)

    @property
    def gutter_index(self) -> int:
        """Place of the gutter among the rows."""
        return self.rows.index(GUTTER)

    def hoop(self, name: str) -> Hoop:
        """Return the hoop called ``name``."""
        for hoop in self.hoops:
            if hoop.name == name:
                return hoop
        raise MeasureError(
            f"hoop {name!r} is not on this car.", f"Choose one of: {', '.join(h.name for h in self.hoops)}."
        )

    @property
    def rear_point_mm(self) -> Point:
        """The roof's material point whose drop is the rear drop. [mm]"""
        hoop, row = self.rear_point
        return self.hoop(hoop).right_mm[self.rows.index(row)]

    def panel(self, name: str) -> EndPanel | None:
        """Return the front or back panel, or None where the skin ends at its hoop."""
        return next((p for p in self.panels if p.name == name), None)

    def all_openings(self) -> tuple[Opening, ...]:
        """Return every opening, the mirrored left ones included."""
        return tuple(_with_mirror_images(self.openings, _mirrored_opening))

    def all_posts(self) -> tuple[Post, ...]:
        """Return every post, the mirrored left ones included, right before left."""
        return tuple(_with_mirror_images(self.posts, _mirrored_post))


def _with_mirror_images(items, mirror):
    given_left = {item.name for item in items if item.side == "left"}
    for item in items:
        yield item
        if item.side == "right" and item.name not in given_left:
            yield mirror(item)


def _mirrored_opening(opening: Opening) -> Opening:
    axes = VIEWS[opening.view]
    sign_across, sign_up = (-1.0 if axis == 1 else 1.0 for axis in axes)
    corners = tuple(
        Corner(across_mm=sign_across * c.across_mm, up_mm=sign_up * c.up_mm, radius_mm=c.radius_mm)
        for c in opening.corners
    )
    return Opening(
        name=opening.name,
        role=opening.role,
        grid=opening.grid,
        view=opening.view,
        side="left",
        corners=corners,
        well_mm=opening.well_mm,
        well_room_mm=opening.well_room_mm,
    )


def _mirrored_post(post: Post) -> Post:
    return Post(
        name=post.name,
        side="left",
        axis_mm=tuple(mirrored(p) for p in post.axis_mm),
        width_mm=post.width_mm,
        depth_mm=post.depth_mm,
        wall_mm=post.wall_mm,
        cut_from_mm=post.cut_from_mm,
        cut_to_mm=post.cut_to_mm,
        cut_at_mm=post.cut_at_mm,
    )
