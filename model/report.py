"""The report: every number of one plan on one car, as one frozen record.

:meth:`Report.to_json` is the machine contract; its schema is
``schemas/report.schema.json``.
Frame: car.  Lengths in mm, angles in degrees, volumes in mm³, areas in mm².
Signs: gap < 0 is an overlap; step > 0 means the second piece stands proud of
the first; miss fore-and-aft > 0 means the upper end lands rearward of the
lower, miss across > 0 inboard of it.  A ``centre`` post counts as a right one:
its "inboard" is the car's left, and its edges are called right and left.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from .blankreport import Trapezium
from .doorframes import DoorSeam
from .doorreport import PaneReport
from .panelreport import PanelFit
from .piecutreport import PieCutReport
from .postpiecereport import HingePieceReport, PostPieceReport, PostWall
from .tapereport import Uncertainty
from .trimreport import TrimLine
from .viewreport import View

Point = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Least, mean (by length) and greatest of a quantity along a seam. [mm]"""

    min: float
    mean: float
    max: float


@dataclass(frozen=True, kw_only=True)
class EdgeMark:
    """Where the two cuts cross one corner edge of a post's box.

    Attributes
    ----------
    edge : str
        ``front outer``, ``front inner``, ``rear outer`` or ``rear inner``;
        ``axis`` for the middle of the section.
    lower_mm, upper_mm : (x, y, z)
        Where the lower and the upper mark lie on the uncut post.  The kerf of
        either cut lies between them, on the waste side.
    take_out_mm : float
        Along the edge, what the drop takes out.
    removed_mm : float
        Along the edge from mark to mark: take-out and the root gap.
    """

    edge: str
    lower_mm: Point
    upper_mm: Point
    take_out_mm: float
    removed_mm: float


@dataclass(frozen=True, kw_only=True)
class HingeMark:
    """Where the two cuts around a hinge cross one corner edge of a post's box.

    Attributes
    ----------
    foot_mm, loose_mm : (x, y, z)
        The lower and the upper mark, on the uncut post.
    removed_mm : float
        Along the edge, from mark to mark; the kerf included.
    gap_mm : float
        Left once the lower end has been leaned, square to the lower face.
    """

    edge: str
    foot_mm: Point
    loose_mm: Point
    removed_mm: float
    gap_mm: float


@dataclass(frozen=True, kw_only=True)
class LeanReport:
    """The lower end of a post, cut around at a hinge and turned about it.

    Leans are those of the line from the hinge to the middle of the lower cut.
    """

    hinge_mm: Point  # on the axis; it stays
    height_mm: float  # plumb, of the axis' point that lands on the lower cut, above the hinge
    turn_deg: float  # whole angle of the turn
    lean_side_before_deg: float
    lean_side_after_deg: float
    lean_front_before_deg: float
    lean_front_after_deg: float
    mouth_mm: float  # widest gap of the wedge at the box
    edges: tuple[HingeMark, ...]
    piece: HingePieceReport | None = None  # let in around the hinge; None: the box is welded as it stands


@dataclass(frozen=True, kw_only=True)
class PostStretch:
    """The straightest stretch of a post that is long enough for its cut, and the plan's own.

    Heights are z on the post's axis; a sagitta is how far the axis strays
    from the stretch's chord.  None where no stretch is long enough.
    """

    needed_mm: float  # along the axis: what is removed, and a post's width at either end
    clear_from_mm: float  # may be cut, and clear of the corners of the openings beside it
    clear_to_mm: float
    from_mm: float | None
    to_mm: float | None
    cut_at_mm: float | None  # where the lower cut would be
    sagitta_mm: float | None
    at_plan_sagitta_mm: float


@dataclass(frozen=True, kw_only=True)
class RemedySeam:
    """A weld that a remedy costs."""

    name: str
    length_mm: float


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """One way of bringing a post's ends together, or of leaving them.

    ``numbers`` are what is cut and how, by name with unit, as
    :mod:`model.remedies` has them; ``reason`` says why it cannot be done
    with the sheet around this post, empty where it can.
    """

    kind: str  # shift, pie cut, lean or leave
    way: str  # rearward, forward, in, out; empty for leave
    by_mm: float  # of the miss that it takes up
    numbers: dict[str, float]
    seams: tuple[RemedySeam, ...]
    reason: str
    text: str


