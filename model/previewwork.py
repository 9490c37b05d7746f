"""Long work on the plan in the picture: a button for each kind, how far it has come, and a way to end it.

Every piece of work runs in a process of its own, one at a time, so that no
slider has to wait.  Its result says which plan it belongs to, and is grey
("of an earlier plan") as soon as another one is in the picture.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from html import escape
from pathlib import Path

import ipywidgets as widgets

from .errors import FileRefused, RoofError
from .measured import Car
from .output.exactinterference import interference_html
from .plan import Plan
from .previewstyle import heading_html, status_html
from .processes import PLAN, command_elsewhere
from .units import shop_inches

CAR, OUT = "{car}", "{out}"  # stand for the car's name and the file in the words of a command
CHECK, SHOP, OWNER, OTHERS = "Check", "Papers for the shop", "For the owner", "For other programs"


def said_html(said: str, unit: str) -> str:
    """Return what a command said, each line a paragraph."""
    return "".join(f'<p class="pd-quiet">{escape(line)}</p>' for line in said.splitlines())


def bodies_html(said: str, unit: str) -> str:
    """Return what runs into what, which a command said as JSON, as a table."""
    found = json.loads(said)
    return interference_html(found["interference"], found["undecided"], unit)


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of long work.

    Attributes
    ----------
    group : str
        What it is for, in the words over its row.
    words : tuple of str
        The command, in which CAR, PLAN and OUT stand for car, plan and file.
    file_name : str
        Of what is written, {} standing for the car; empty where nothing is.
    endings : tuple of str
        One of which that name must have; empty for a folder.
    result_html : callable
        What the command said and the car's unit, to what is shown of it.
    """

    label: str
    group: str
    icon: str
    words: tuple[str, ...]
    file_name: str = ""
    endings: tuple[str, ...] = ()
    result_html: Callable[[str, str], str] = said_html


KINDS = (
    Kind(
        label="exact interference",
        group=CHECK,
        icon="search",
        words=("interference", CAR, "--plan", PLAN, "--json"),
        result_html=bodies_html,
    ),
    Kind(
        label="report and marks",
        group=SHOP,
        icon="file",
        words=("report", CAR, "--plan", PLAN, "-o", OUT),
        file_name="{}-report.txt",
        endings=(".txt",),
    ),
    Kind(
        label="draw blanks",
        group=SHOP,
        icon="cut",
        words=("blanks", CAR, PLAN, "-o", OUT),
        file_name="{}-blanks",
    ),
    Kind(
        label="weld plan",
        group=SHOP,
        icon="fire",
        words=("weld", CAR, PLAN, "-o", OUT),
        file_name="{}-weld-plan.html",
        endings=(".html",),
    ),
    Kind(
        label="owner's page",
        group=OWNER,
        icon="eye",
        words=("review", CAR, PLAN, "-o", OUT),
        file_name="{}-review.html",
        endings=(".html",),
    ),
    Kind(
        label="write pictures",
        group=OWNER,
        icon="image",
        words=("pictures", CAR, PLAN, "-o", OUT),
        file_name="{}-pictures",
    ),
    Kind(
        label="write STEP",
        group=OTHERS,
        icon="cube",
        words=("step", CAR, "--plan", PLAN, "-o", OUT),
        file_name="{}-chopped.step",
        endings=(".step", ".stp"),
    ),
    Kind(
        label="write GLB",
        group=OTHERS,
        icon="cube",
        words=("glb", CAR, PLAN, "-o", OUT),
        file_name="{}-chopped.glb",
        endings=(".glb",),
    ),
)


class LongWork(widgets.HBox):
    """A row for each kind of long work.

    Attributes
    ----------
    rows : dict of str to WorkRow
        By the label of their kind.
    """

    def __init__(self):
        self._car: Car | None = None
        self._car_name, self._plan = "", Plan()
        self.rows = {kind.label: WorkRow(kind, self._work_on) for kind in KINDS}
        groups = {}
        for row in self.rows.values():
            groups.setdefault(row.kind.group, []).append(row)
        parts = [
            widgets.VBox(
                [widgets.HTML(heading_html(group)), *rows], layout={"flex": "1 1 340px", "min_width": "0"}
            )
            for group, rows in groups.items()
        ]
        super().__init__(parts, layout={"width": "100%", "flex_flow": "row wrap", "grid_gap": "0 22px"})
        self.add_class("pd-work")

    def take_car(self, car: Car, car_name: str):
        """Work on another car from now on; nothing that was found of the last one is left."""
        self._car, self._car_name = car, car_name
        for row in self.rows.values():
            row.forget(Path(car_name).stem)

    def take_plan(self, plan: Plan):
        """Work on another plan from now on; what was found of an earlier one turns grey."""
        self._plan = plan
        for row in self.rows.values():
            row.hold_against(plan)

    def _work_on(self, row: WorkRow) -> Coroutine:
        """Return the work of one row on the plan in the picture; the others wait for its end."""
        car, name, plan = self._car, self._car_name, self._plan

        async def work():
            for other in self.rows.values():
                other.button.disabled = True
            try:
                await row.work(car, name, plan)
                row.hold_against(self._plan)  # it may have moved on meanwhile
            finally:
                for other in self.rows.values():
                    other.button.disabled = False

        return work()


