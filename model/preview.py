"""The notebook's preview: choose a car, move sliders, see the chopped shell and its report.

One change of a slider makes one new plan, one computation and one picture.
A plan that is refused leaves the last good one in the picture and says why.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path

from .built import Built
from .carfile import demo_car_names, demo_car_path, demo_plan_path, read_car
from .carfindings import car_check
from .closing import closed, closing_of
from .comparison import STOCK
from .controls import Controls
from .keptplan import keep_plan, kept_plan, kept_since
from .limits import limits_of
from .measured import Car
from .output.doorhtml import side_glass_html
from .output.html import (
    BEING_WORKED_OUT,
    NOT_WORKED_OUT,
    OF_THE_OPEN_ROOF,
    findings_html,
    headline_html,
    posts_html,
    seams_html,
    window_html,
)
from .output.measures import measures_html
from .output.placenotes import place_notes
from .output.ribbonsvg import ribbons_html
from .output.sureness import sureness_html
from .output.workhtml import OPEN_ROOF, remedies_html, welding_html
from .plan import Plan, WindowMove
from .planfile import read_plan, write_plan
from .planhistory import PlanHistory
from .plansettings import plan_with_settings
from .previewcomparison import ComparisonView
from .previewpage import FILE, SWIPE, PreviewPage
from .previewstyle import legend_html, status_html
from .report import Report
from .reportsteps import report_steps, with_remedies
from .restwork import Clock, done_in_steps, in_plain_words, is_heard, swept, uncertainties, without_sweeps
from .silhouette import side_drawing
from .weldplan import plan_of_seams, weld_seams
from .workahead import WorkAhead, answering, picture_of

LOOKING = "Looking for what runs into what …"
WITHOUT_METAL = "Looking at the pieces without new metal: that is worked out when no slider moves …"
WITH_METAL = "Looking at new metal, what runs into what, and blanks …"
DRAW_AFTER_S = 0.1  # for the picture to get away before the side view is drawn
AHEAD_AFTER_S = 0.15  # before another press is worked out ahead; two take less than what is left to a look
AHEAD_MOST_S = (
    0.4  # of processor time: what takes longer is not worked out ahead, for a press would wait for it
)
LOOK_AFTER_S = 0.6  # how long no slider must have moved
TAPE_AFTER_S = 2.0  # the same for the ± of the cut, and once more for those of the rest
STALE = '<div class="pd-stale">'  # of a plan that has moved on


def preview(car="coupe", plan=None) -> Preview:
    """Return the preview of a car that ships, or of a car file; the last line of a cell shows it.

    Parameters
    ----------
    car : str or Path
        ``coupe``, ``pickup`` or the path of a car file.
    plan : str, Path or Plan, optional
        A plan file or a plan; by default the one that ships with the car, or stock.
    """
    return Preview(car, plan)


class Preview(PreviewPage):
    """Controls, picture and report of one plan on one car.

    Attributes
    ----------
    car : Car
    plan : Plan
        The last plan that could be built: what picture and numbers show.
    built : Built
    report : Report
        Of that plan; while a slider moves, without new metal.
    controls : Controls
    view : RoofView
    timings_ms : dict
        How long the stages of the last change took.
    """

    def __init__(self, car="coupe", plan=None):
        self.car: Car | None = None
        self.plan: Plan | None = None
        self.built: Built | None = None
        self.report: Report | None = None
        self.controls: Controls | None = None
        self.timings_ms: dict[str, float] = {}
        self._wish, self._car_name = Plan(), ""
        self._history, self._kept = PlanHistory(Plan()), None
        self._waiting: list[asyncio.TimerHandle] = []
        self._finding: asyncio.Future | None = None
        self._looking: asyncio.Future | None = None
        self._ahead, self._moved = WorkAhead(self._found), ""
        self._drawn: Built | None = None  # what the picture shows: the plan, or its pieces without new metal
        self._unsure = BEING_WORKED_OUT
        super().__init__(ComparisonView(self._take_plan, self._guarded, self._offer_before))
        self._wire()
        self._guarded(lambda: self._take_car(str(car), plan))

    # -- what the buttons and sliders do ------------------------------------------------------------

    def set(self, setting: str):
        """Change one setting of the plan, ``name=value``, as ``--set`` takes it."""
        name = setting.partition("=")[0]
        self._guarded(lambda: self._show(plan_with_settings(self._wish, [setting], self.car), setting=name))

    def cut_window(self, is_out: bool):
        """Cut the rear window out, or leave it in the shell."""
        window = (self._wish.window or WindowMove()) if is_out else None
        self._guarded(lambda: self._show(replace(self._wish, window=window)))

    def back_to_stock(self):
        """Put everything back."""
        self._guarded(lambda: self._show(Plan(car=self.car.name), is_new=True))

    def undo(self):
        """Show the plan before, or the last one that works if another was refused since."""
        is_refused = self._wish != self.plan
        self._travel(self._history if is_refused else self._history.undo())

    def redo(self):
        """Show the plan again that was undone last."""
        self._travel(self._history.redo())

    def bring_back(self):
        """Show the plan that was the last one when this car was closed."""
        self._guarded(lambda: self._show(self._kept, is_new=True))

    def load_plan(self, path):
        """Show the plan in a file."""

        def load():
            self._show(read_plan(path, self.car), is_new=True)
            self._say(f"Read {Path(path).resolve()}")

        self._guarded(load)

    def save_plan(self, path):
        """Write the plan in the picture to a file."""

        def save():
            write_plan(self.plan, self.car, path)
            self._say(f"Wrote {Path(path).resolve()}")

        self._guarded(save)

    def choose_car(self, name):
        """Show a car that ships or a car file, with the plan that ships for it or as stock."""
        self._guarded(lambda: self._take_car(name, None))

    # -- one change ---------------------------------------------------------------------------------

    def _take_car(self, name, plan):
        is_shipped = name in demo_car_names() and not Path(name).is_file()
        car = read_car(demo_car_path(name) if is_shipped else name)
        if plan is None:
            plan = read_plan(demo_plan_path(name), car) if is_shipped else Plan(car=car.name)
        elif not isinstance(plan, Plan):
            plan = read_plan(plan, car)
        built = answering(car, plan).result().built
        self.car, self._car_name = car, name
        self.measures.value = measures_html(car_check(built.shape))
        self.controls = Controls(car, self.set, self.cut_window, self._refuse)
        self.controls_box.children = (self.controls,)
        self.legend.value = legend_html(car.unit)
        self.before.value = STOCK
        self.view.look_at(built.shape)
        self.comparison.take_car(car)
        self.work.take_car(car, name)
        self._history = PlanHistory(plan)
        self._show(plan, is_new=True)
        self.offer_views(self.view.names)
        self.view.look_from(self.views.value)
        stem = Path(name).stem
        self.plan_path.value = f"{stem}-my-plan.toml"
        if is_shipped:
            self.car_choice.value = name
        self._offer_kept()  # last: if that file is spoilt, it is said, and the car stands

    def _travel(self, history):
        """Show another plan of the history."""

        def show():
            self._show(history.now, is_new=True)
            self._history = history
            self._allow_travel()

        self._guarded(show)

    def _allow_travel(self):
        self.undo_button.disabled = not self._history.before
        self.redo_button.disabled = not self._history.undone

    def _offer_kept(self):
        """Offer the last plan of a car that was closed, whatever is planned from now on."""
        since = kept_since(self.car)
        self.back_button.layout.display = "none" if since is None else None
        if since is not None:
            self._kept = kept_plan(self.car)
            self.back_button.description = f"last plan, {since:%d %b %H:%M}"

    @without_sweeps()
    def _show(self, plan, is_new=False, setting=""):
        """Compute one plan and show it; the wish stays even if refused, so that sliders go on from it."""
        self._wish = plan
        clock = Clock()
        answer = answering(self.car, plan).result()
        built, drawn, report = answer.built, answer.drawn, answer.report
        clock.lap("plan and report")
        self.plan, self.built, self.report, self._drawn = plan, built, report, drawn
        self._history = self._history.with_plan(plan, setting)
        self._allow_travel()
        if is_new:
            self.controls.show(plan, built)
            self._limit()
        self._unsure = BEING_WORKED_OUT
        (self.headline.remove_class if drawn is built else self.headline.add_class)("pd-open")
        self.headline.value = headline_html(report)
        self.view.show_parts(drawn, report, picture_of(answer))
        clock.lap("3-D view")
        self.timings_ms = clock.laps_ms
        self.comparison.has_moved()
        self.work.take_plan(plan)
        self._say(LOOKING if drawn is built else WITHOUT_METAL)
        self._moved = setting
        self._afterwards(
            (DRAW_AFTER_S, self._draw_rest), (AHEAD_AFTER_S, self._work_ahead), (LOOK_AFTER_S, self._look_now)
        )
        self._how_sure_later(built)

    def _afterwards(self, *work):
        """Do work once no slider has moved for so many seconds; at once where no kernel runs."""
        while self._waiting:
            self._waiting.pop().cancel()
        self._ahead.end()
        if self._looking is not None:
            self._looking.cancel()
        built = self.built
        if is_heard():
            loop = asyncio.get_running_loop()
            waiting = [loop.call_later(wait, self._do_now, do, built) for wait, do in work]
            self._waiting = sorted(waiting, key=asyncio.TimerHandle.when)  # as they will be done
            return
        for _, do in work:
            do(built)

    def _do_now(self, do, built):
        self._waiting.pop(0)
        self._guarded(lambda: do(built))

    @property
    def is_working(self) -> bool:
        """Whether something of the picture or the numbers is still to come, a ± apart."""
        return bool(self._waiting) or (self._looking is not None and not self._looking.done())

    def _draw_rest(self, built):
        if built is self.built:
            clock, report = Clock(), with_remedies(self.report, self._drawn)
            self.report = report
            side = side_drawing(self._drawn, report).svg(760, 10, "side view, stock dashed")
            self.silhouette.value = f"{side}{ribbons_html(report)}"
            clock.lap("side view")
            self.posts.value, self.seams.value = posts_html(report), seams_html(report)
            self.remedies.value, self.welding.value = remedies_html(report), OPEN_ROOF
            self.window.value, self.findings.value = window_html(report), findings_html(report)
            self.view.notes = place_notes(report)
            clock.lap("tables")
            self.timings_ms |= clock.laps_ms

    def _work_ahead(self, built):
        """Work out what one more press of an arrow key would show; not where no kernel runs."""
        if is_heard() and answering(self.car, built.plan).result().cost_s < AHEAD_MOST_S:
            self._ahead.begin(self.car, built.plan, self.controls.beside(self._moved))

    async def _find_how_sure(self, built):
        """Say how sure the numbers are as far as that is known, until all of it is."""
        async for found in uncertainties(self._car_name, self.car, built.plan, TAPE_AFTER_S):
            self._say_how_sure(found)
        self._unsure = OF_THE_OPEN_ROOF  # all that there are have come
        self.headline.value = headline_html(self.report, self._unsure)

    def _how_sure_later(self, built):
        """Begin again to find how sure the numbers are; not where no kernel runs."""
        if self._finding is not None:
            self._finding.cancel()
        if not is_heard():
            return
        if self.sureness.value and not self.sureness.value.startswith(STALE):
            self.sureness.value = f"{STALE}{self.sureness.value}</div>"
        self._finding = asyncio.ensure_future(self._find_how_sure(built))
        self._finding.add_done_callback(self._found)

    def _found(self, work):
        """Say why no ± came, or what went wrong at rest."""
        if work.cancelled() or work.exception() is None:
            return
        self._refuse(work.exception())
        if work is self._finding:
            self._unsure = NOT_WORKED_OUT
            self.headline.value = headline_html(self.report, self._unsure)

    def _say_how_sure(self, uncertainty):
        self.report = replace(self.report, uncertainty=uncertainty)
        self.headline.value = headline_html(self.report, self._unsure)
        self.sureness.value = sureness_html(uncertainty, self.car.unit)

    def _look_now(self, built):
        """Work out what is slow, a step at a time where a kernel runs: a move of a slider ends it."""
        if built is not self.built:
            return
        self._history = self._history.settled()
        if self._history.before:
            keep_plan(self.plan, self.car)
        steps = self._steps(built)
        if is_heard():
            swept()
            self._looking = asyncio.ensure_future(done_in_steps(steps))
            self._looking.add_done_callback(self._found)
            return
        for _ in steps:
            pass

    def _steps(self, built):
        if self._drawn is not built:
            if WITHOUT_METAL in self.status.value:
                self._say(WITH_METAL)
            yield
            yield from closing_of(built).steps()
            built = self.built = closed(built)
            yield
        for report in report_steps(built):
            if report is None:
                yield
                continue
            self.report = replace(report, uncertainty=self.report.uncertainty)
            if self._drawn is not built:
                self._drawn = built
                self.headline.remove_class("pd-open")
                self.view.show(built, self.report)
                self._draw_rest(built)
            self._show_numbers()
            yield
        welds = []
        for weld in weld_seams(built, self.report):
            welds.append(weld)
            yield
        self.welding.value = welding_html(plan_of_seams(built, self.report, tuple(welds)))
        if any(looking in self.status.value for looking in (LOOKING, WITH_METAL)):  # no refusal since
            self._say("")
        self.comparison.present(built, self.report)
        self._hold_against(self.before.value)

    def _show_numbers(self):
        report = self.report
        self.headline.value = headline_html(report, self._unsure)
        self.findings.value = findings_html(report)
        self.seams.value = seams_html(report)  # with trim lines and blanks
        self.window.value = window_html(report) + side_glass_html(report.side_glass, self.car.unit)

    def _take_plan(self, plan):
        self._show(plan, is_new=True)

    def _offer_before(self, names):
        """Offer what can be shown as before; what is shown now stays where it is one of them."""
        chosen = self.before.value
        if tuple(names) != self.before.options:
            self.before.options = names
            self.before.value = chosen if chosen in names else STOCK

    def _hold_against(self, name):
        self.view.hold_against(None if name == STOCK else self.comparison.compared_called(name).built)

    def _limit(self):
        self.controls.limit(limits_of(self.car, self.plan))

    def _guarded(self, work):
        """Do something; say what was refused, keep the last good picture, never show a traceback."""
        try:
            work()
        except Exception as problem:
            self._refuse(problem)

    def _refuse(self, problem):
        kept = " Picture and numbers still show the last plan that works." if self.plan else ""
        self.status.value = status_html(in_plain_words(problem) + kept, is_refusal=True)

    def _say(self, text):
        self.status.value = status_html(text)

    def _wire(self):
        self.car_choice.observe(self._car_chosen, "value")
        self.car_path.observe(lambda change: change["new"] and self.choose_car(change["new"]), "value")
        for pictures in (self.view, self.comparison):
            self.views.observe(lambda change, look=pictures.look_from: look(change["new"]), "value")
            for name, box in self.toggles.items():
                box.observe(lambda change, name=name, want=pictures.want: want(name, change["new"]), "value")
        self.before.observe(lambda change: self._guarded(lambda: self._hold_against(change["new"])), "value")
        self.way_of_before.observe(lambda change: self.view.swipe(change["new"] == SWIPE), "value")
        self.stock_button.on_click(lambda _: self.back_to_stock())
        self.undo_button.on_click(lambda _: self.undo())
        self.redo_button.on_click(lambda _: self.redo())
        self.back_button.on_click(lambda _: self.bring_back())
        self.save_button.on_click(lambda _: self.save_plan(self.plan_path.value))
        self.load_button.on_click(lambda _: self.load_plan(self.plan_path.value))

    def _car_chosen(self, change):
        is_file = change["new"] == FILE
        self.car_path.layout.display = None if is_file else "none"
        if not is_file and change["new"] != self._car_name:
            self.choose_car(change["new"])
