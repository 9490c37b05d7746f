"""The 3-D view as a widget: the chopped shell in place over a ghost of stock.

Parts (:mod:`model.viewparts`) are drawn by ``roofdrawing.js`` with three.js;
``roofview.js`` ties the drawing to the widget.
Each is one trait, so that only what a change of the plan changes is sent, all
of it in one message.
"""

from __future__ import annotations

from importlib import resources

import anywidget
import numpy as np
import traitlets
from scipy.spatial import ConvexHull

from .built import Built
from .occupant import driver_eye_mm
from .report import Report
from .shape import CarShape
from .silhouette import VIEWS
from .viewparts import LOOKS, NOTHING, parts_of

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
    # one trait a part, so that a change sends those parts only that it changed
    locals().update({name: traitlets.Dict(NOTHING).tag(sync=True) for name in LOOKS})

    def __init__(self, **traits):
        super().__init__(**traits)
        self._unwanted = {"slugs"}
        self._last: tuple[Built, Report] | None = None
        self._corners: list[list[float]] = []
        self._eye: list[float] = []

    def look_at(self, shape: CarShape):
        """Take the measure of a car, for the views: the corners of its convex hull, and the driver's eye."""
        points = np.concatenate([grid.lattice_mm.reshape(-1, 3) for grid in shape.skin.grids.values()])
        self._corners = points[ConvexHull(points).vertices].tolist()
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
        if self._last:
            self.show(*self._last)

    def show(self, built: Built, report: Report):
        """Show a plan: send what differs from the last one, in one message."""
        self._last = built, report
        parts = dict.fromkeys(LOOKS, NOTHING) | parts_of(built, report)
        for name in self._unwanted:
            parts |= dict.fromkeys(TOGGLED[name], NOTHING)
        with self.hold_sync():
            for name, part in parts.items():
                if part != getattr(self, name):
                    setattr(self, name, part)