class WorkRow(widgets.VBox):
    """One kind of long work: begin, see how far it is, end it, and see what came of it.

    Parameters
    ----------
    begun : callable
        Of this row, to the work that is to be done.
    """

    def __init__(self, kind: Kind, begun: Callable[[WorkRow], Coroutine]):
        self.kind, self._begun = kind, begun
        self._worked_on: Plan | None = None
        self._working: asyncio.Future | None = None
        self.button = widgets.Button(
            description=kind.label,
            icon=kind.icon,
            layout={"width": "165px"},
            tooltip=f"{kind.label}, in peace",
        )
        self.path = widgets.Text(
            placeholder=f"{kind.label}: where to", continuous_update=False, layout={"width": "190px"}
        )
        self.path.layout.display = None if kind.file_name else "none"
        self.cancel = widgets.Button(
            description="cancel", icon="times", tooltip=f"End: {kind.label}", layout={"width": "auto"}
        )
        self.bar = widgets.FloatProgress(min=0.0, max=1.0, layout={"width": "150px"})
        self.bar.tooltip = f"{kind.label}: how far it has come"
        self.result = widgets.HTML(layout={"display": "none"})
        self.result.observe(self._show_result, "value")
        self.button.on_click(lambda _: self.begin())
        self.cancel.on_click(lambda _: self.end())
        self._show_working(False)
        head = [self.path, self.button, self.bar, self.cancel]
        super().__init__(
            [
                widgets.HBox(head, layout={"flex_flow": "row wrap", "align_items": "center"}),
                self.result,
            ]
        )

    def begin(self) -> asyncio.Future | None:
        """Begin; return what can be waited for.  Where no kernel runs, do all of it and return None."""
        work = self._begun(self)
        try:
            asyncio.get_running_loop()
        except RuntimeError:
            asyncio.run(work)
            return None
        self._working = asyncio.ensure_future(work)
        return self._working

    def end(self):
        """End the work; a file that it would have written is not written."""
        if self._working is not None:
            self._working.cancel()

    def forget(self, stem: str):
        """Begin with another car of that name."""
        self.end()
        self._worked_on, self.result.value = None, ""
        self.path.value = self.kind.file_name.format(stem)

    def hold_against(self, plan: Plan):
        """Turn what was found grey where it is not of this plan."""
        is_stale = self._worked_on is not None and self._worked_on != plan
        (self.result.add_class if is_stale else self.result.remove_class)("pd-stale")

    async def work(self, car: Car, car_name: str, plan: Plan):
        """Do it, and say what came of it; a refusal is said, never raised."""
        started, called = time.perf_counter(), plan_said(plan, car.unit)
        self._show_working(True)
        self._worked_on = plan
        try:
            out = self._checked_path()
            stands_for = {CAR: car_name, OUT: out}
            words = [stands_for.get(word, word) for word in self.kind.words]
            self._say(f"{called}: working …")
            said = await command_elsewhere(
                words, car, plan, lambda share, of: self._show_progress(called, share, of)
            )
            took = time.perf_counter() - started
            self._say(f"{called}: done in {took:.0f} s")
            self.result.value += self.kind.result_html(said, car.unit)
        except asyncio.CancelledError:
            self._say(f"{called}: ended by you; {self._left_behind()}.")
            raise
        except RoofError as refusal:
            self.result.value = status_html(str(refusal), is_refusal=True)
        except Exception as problem:  # said on the page, for nobody sees a kernel's own log
            text = f"This is a fault in Plumbdrop, not in your plan: {type(problem).__name__}: {problem}"
            self.result.value = status_html(text, is_refusal=True)
        finally:
            self._show_working(False)

    def _left_behind(self) -> str:
        """Return what may lie where work was ended: a file is whole or not there; a folder may have some."""
        is_folder = self.kind.file_name and not self.kind.endings
        return "some of its files may be there already" if is_folder else "nothing was written"

    def _checked_path(self) -> str:
        """Return where to write, absolute; empty where nothing is written."""
        if not self.kind.file_name:
            return ""
        path, endings = Path(self.path.value), self.kind.endings
        if endings and path.suffix.lower() not in endings:
            raise FileRefused(
                self.path.value, f"must end in {' or '.join(endings)}.", "Give the file such a name."
            )
        return str(path.resolve())

    def _show_result(self, change):
        self.result.layout.display = None if change["new"] else "none"

    def _show_progress(self, called, share, words):
        self.bar.value = share
        self._say(f"{called}: {share:.0%} {words}")

    def _show_working(self, is_working):
        self.bar.value = 0.0
        self.bar.layout.display = self.cancel.layout.display = None if is_working else "none"

    def _say(self, text):
        self.result.value = f'<div class="pd-status" role="status">{escape(text)}</div>'


def plan_said(plan: Plan, unit: str) -> str:
    """Return a plan's name and its drops, which tell it from others of that name."""
    if plan.roof is None:
        return plan.name
    drops = [
        shop_inches(mm) if unit == "in" else f"{mm:.0f} mm"
        for mm in (plan.roof.front_drop_mm, plan.roof.rear_drop_mm)
    ]
    name = "unnamed plan" if plan.name == Plan().name else plan.name
    return f"{name} ({drops[0]} down in front, {drops[1]} at the rear)"