@dataclass(frozen=True, kw_only=True)
class PostReport:
    """One post on one side."""

    post: str
    side: str
    cut: str  # level, square or given
    cut_height_mm: float
    lean_side_deg: float  # + leans rearward going up
    lean_front_deg: float  # + leans inboard going up
    drop_mm: float  # plumb, of the point of the post that lands on the lower cut
    take_out_mm: float  # on the axis
    removed_mm: float  # on the axis, mark to mark
    miss_fore_aft_mm: float
    miss_across_mm: float
    tilt_deg: float
    shift_mm: float  # of the upper end along the rail, + rearward; already in the miss
    bead_mm: float  # oblique perimeter of the box in the cut plane
    edges: tuple[EdgeMark, ...]
    remedy: str
    remedies: tuple[Remedy, ...]
    stretch: PostStretch
    lean: LeanReport | None = None  # None: the lower end is not leaned
    pie_cut: PieCutReport | None = None  # None: there is none
    chosen: tuple[str, ...] = ()  # of the kinds of remedy, the plan's; leave where it leaves a miss
    piece: PostPieceReport | None = None  # None: its own ends are welded together


@dataclass(frozen=True, kw_only=True)
class SeamStation:
    """One place along a seam."""

    at_mm: Point  # on the first piece's edge, where the plan puts it
    along_mm: float  # from the start of that edge
    gap_mm: float
    step_mm: float
    angle_first_deg: float  # of the first piece's skin to the line across the gap
    angle_second_deg: float  # equal angles and no step: a fair arc


@dataclass(frozen=True, kw_only=True)
class SeamReport:
    """Where two pieces are welded.

    ``length_mm`` is the bead: the first piece's edge, less what lies over a
    post's own bead (``over_post_mm``).  ``facing_mm`` is how much of the edge
    has an edge of the other piece in front of it.
    """

    name: str
    kind: str  # skin, post, window, strip, hinge
    side: str  # right, left or centre
    pieces: tuple[str, str]
    length_mm: float
    edge_mm: float
    over_post_mm: float
    facing_mm: float
    gap_mm: Spread | None  # None where no station has a facing edge
    step_mm: Spread | None
    min_at_mm: Point | None  # where the least gap is
    max_at_mm: Point | None  # where the greatest gap is
    stations: tuple[SeamStation, ...]


@dataclass(frozen=True, kw_only=True)
class NewMetalEdge:
    """One edge of a filler, welded to a piece or another filler."""

    piece: str
    length_mm: float  # of the piece's edge along it
    tangent_break_deg: float  # greatest, between its skin and the filler
    off_root_gap_mm: float  # how far the gap strays from the root gap


@dataclass(frozen=True, kw_only=True)
class NewMetalReport:
    """One piece of new metal: a filler let in where a seam stood open, or a piece between two ends of a post.

    A hinge piece is told as a post piece is; the gap it closes is the mouth, its step none.
    A post piece has ``walls``, each its own blank; its widths are its corner
    edges, the gap it closes is how far the corners of the plan's two ends are
    apart, the step the greater of its two misses, and its edges are its beads
    around the stubs, which are also its ``ends``.
    The blank's numbers are None where it was not worked out: it bends tighter
    than the sheet is thick, or a slider did not wait for it.
    """

    name: str
    kind: str  # of the seam it closes: skin, window, strip; or corner patch, post piece, hinge piece
    side: str
    pieces: tuple[str, str]
    gauge_mm: float
    area_mm2: float  # of its outside, net
    mass_kg: float  # as cut to size
    width_min_mm: float  # straight across, edge to edge
    width_max_mm: float
    closes_gap_mm: float  # widest gap of the open seam along it
    closes_step_mm: float  # step of the greatest size there
    ends: tuple[str, str]  # opening, bead, corner, welded up, or the filler or piece it is joined to
    open_corner_mm: float  # width of its ends at corners where no other metal is; 0 where there is none
    edges: tuple[NewMetalEdge, ...]  # both long ones; of a corner patch those at its ends too
    least_radius_mm: float  # of any bend on its outside
    blank_mm: tuple[float, float] | None = None  # length and width of the rectangle it is cut from, with trim
    crown_mm: float | None = None  # + bulges outward
    max_strain: float | None = None  # + stretched, − shrunk, in forming; what 99 % of the area stays within
    doubt_strain: float | None = None  # what half as many spans would have changed it by
    can_be_rolled: bool | None = None
    trapezium: Trapezium | None = None
    walls: tuple[PostWall, ...] = ()  # of a post piece or a hinge piece


