"""The 3-D view as a widget: the chopped shell in place over a ghost of stock or of another plan.

Either the ghost is laid over the picture, as clear as is wanted, or the
picture is swiped: left of a line the whole car before, right of it after.

Parts (:mod:`model.viewparts`) are drawn by ``roofdrawing.js`` with three.js;
``roofview.js`` ties the drawing to the widget.
Each is one trait, so that only what a change of the plan changes is sent, all
of it in one message.
"""

from __future__ import annotations

from functools import lru_cache
from importlib import resources

import anywidget
import traitlets

from .built import Built, build_on
from .occupant import driver_eye_mm
from .plan import Plan
from .report import Report
from .shape import CarShape
from .silhouette import VIEWS
from .viewparts import LOOKS, NOTHING, before_parts, ghost_of_plan, ghost_of_stock, hull_corners, parts_of

FIELD_OF_VIEW_DEG = 16.0  # nearly parallel; the same in every view
BACKGROUND = 0xF6F7F8
LABEL = "The car in 3-D. Drag or use the arrow keys to turn it."
EYE = "driver's eye"
EYE_FIELD_DEG = 62.0  # upright; wide enough for both posts of the windshield
TOGGLED = {
    "ghost": ("ghost", "ghost_edges"),
    "slugs": ("slugs",),
    "seams": ("seams",),
    "keep-outs": ("keep_outs",),
}


class RoofView(anywidget.AnyWidget):
    """The widget: one trait for each part of :data:`model.viewparts.LOOKS`, and how it is looked at.

    Attributes
    ----------
    notes : dict of str to str
        HTML shown at whatever is pointed at or chosen, by its name.
    chosen : str
        What is lit: a piece, a post or a seam; empty for nothing.
    group : str
        Views of one group turn together; empty for a view that turns alone.
    ghost_opacity : float
        From 0, not to be seen, to 1.
    is_swiped : bool
        Whether the picture is swiped between before and after; else the ghost is laid over it.
    """

    _esm = "\n".join(
        (resources.files(__package__) / name).read_text(encoding="utf-8")
        for name in ("three.min.js", "roofdrawing.js", "roofview.js")
    )
    looks = traitlets.Dict(LOOKS).tag(sync=True)
    height = traitlets.Int(380).tag(sync=True)
    background = traitlets.Int(BACKGROUND).tag(sync=True)
    field_of_view = traitlets.Float(FIELD_OF_VIEW_DEG).tag(sync=True)
    label = traitlets.Unicode(LABEL).tag(sync=True)
    view = traitlets.Dict().tag(sync=True)
    notes = traitlets.Dict().tag(sync=True)
    chosen = traitlets.Unicode("").tag(sync=True)
    group = traitlets.Unicode("").tag(sync=True)
    ghost_opacity = traitlets.Float(LOOKS["ghost"]["opacity"]).tag(sync=True)
    is_swiped = traitlets.Bool(False).tag(sync=True)
    # one trait a part, so that a change sends those parts only that it changed
    locals().update({name: traitlets.Dict(NOTHING).tag(sync=True) for name in LOOKS})

    def __init__(self, **traits):
        super().__init__(**traits)
        self._unwanted = {"slugs"}
        self._last: tuple[Built, Report] | None = None
        self._stock: Built | None = None
        self._other: Built | None = None
        self._corners: list[list[float]] = []
        self._eye: list[float] = []

    def look_at(self, shape: CarShape):
        """Take the measure of a car, for the views: the corners of its convex hull, and the driver's eye.

        What a plan is held against is stock again.
        """
        self._stock, self._other = _stock_of(shape), None
        self._corners = hull_corners(shape)
        seat = shape.car.seat_mm
        self._eye = [] if seat is None else driver_eye_mm(seat, shape.car.driver).tolist()

    @property
    def names(self) -> list[str]:
        """The views of the car that was taken the measure of."""
        return [*VIEWS, EYE] if self._eye else list(VIEWS)

    def look_from(self, name: str):
        """Turn to one of :data:`model.silhouette.VIEWS`, the whole car in sight, or to :data:`EYE`."""
        if name == EYE:
            self.view = {"eye": self._eye, "toward": [1.0, 0.0, 0.0], "field_of_view": EYE_FIELD_DEG}
            return
        view = VIEWS[name]
        self.view = {"toward": list(view.toward), "up": list(view.up), "points": self._corners}

    def want(self, name: str, is_wanted: bool):
        """Show or hide the ghost, the slugs, the seams or the keep-outs."""
        self._unwanted = self._unwanted - {name} if is_wanted else self._unwanted | {name}
        self._show_again()

    def hold_against(self, other: Built | None):
        """Take another plan of the same car as what was before; None for stock."""
        if other is not self._other:
            self._other = other
            self._show_again()

    def swipe(self, is_swiped: bool):
        """Swipe the picture between before and after, or lay the ghost over it."""
        with self.hold_sync():
            self.is_swiped = is_swiped
            self._show_again()

    def _show_again(self):
        if self._last:
            self.show(*self._last)

    def _before(self, built: Built) -> dict[str, dict]:
        """Return what is shown of the car before."""
        if self.is_swiped:
            return before_parts(self._other or self._stock)
        return ghost_of_stock(built) if self._other is None else ghost_of_plan(self._other)

    def show(self, built: Built, report: Report):
        """Show a plan: send what differs from the last one, in one message."""
        self.show_parts(built, report, parts_of(built, report))

    def show_parts(self, built: Built, report: Report, parts: dict[str, dict]):
        """Show a plan by its parts, as :func:`model.viewparts.parts_of` returns them."""
        self._last = built, report
        parts = dict.fromkeys(LOOKS, NOTHING) | parts | self._before(built)
        for name in self._unwanted:
            parts |= dict.fromkeys(TOGGLED[name], NOTHING)
        with self.hold_sync():
            for name, part in parts.items():
                if part != getattr(self, name):
                    setattr(self, name, part)


@lru_cache(maxsize=2)
def _stock_of(shape: CarShape) -> Built:
    return build_on(shape, Plan())
