"""The parts of the preview on the page, and how they are arranged; what they do is decided elsewhere."""

from __future__ import annotations

import ipywidgets as widgets

from .carfile import demo_car_names
from .comparison import STOCK
from .output.text import CAUTION_CUT, CAUTION_GLASS, CAUTION_WELD
from .previewstyle import section, style_html
from .previewwork import LongWork
from .roofview import RoofView
from .silhouette import VIEWS

FILE = "a car file …"
GHOST, SWIPE = "ghost", "swipe"
TOGGLES = {
    "ghost": "ghost of before",
    "seams": "seams",
    "slugs": "metal cut out",
    "keep-outs": "seat and heads",
}


class PreviewPage(widgets.VBox):
    """Choice of car, views, 3-D view, room for the controls, files and tables, top to bottom."""

    def __init__(self, comparison: widgets.Widget):
        self.view, self.comparison, self.work = RoofView(), comparison, LongWork()
        self._make_parts()
        super().__init__(self._arranged(), layout={"width": "100%"})
        self.add_class("pd-preview")

    def _make_parts(self):
        self.car_choice = widgets.Dropdown(
            options=[*demo_car_names(), FILE],
            description="car",
            layout={"width": "210px"},
            style={"description_width": "30px"},
        )
        self.car_path = _path("path of a car file, then Enter", "260px")
        self.car_path.layout.display = "none"
        self.stock_button = _button("back to stock", "home", "Put everything back")
        self.undo_button = _button("undo", "undo", "Back to the plan before")
        self.redo_button = _button("redo", "repeat", "Again the plan that was undone")
        self.back_button = _button("", "history", "The last plan of this car, kept when it was closed")
        self.status = widgets.HTML()
        self.views = widgets.ToggleButtons(style={"button_width": "auto"})
        self.offer_views(list(VIEWS))
        self.toggles = {
            name: widgets.Checkbox(
                description=label, value=name not in ("slugs",), indent=False, layout={"width": "auto"}
            )
            for name, label in TOGGLES.items()
        }
        self.before = widgets.Dropdown(
            options=[STOCK],
            description="before",
            layout={"width": "290px"},
            tooltip="What is shown as before",
        )
        self.before.style.description_width = "50px"
        self.way_of_before = widgets.ToggleButtons(
            options=[GHOST, SWIPE],
            tooltips=["Before laid over the picture, clear", "Before left of a line, after right of it"],
            style={"button_width": "auto"},
        )
        self.dim = widgets.FloatSlider(
            description="ghost",
            min=0.0,
            max=0.6,
            step=0.02,
            value=self.view.ghost_opacity,
            readout=False,
            layout={"width": "220px"},
            style={"description_width": "44px"},
        )
        widgets.jslink((self.dim, "value"), (self.view, "ghost_opacity"))
        self.legend = widgets.HTML()
        self.headline, self.silhouette = widgets.HTML(), widgets.HTML()
        self.posts, self.seams, self.window = (widgets.HTML() for _ in range(3))
        self.findings, self.measures = widgets.HTML(), widgets.HTML()
        self.sureness, self.remedies, self.welding = (widgets.HTML() for _ in range(3))
        self.controls_box = widgets.VBox()
        self.plan_path = _path("plan file", "220px")
        self.save_button = _button("save plan", "save", "Write the plan in the picture to that file")
        self.load_button = _button("load plan", "folder-open", "Show the plan in that file")

    def offer_views(self, names: list[str]):
        """Offer views to look from; the present one stays where it is one of them."""
        if tuple(names) != self.views.options:
            chosen = self.views.value
            self.views.tooltips = [f"Look from: {name}" for name in names]
            self.views.options = names
            self.views.value = chosen if chosen in names else names[0]

    def _arranged(self):
        buttons = self.undo_button, self.redo_button, self.stock_button, self.back_button
        top = _row(self.car_choice, self.car_path, *buttons, self.views)
        below = widgets.HBox(
            [self.silhouette, widgets.VBox(self._files())],
            layout={"flex_flow": "row wrap", "width": "100%", "align_items": "flex-start"},
        )
        for part, width in zip(below.children, ("640px", "380px"), strict=True):
            part.layout.flex, part.layout.min_width = f"1 1 {width}", "0"
        cautions = widgets.HTML(
            "".join(
                f'<p class="pd-caution">{text}</p>' for text in (CAUTION_CUT, CAUTION_WELD, CAUTION_GLASS)
            )
        )
        tables = widgets.VBox(
            [
                section("The measured car: what to measure again before any plan", self.measures),
                section("Findings, worst first", self.findings),
                section("Posts: what to cut, where the ends land", widgets.VBox([self.posts, self.remedies])),
                section("How sure: what the tape leaves open", self.sureness),
                section("Seams", self.seams),
                section("Weld plan", self.welding),
                section("Glass", self.window),
                cautions,
            ]
        )
        looks = _row(self.before, self.way_of_before, self.dim, *self.toggles.values())
        beside = section("Other plans: keep, and hold against each other", self.comparison)
        parts = [
            top,
            self.headline,
            self.status,
            self.view,
            looks,
            self.legend,
            self.controls_box,
            below,
            beside,
            tables,
        ]
        return [widgets.HTML(style_html()), *parts]

    def _files(self):
        return [
            _row(self.plan_path, self.save_button, self.load_button),
            self.work,
        ]


def _row(*parts):
    return widgets.HBox(parts, layout={"flex_flow": "row wrap", "align_items": "center", "width": "100%"})


def _button(text, icon, tip):
    return widgets.Button(description=text, icon=icon, tooltip=tip, layout={"width": "auto"})


def _path(placeholder, width):
    return widgets.Text(placeholder=placeholder, continuous_update=False, layout={"width": width})
