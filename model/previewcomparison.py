"""Plans kept by name, and several plans side by side: the same view, the same scale, turned together."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import ipywidgets as widgets

from .comparison import STOCK, STOCK_PLACE, Compared, compared, stock_of, with_window_in_stock_place
from .errors import PlanError, RoofError
from .measured import Car
from .namedplans import forget_named, keep_named, named_plan, named_plans
from .output.comparison import comparison_html
from .plan import Plan
from .previewstyle import heading_html
from .roofview import RoofView

PRESENT = "in the picture"
MOST_OTHERS = 3  # beside the one in the picture: more are too small to see
HEIGHT_PX = 250
BETWEEN_S = 0.05  # for a slider's move to come in between two plans that are worked out


class ComparisonView(widgets.VBox):
    """Keep, show and delete plans by name; tick some to see them beside the one in the picture.

    Parameters
    ----------
    show_plan : callable
        Of a plan that is to come into the picture.
    guarded : callable
        Of work without arguments: does it, and says what was refused.
    chosen : callable
        Called with the names that can be held against, when they change.
    """

    def __init__(
        self,
        show_plan: Callable[[Plan], None],
        guarded: Callable[[Callable], None],
        chosen: Callable[[list[str]], None],
    ):
        self._show_plan, self._guarded, self._chosen = show_plan, guarded, chosen
        self._present: Compared | None = None
        self._car: Car | None = None
        self._working: asyncio.Future | None = None
        self._looked_from, self._unwanted = "three-quarter", set()
        self._pictures: list[RoofView] = []
        self.ticks: dict[str, widgets.Checkbox] = {}
        self._make_parts()
        self.add_class("pd-comparison")

    def _make_parts(self):
        self.name = widgets.Text(
            placeholder="a name for this plan", description="name", layout={"width": "250px"}
        )
        self.name.style.description_width = "44px"
        self.keep_button = _button("keep plan", "bookmark", "Keep the plan in the picture under that name")
        self.kept = widgets.Dropdown(description="kept", layout={"width": "230px"})
        self.kept.style.description_width = "40px"
        self.show_button = _button("show", "eye", "Show the kept plan in the picture")
        self.forget_button = _button("delete", "trash", "Delete the kept plan")
        self.tick_row = widgets.HBox(layout={"flex_flow": "row wrap", "width": "100%"})
        self.pictures = widgets.GridBox(
            layout={"grid_template_columns": "repeat(auto-fit, minmax(300px, 1fr))", "grid_gap": "8px"}
        )
        self.table = widgets.HTML()
        self.body = widgets.VBox([self.pictures, self.table])
        self.keep_button.on_click(lambda _: self._guarded(self.keep))
        self.show_button.on_click(lambda _: self._guarded(self.show_kept))
        self.forget_button.on_click(lambda _: self._guarded(self.forget))
        rows = [
            widgets.HBox(
                [self.name, self.keep_button, self.kept, self.show_button, self.forget_button],
                layout={"flex_flow": "row wrap", "width": "100%"},
            ),
            self.tick_row,
        ]
        super().__init__([*rows, self.body], layout={"width": "100%"})

    # -- plans by name ------------------------------------------------------------------------------

    def take_car(self, car: Car):
        """Begin with another car: nothing is ticked."""
        self._car, self._present = car, None
        for tick in self.ticks.values():
            tick.unobserve_all()
        self.ticks = {}
        self._offer()
        self._draw([])

    def keep(self):
        """Keep the plan in the picture under the name that was typed, and call it that."""
        if self.name.value.strip() in (STOCK, STOCK_PLACE):
            raise PlanError("name", f'must not be "{self.name.value.strip()}".', "That one is always there.")
        named = keep_named(self._present.built.plan, self._car, self.name.value)
        self._offer()
        self.kept.value = named.name
        self._show_plan(named)

    def show_kept(self):
        """Show the kept plan that is chosen."""
        self._show_plan(named_plan(self._car, self._kept_name()))

    def forget(self):
        """Delete the kept plan that is chosen."""
        name = self._kept_name()
        forget_named(self._car, name)
        if name in self.ticks:
            self.ticks.pop(name).unobserve_all()
        self._offer()
        self.update()

    def _kept_name(self):
        if not self.kept.value:
            raise PlanError("name", "must be a plan that was kept; there is none yet.", "Keep one first.")
        return self.kept.value

    def _offer(self):
        names = named_plans(self._car)
        chosen = self.kept.value
        self.kept.options = names
        if names:
            self.kept.value = chosen if chosen in names else names[0]
        self.show_button.disabled = self.forget_button.disabled = not names
        for name in (STOCK, STOCK_PLACE, *names):
            if name not in self.ticks:
                self.ticks[name] = widgets.Checkbox(
                    description=name, indent=False, layout={"width": "auto", "margin": "0 14px 0 0"}
                )
                self.ticks[name].observe(self._ticked, "value")
        self.tick_row.children = [
            widgets.HTML('<div class="pd-beside">compare with</div>'),
            *self.ticks.values(),
        ]
        self._chosen(list(self.ticks))

    # -- side by side -------------------------------------------------------------------------------

    def plan_called(self, name: str) -> Plan:
        """Return what a name that can be ticked stands for, beside the plan in the picture.

        Raises
        ------
        PlanError
            If the plan in the picture has no such counterpart, or none of that name was kept.
        """
        if name == STOCK:
            return stock_of(Plan(car=self._car.name))
        if name == STOCK_PLACE:
            return with_window_in_stock_place(self._present.built.plan)
        return named_plan(self._car, name)

    def compared_called(self, name: str) -> Compared:
        """Return the plan that a name stands for, carried out."""
        return compared(self._car, self.plan_called(name), name)

    def present(self, built, report):
        """Take the plan in the picture as it is now, and hold the others against it."""
        self._present = Compared(name=PRESENT, built=built, report=report)
        self.update()

    def has_moved(self):
        """Show that the plan in the picture has moved on: what is set side by side is of an earlier one."""
        if self._pictures:
            self.body.add_class("pd-stale")

    def look_from(self, name: str):
        """Turn all pictures to a view by its name."""
        self._looked_from = name
        for picture in self._pictures:
            picture.look_from(name)

    def want(self, name: str, is_wanted: bool):
        """Show or hide in all pictures the ghost, the slugs, the seams or the keep-outs."""
        self._unwanted = self._unwanted - {name} if is_wanted else self._unwanted | {name}
        for picture in self._pictures:
            picture.want(name, is_wanted)

    def update(self):
        """Work out what is ticked and show it; in steps, so that no slider has to wait for all of it."""
        if self._working is not None:
            self._working.cancel()
        if self._present is None:
            return
        try:
            asyncio.get_running_loop()
        except RuntimeError:
            self._draw([self._found(name) for name in self._ticked_names()])
            return
        self._working = asyncio.ensure_future(self._update_in_steps())
        self._working.add_done_callback(self._updated)

    async def _update_in_steps(self):
        found = []
        for name in self._ticked_names():
            await asyncio.sleep(BETWEEN_S)
            found.append(self._found(name))
        self._draw(found)

    def _found(self, name):
        """Return a ticked plan carried out; one that is refused is ticked no longer."""
        try:
            return self.compared_called(name)
        except RoofError:
            self.ticks[name].value = False
            raise

    def _updated(self, work):
        if not work.cancelled() and work.exception() is not None:
            self._guarded(work.result)  # says why

    def _ticked_names(self):
        return [name for name, tick in self.ticks.items() if tick.value]

    def _ticked(self, change):
        def check():
            if len(self._ticked_names()) > MOST_OTHERS:
                change["owner"].value = False
                raise PlanError(
                    "compare with",
                    f"must be at most {MOST_OTHERS} plans; got {MOST_OTHERS + 1}.",
                    "Untick another one first.",
                )
            self.update()

        self._guarded(check)

    def _draw(self, others: list[Compared]):
        """Set plans beside the one in the picture; where there is none, show nothing."""
        shown = [self._present, *others] if others else []
        is_more = len(shown) != len(self._pictures)
        while len(self._pictures) > len(shown):
            self._pictures.pop().close()
        while len(self._pictures) < len(shown):
            self._pictures.append(RoofView(height=HEIGHT_PX, group=f"compared {id(self)}"))
        for picture, each in zip(self._pictures, shown, strict=True):
            picture.label = f"{each.name}, in 3-D. Drag or use the arrow keys to turn all of them."
            for name in ("ghost", "slugs", "seams", "keep-outs"):
                picture.want(name, name not in self._unwanted)
            picture.look_at(each.built.shape)
            picture.show(each.built, each.report)
            if is_more:
                picture.look_from(self._looked_from)
        self.pictures.children = [
            widgets.VBox([widgets.HTML(heading_html(each.name)), picture], layout={"min_width": "0"})
            for picture, each in zip(self._pictures, shown, strict=True)
        ]
        names = [each.name for each in shown]
        self.table.value = comparison_html([each.report for each in shown], names) if shown else ""
        self.body.remove_class("pd-stale")


def _button(text, icon, tip):
    return widgets.Button(description=text, icon=icon, tooltip=tip, layout={"width": "auto"})