@dataclass(frozen=True, kw_only=True)
class Interference:
    """Two pieces, or a piece and a keep-out, in the same place."""

    pieces: tuple[str, str]
    volume_mm3: float
    depth_mm: float
    area_mm2: float  # of the first piece that lies past the second
    at_mm: Point


@dataclass(frozen=True, kw_only=True)
class WindowReport:
    """Rear window panel and windshield, before and after.  Rake is from plumb. [deg]"""

    rear_rake_before_deg: float
    rear_rake_after_deg: float
    rear_forward_mm: float
    rear_down_mm: float
    rear_lay_down_deg: float
    rear_pivot_mm: Point
    rear_opening_change_mm: float  # largest change of any distance inside the opening
    windshield_rake_before_deg: float
    windshield_rake_after_deg: float
    windshield_height_before_mm: float  # along the glass, at the pane's middle
    windshield_height_after_mm: float
    windshield_plumb_before_mm: float
    windshield_plumb_after_mm: float
    fit: PanelFit | None = None  # None where the plan holds all three


@dataclass(frozen=True, kw_only=True)
class Totals:
    """Sums and headline numbers."""

    weld_mm: float
    weld_by_kind_mm: dict[str, float]
    weld_by_side_mm: dict[str, float]
    front_drop_mm: float
    rear_drop_mm: float
    roof_forward_mm: float  # of the point that lands on the A-posts' cut
    roof_pitch_deg: float  # + nose up, rear down
    height_before_mm: float  # highest point of the skin
    height_after_mm: float
    headroom_before_mm: float | None  # from the seat along 8° rear of plumb to the skin's inside
    headroom_after_mm: float | None
    skin_area_mm2: float
    removed_area_mm2: float  # skin cut out: slugs and trimmings


@dataclass(frozen=True, kw_only=True)
class RoofPart:
    """One part of a split roof: how far it goes from where the roof in one piece would be."""

    name: str
    forward_mm: float
    outward_mm: float


@dataclass(frozen=True, kw_only=True)
class SplitReport:
    """How the parts of a split roof go apart."""

    spread_mm: float  # between the right and the left half
    lengthen_mm: float  # between the front and the rear part
    across_at_mm: float | None  # x on the uncut car; None where it is not cut across
    parts: tuple[RoofPart, ...]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What a careful fabricator would flag."""

    kind: str
    where: str
    message: str
    measured: float
    limit: float
    unit: str  # mm, deg, mm3 or 1
    source: str


@dataclass(frozen=True, kw_only=True)
class Report:
    """Everything about one plan on one car.

    ``split`` is None where the roof stays in one piece, ``uncertainty``
    where it was not asked for; ``trims`` come with ``interference``.  With new
    metal in the plan, seams, interference and totals are those of the closed
    roof; ``trims`` are what to cut before it.  ``door_seams`` come with
    ``side_glass``.
    """

    car: dict
    plan: dict
    posts: tuple[PostReport, ...]
    seams: tuple[SeamReport, ...]
    interference: tuple[Interference, ...]
    window: WindowReport
    view: View
    totals: Totals
    findings: tuple[Finding, ...]
    side_glass: tuple[PaneReport, ...] = ()
    trims: tuple[TrimLine, ...] = ()
    split: SplitReport | None = None
    uncertainty: Uncertainty | None = None
    new_metal: tuple[NewMetalReport, ...] = ()
    door_seams: tuple[DoorSeam, ...] = ()
    door_frame_weld_mm: float = 0.0  # of all of them; no part of the shell's totals

    def to_json(self) -> dict:
        """Return plain lists, dicts, numbers and strings, as the schema says."""
        return asdict(self)

    def post(self, name: str, side: str) -> PostReport:
        """Return the report of one post."""
        return next(p for p in self.posts if (p.post, p.side) == (name, side))

    def seam(self, name: str) -> SeamReport:
        """Return the seam called ``name``."""
        return next(s for s in self.seams if s.name == name)
