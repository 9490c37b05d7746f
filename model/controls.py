"""Sliders and choices for the settings of a plan, each in the car's unit.

A control knows one setting of :mod:`model.plansettings` and hands over its
new value as that text (``front_drop=57.15 mm``); what it may be, and whether
the plan can be built, is decided elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import ipywidgets as widgets

from .errors import RoofError
from .measured import Car
from .plan import ALONG_WINDSHIELD, FIT, LEVEL, LINE_UP, SQUARE, STRAIGHT_DOWN, Plan
from .planfile import AUTO
from .plansettings import NONE
from .units import angle_deg, length_mm, shop_inches

LENGTH, AN_ANGLE = "a length", "an angle"
FITTED = "fitted to the roof"
_LABEL = "96px"


class Dial(widgets.HBox):
    """A slider in steps and, beside it, the same value to read and to type.

    The value is exact: the slider shows the nearest step, and only a move of
    it rounds the value to one.

    Parameters
    ----------
    step : float
        In mm or degrees: what one press of an arrow key changes.
    shown, read : callables
        Value to text and back; ``read`` raises a RoofError.
    changed : callable
        Called with the new value.
    refused : callable
        Called with the error when text cannot be read.
    """

    def __init__(self, label, step, shown, read, changed, refused):
        self._step, self._shown, self._read = step, shown, read
        self._changed, self._refused, self._is_set = changed, refused, False
        self._way = 1  # it went last
        self.slider = widgets.IntSlider(
            description=label,
            readout=False,
            continuous_update=True,
            style={"description_width": _LABEL},
            layout={"flex": "1 1 120px", "width": "auto", "min_width": "160px"},
        )
        self.text = widgets.Text(
            continuous_update=False,
            layout={"width": "76px", "min_width": "64px"},
            tooltip=f"{label}: type it exactly",
        )
        self.value = 0.0
        self.slider.observe(self._slid, "value")
        self.text.observe(self._typed, "value")
        super().__init__([self.slider, self.text], layout={"width": "100%"})

    def limit(self, low, high):
        """Set how far it may go; the present value always stays in reach."""
        at = round(self.value / self._step)
        low, high = min(math.ceil(low / self._step - 1e-6), at), max(math.floor(high / self._step + 1e-6), at)
        self._is_set = True
        with self.slider.hold_trait_notifications():
            self.slider.min, self.slider.max = low, max(high, low + 1)
        self._is_set = False

    def set(self, value):
        """Show a value without calling anyone."""
        self.value, self._is_set = value, True
        at = round(value / self._step)
        self.slider.min, self.slider.max = min(self.slider.min, at), max(self.slider.max, at)
        self.slider.value = at
        self.text.value = self._shown(value)
        self._is_set = False

    def beside(self) -> list[float]:
        """Return the values one step further and one step back, the way it went last first, within limits."""
        at = [self.slider.value + way for way in (self._way, -self._way)]
        return [i * self._step for i in at if self.slider.min <= i <= self.slider.max]

    def _slid(self, change):
        if not self._is_set:
            self._way = 1 if change["new"] > change["old"] else -1
            self.set(change["new"] * self._step)
            self._changed(self.value)

    def _typed(self, change):
        if self._is_set:
            return
        try:
            value = self._read(change["new"])
        except RoofError as refusal:
            self._refused(refusal)
            return
        self.set(value)
        self._changed(value)


def length_dial(label, unit, changed, refused, is_fine=False) -> Dial:
    """Return a dial for a length: 1/16 in or 1 mm a step (fine: 1/64 in, 0.1 mm), read as a tape shows it."""
    parts = 64 if is_fine else 16
    step = 25.4 / parts if unit == "in" else (0.1 if is_fine else 1.0)

    def shown(mm):
        return shop_inches(mm, parts) if unit == "in" else f"{mm:.1f} mm"

    return Dial(label, step, shown, lambda text: length_mm(text, unit, label), changed, refused)


def angle_dial(label, changed, refused) -> Dial:
    """Return a dial for an angle, a quarter of a degree a step."""
    return Dial(label, 0.25, lambda deg: f"{deg:.2f}°", lambda text: angle_deg(text, label), changed, refused)


class WordOrLength(widgets.VBox):
    """A choice between words and, where it is one of them, a length (or an angle)."""

    def __init__(self, label, words, dial: Dial, changed, number=LENGTH):
        """``words``: (shown, word as a setting takes it); ``changed`` takes the word or a length in mm."""
        self.dial, self._changed, self._is_set = dial, changed, False
        self.choice = widgets.Dropdown(
            options=[*words, (number, LENGTH)],
            description=label,
            style={"description_width": _LABEL},
            layout={"width": "auto"},
        )
        self.choice.observe(self._chosen, "value")
        super().__init__([self.choice], layout={"width": "100%"})
        self._fold()

    def set(self, value, length_mm=None):
        """Show a word, or a length; ``length_mm`` is what a chosen length would start from."""
        self._is_set = True
        is_word = isinstance(value, str)
        self.choice.value = value if is_word else LENGTH
        if not is_word or length_mm is not None:
            self.dial.set(length_mm if is_word else value)
        self._is_set = False
        self._fold()

    def _chosen(self, change):
        self._fold()
        if not self._is_set:
            self._changed(self.dial.value if change["new"] == LENGTH else change["new"])

    def _fold(self):
        wanted = (self.choice, self.dial) if self.choice.value == LENGTH else (self.choice,)
        if self.children != wanted:
            self.children = wanted


class Controls(widgets.HBox):
    """All controls of one car's plans, grouped as a fabricator thinks: roof, rear window, posts.

    Parameters
    ----------
    car : Car
    set_to : callable
        Called with a setting, ``name=value``.
    cut_window : callable
        Called with whether the rear window is cut out.
    refused : callable
        Called with a RoofError.

    Attributes
    ----------
    dials : dict of str to Dial
        By the name of the setting.
    words : dict of str to WordOrLength
        The same for settings that may be a word.
    """

    def __init__(self, car: Car, set_to, cut_window, refused):
        self.car, self._set_to, self._cut_window, self._refused = car, set_to, cut_window, refused
        self.dials: dict[str, Dial] = {}
        self.words: dict[str, WordOrLength] = {}
        self._said: dict[str, Callable[[float], str]] = {}  # a dial's value as set_to takes it
        self.cut = widgets.Dropdown(
            options=[("level", LEVEL), ("square to the post", SQUARE)],
            description="cut plane",
            style={"description_width": _LABEL},
            layout={"width": "auto"},
        )
        self.window_out = widgets.Checkbox(
            description="cut it out, with a flange around it", indent=False, layout={"width": "auto"}
        )
        self._is_set = False
        self.cut.observe(self._cut_chosen, "value")
        self.window_out.observe(self._window_chosen, "value")
        names = list(dict.fromkeys(post.name for post in car.posts))
        roof = [
            self._length("front_drop", "front drop"),
            self._length("rear_drop", "rear drop"),
            self._word_or_length(
                "fore_aft",
                "roof goes",
                [("along the windshield", ALONG_WINDSHIELD), ("straight down", STRAIGHT_DOWN)],
                "forward",
            ),
        ]
        window = [
            self.window_out,
            self._word_or_length("window_forward", "forward", [(FITTED, FIT)], "by"),
            self._word_or_length("window_down", "down", [("to the roof's edge", AUTO), (FITTED, FIT)], "by"),
            self._word_or_angle("lay_down", "lay down", [(FITTED, FIT)], "by"),
            self._length("flange", "flange"),
        ]
        heights = [self._length(f"cut_height.{name}", f"{name} cut at") for name in names]
        shifts = [
            self._word_or_length(
                f"shift.{name}", f"{name} shift", [("none", NONE), ("line up", LINE_UP)], "rearward"
            )
            for name in names
            if can_shift(car, name)
        ]
        sawing = [self._length("kerf", "saw kerf", is_fine=True)]
        sawing.append(self._length("root_gap", "root gap", is_fine=True))
        columns = [
            [_heading("Roof"), *roof, _heading("Saw and weld"), *sawing],
            [_heading("Rear window"), *window],
            [_heading("Posts"), self.cut, *heights, *shifts],
        ]
        super().__init__(
            [widgets.VBox(rows, layout={"flex": "1 1 250px", "min_width": "0"}) for rows in columns],
            layout={"flex_flow": "row wrap", "width": "100%", "grid_gap": "0 22px"},
        )
        self.add_class("pd-controls")

    def show(self, plan: Plan, built=None):
        """Show a plan's values; call no one."""
        car, roof, window = self.car, plan.roof, plan.window
        self._is_set = True
        self.cut.value, self.window_out.value = plan.cut, window is not None
        self._is_set = False
        self.dials["front_drop"].set(roof.front_drop_mm if roof else 0.0)
        self.dials["rear_drop"].set(roof.rear_drop_mm if roof else 0.0)
        self.words["fore_aft"].set(
            roof.fore_aft if roof else ALONG_WINDSHIELD, built and built.roof.forward_mm
        )
        place = built and built.window
        self.words["window_forward"].set(window.forward_mm if window else 0.0, place and place.forward_mm)
        down = window.down_mm if window else None
        self.words["window_down"].set(AUTO if down is None else down, place and place.down_mm)
        self.words["lay_down"].set(window.lay_down_deg if window else 0.0, place and place.lay_down_deg)
        self.dials["flange"].set(window.flange_mm if window else 19.05)
        self.dials["kerf"].set(plan.kerf_mm)
        self.dials["root_gap"].set(plan.root_gap_mm)
        for post in car.posts:
            height = plan.cut_of(post.name, post.side).height_mm
            self.dials[f"cut_height.{post.name}"].set(post.cut_at_mm if height is None else height)
            if f"shift.{post.name}" in self.words:
                by = plan.shift_of(post.name, post.side)
                self.words[f"shift.{post.name}"].set(NONE if by is None else by)

    def limit(self, limits):
        """Set the sliders' limits from :func:`model.limits.limits_of`; the posts' are in the car file."""
        for name, (low, high) in limits.items():
            if name in self.dials:
                self.dials[name].limit(low, high)
        for post in self.car.posts:
            self.dials[f"cut_height.{post.name}"].limit(post.cut_from_mm, post.cut_to_mm)
            if f"shift.{post.name}" in self.dials:
                self.dials[f"shift.{post.name}"].limit(-3 * post.width_mm, 3 * post.width_mm)

    def beside(self, name: str) -> list[str]:
        """Return the settings one press of an arrow key away from a dial's value, the likelier one first."""
        is_word = name in self.words and self.words[name].choice.value != LENGTH
        if is_word or name not in self.dials:
            return []
        return [self._said[name](value) for value in self.dials[name].beside()]

    def _length(self, name, label, is_fine=False):
        self._said[name] = said = lambda mm: f"{name}={_typed(mm)}"
        self.dials[name] = length_dial(
            label, self.car.unit, lambda mm: self._set_to(said(mm)), self._refused, is_fine
        )
        return self.dials[name]

    def _angle(self, name, label):
        self._said[name] = said = lambda deg: f"{name}={deg!r}"
        self.dials[name] = angle_dial(label, lambda deg: self._set_to(said(deg)), self._refused)
        return self.dials[name]

    def _word_or_length(self, name, label, words, length_label):
        def changed(value):
            self._set_to(f"{name}={value if isinstance(value, str) else _typed(value)}")

        self.words[name] = WordOrLength(label, words, self._length(name, length_label), changed)
        return self.words[name]

    def _word_or_angle(self, name, label, words, angle_label):
        def changed(value):
            self._set_to(f"{name}={value if isinstance(value, str) else repr(value)}")

        self.words[name] = WordOrLength(label, words, self._angle(name, angle_label), changed, AN_ANGLE)
        return self.words[name]

    def _cut_chosen(self, change):
        if not self._is_set:
            self._set_to(f"cut={change['new']}")

    def _window_chosen(self, change):
        if not self._is_set:
            self._cut_window(change["new"])


def _typed(mm):
    return f"{mm:.7f} mm"


def _heading(title):
    return widgets.HTML(f'<div class="pd-group">{title}</div>')


def can_shift(car: Car, post: str) -> bool:
    """Return whether a post stands between two side openings: its upper end can slide along the rail."""
    where = [p.axis_mm[0][0] for p in car.posts if p.name == post and p.side != "centre"]
    across = [[c.across_mm for c in o.corners] for o in car.openings if o.role == "side glass"]
    return bool(where) and any(max(x) < where[0] for x in across) and any(min(x) > where[0] for x in across)
