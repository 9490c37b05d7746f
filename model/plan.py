"""What the fabricator decides: frozen records, no geometry.

A plan without a ``roof`` leaves the roof uncut; a plan without a ``window``
leaves the rear window in the shell.  The two together are no plan at all:
the car as it stands.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

ALONG_WINDSHIELD = "along-windshield"
STRAIGHT_DOWN = "straight-down"
LEVEL, SQUARE = "level", "square"
LINE_UP = "line-up"
FIT = "fit"
MEET, MEET_BOTH_WAYS = "meet", "meet-both-ways"
AS_PLANNED = ""
FORWARD, LAID_BACK, SPLIT = WAYS = ("forward", "laid-back", "split")


@dataclass(frozen=True, kw_only=True)
class RoofMove:
    """Where the roof goes.

    Attributes
    ----------
    front_drop_mm : float
        Plumb drop of the roof's point that lands on the A-posts' lower cut.
    rear_drop_mm : float
        Plumb drop of the car's rear point.
    fore_aft : str or float
        ``along-windshield`` (no mean fore-and-aft miss at the A-posts),
        ``straight-down``, or a length forward. [mm]
    """

    front_drop_mm: float = 0.0
    rear_drop_mm: float = 0.0
    fore_aft: str | float = ALONG_WINDSHIELD


@dataclass(frozen=True, kw_only=True)
class WindowMove:
    """Where the rear window panel goes, relative to the car.

    Each of the first three may be ``fit``: solved so that the panel flows
    into the roof, the others held.

    Attributes
    ----------
    forward_mm : float or str
        Towards the front of the car.
    down_mm : float, str or None
        Plumb, after laying down; None: until the panel's top centre is as
        high as if it had stayed in the lowered roof.
    lay_down_deg : float or str
        About the lower flange edge at the centreline, top towards the front.
    flange_mm : float
        Width of the body metal kept around the opening, on the surface.
    proud_mm : float
        How far the fit lets the panel stand proud of the roof; below zero: tucked under.
    sink_mm : float or None
        The most by which the fit lets the panel's lower edge come down below
        where it was cut out, plumb, at its lowest; None: by the flange where the
        panel lies flatter than 45° (over a deck), else as far as the car allows.
    """

    forward_mm: float | str = 0.0
    down_mm: float | str | None = None
    lay_down_deg: float | str = 0.0
    flange_mm: float = 19.05
    proud_mm: float = 0.0
    sink_mm: float | None = None

    @property
    def is_fitted(self) -> bool:
        """Whether anything is left to the fit."""
        return FIT in (self.forward_mm, self.down_mm, self.lay_down_deg)


@dataclass(frozen=True, kw_only=True)
class GivenPlane:
    """A cut plane by its slopes away from level.

    Attributes
    ----------
    rises_rearward_deg : float
        How steeply the plane climbs towards the rear, seen from the side.
    rises_inboard_deg : float
        How steeply the plane climbs towards the car's centre, seen from the front.
    """

    rises_rearward_deg: float = 0.0
    rises_inboard_deg: float = 0.0


@dataclass(frozen=True, kw_only=True)
class PostCut:
    """How one post is cut; ``side`` None means both sides."""

    post: str
    side: str | None = None
    height_mm: float | None = None  # z of the lower cut on the axis; None: as the car file says
    plane: str | GivenPlane | None = None  # None: as Plan.cut says


@dataclass(frozen=True, kw_only=True)
class PostShift:
    """The upper end of one post moved along the roof rail; ``side`` None means both.

    ``by`` is ``line-up`` (until the ends meet fore-and-aft) or a length,
    positive to the rear. [mm]
    """

    post: str
    side: str | None = None
    by: str | float = LINE_UP


@dataclass(frozen=True, kw_only=True)
class NewMetal:
    """New sheet let in wherever a seam stands open wider than a weld closes.

    Attributes
    ----------
    closes_from_mm : float or None
        Gaps wider than this are filled, narrower ones welded; None: as wide as a butt weld closes.
    gauge_mm : float or None
        Thickness of the new sheet; None: the car's.
    trim_mm : float
        Left on all around the flat blank, to be trimmed to fit.
    cut_back_mm : float or None
        How much old sheet comes off each piece where new metal goes in; None: so
        much that it is wide enough and climbs gently, see :mod:`model.cutback`.
    """

    closes_from_mm: float | None = None
    gauge_mm: float | None = None
    trim_mm: float = 12.7  # 1/2 in; common practice, no source
    cut_back_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class RoofSplit:
    """The roof cut into two or four parts that are moved apart, so that the posts' ends meet.

    Attributes
    ----------
    spread_mm : str or float or None
        How far the right and the left half go apart, half of it each; ``meet``:
        until the side posts' mean miss across is zero; None: not cut lengthwise.
    lengthen_mm : str or float or None
        How far the front and the rear part go apart, half of it each; ``meet``:
        each until its end posts' mean miss fore-and-aft is zero; None: not cut across.
    across_at_mm : float or None
        x on the uncut car where the roof is cut across; None: midway between
        the upper ends of the last two side posts.
    """

    spread_mm: str | float | None = None
    lengthen_mm: str | float | None = None
    across_at_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class PostLean:
    """The lower end of one post cut around at a hinge and turned; ``side`` None means both.

    Attributes
    ----------
    lean : str or float
        ``meet`` (turned fore-and-aft until the ends meet fore-and-aft),
        ``meet-both-ways`` (turned across too, until they meet), or the lean
        in side view afterwards of the line from the hinge to the lower cut,
        + rearward going up. [deg]
    hinge_mm : float or None
        Height z of the hinge on the post's axis; None: as low as the openings
        beside the post allow.
    """

    post: str
    side: str | None = None
    lean: str | float = MEET
    hinge_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class PostPieCut:
    """The lower end of one post drawn in by a pie cut beside it; ``side`` None means both.

    ``by`` is ``meet``: until the ends meet across.
    """

    post: str
    side: str | None = None
    by: str = MEET


@dataclass(frozen=True, kw_only=True)
class Plan:
    """One way of lowering one car's roof.

    Attributes
    ----------
    car : str
        Name of the car it was drawn for; empty: any car.
    way : str
        One of :data:`WAYS`, see :mod:`model.ways`; empty: exactly as the plan says.
    cut : str
        ``level`` or ``square``: cut plane of every post that has none of its own.
    kerf_mm : float
        Width of metal the blade turns to dust, square to the cut.
    root_gap_mm : float
        Opening left for the weld, square to the cut.
    new_metal : NewMetal or None
        None: what stands open stays open.
    """

    car: str = ""
    name: str = "stock"
    way: str = AS_PLANNED
    roof: RoofMove | None = None
    window: WindowMove | None = None
    cut: str = LEVEL
    cuts: tuple[PostCut, ...] = ()
    shifts: tuple[PostShift, ...] = ()
    split: RoofSplit | None = None
    leans: tuple[PostLean, ...] = ()
    kerf_mm: float = 1.2
    root_gap_mm: float = 0.8
    new_metal: NewMetal | None = None
    pie_cuts: tuple[PostPieCut, ...] = ()

    def cut_of(self, post: str, side: str) -> PostCut:
        """Return how that post is cut, ``plane`` always filled in.

        A line for one side overrides a line for both sides, field by field;
        later lines override earlier ones.
        """
        height_mm, plane = None, None
        for wanted in (None, side):
            for cut in self.cuts:
                if cut.post == post and cut.side == wanted:
                    height_mm = cut.height_mm if cut.height_mm is not None else height_mm
                    plane = cut.plane if cut.plane is not None else plane
        return PostCut(post=post, side=side, height_mm=height_mm, plane=plane or self.cut)

    def shift_of(self, post: str, side: str) -> str | float | None:
        """Return ``line-up``, a length (positive to the rear, mm), or None for no shift."""
        by = None
        for wanted in (None, side):
            for shift in self.shifts:
                if shift.post == post and shift.side == wanted:
                    by = shift.by
        return by

    def lean_of(self, post: str, side: str) -> PostLean | None:
        """Return how that post's lower end is leaned, or None where it stays; later lines override."""
        found = None
        for wanted in (None, side):
            for lean in self.leans:
                if lean.post == post and lean.side == wanted:
                    found = lean
        return found

    def has_pie_cut(self, post: str, side: str) -> bool:
        """Return whether that post's lower end is drawn in by a pie cut."""
        return any(cut.post == post and cut.side in (None, side) for cut in self.pie_cuts)

    def changed(self, **fields) -> Plan:
        """Return a copy with some fields changed."""
        return replace(self, **fields)
