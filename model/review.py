"""What an owner is told of a plan: a dozen plain numbers, what stays, what is new, what is asked.

Everything is read off the report and the layout; nothing is worked out here but
differences.  Lengths are in the car's unit first, the other beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

from .built import Built
from .report import Finding, Report
from .units import shop_inches

SAME_GLASS_MM = 0.5  # assumed: an opening that changes less than its rubber takes keeps its pane
FOR_THE_OWNER = ("head in the roof", "post in the view", "windshield height")  # kinds of finding
NONE = "—"
_MM2_PER_FT2 = 304.8**2


@dataclass(frozen=True, kw_only=True)
class PlainNumber:
    """One line of the table; ``stock`` is empty where a number is of the plan alone."""

    label: str
    stock: str
    planned: str


@dataclass(frozen=True, kw_only=True)
class PlanReview:
    """One plan as its owner is told of it; every text is plain, without markup."""

    name: str
    numbers: tuple[PlainNumber, ...]
    stays: tuple[str, ...]
    is_new: tuple[str, ...]
    asked: tuple[str, ...]
    flagged: tuple[str, ...]


def plan_review(built: Built, report: Report) -> PlanReview:
    """Return what an owner is told of a plan."""
    return PlanReview(
        name=report.plan["name"] or "a plan without a name",
        numbers=tuple(_numbers(report)),
        stays=tuple(_stays(built, report)),
        is_new=tuple(_new(built, report)),
        asked=tuple(_asked(report)),
        flagged=tuple(f"{_capital(f.where)}: {f.message}" for f in report.findings if _is_of_the_view(f)),
    )


def length_said(mm: float | None, unit: str) -> str:
    """Return a length in the car's unit with the other beside it.

    Examples
    --------
    >>> length_said(57.15, "in"), length_said(57.15, "mm"), length_said(None, "in")
    ('2-1/4" (57 mm)', '57 mm (2-1/4")', '—')
    """
    if mm is None:
        return NONE
    inches, metric = shop_inches(mm), f"{mm:.0f} mm"
    first, second = (inches, metric) if unit == "in" else (metric, inches)
    return f"{first} ({second})"


def angle_said(deg: float | None) -> str:
    """Return an angle to a tenth of a degree, without its sign."""
    return NONE if deg is None else f"{abs(deg):.1f}°"


def _numbers(report):
    unit, totals, window, view = report.car["unit"], report.totals, report.window, report.view

    def number(label, planned, stock=""):
        return PlainNumber(label=label, stock=stock, planned=planned)

    def lengths(label, before, after):
        return number(label, length_said(after, unit), length_said(before, unit))

    def angles(label, before, after):
        return number(label, angle_said(after), angle_said(before))

    def way(mm):
        return f"{length_said(abs(mm), unit)} {'forward' if mm > 0 else 'rearward'}" if abs(mm) > 0.4 else "0"

    yield number("roof down in front", length_said(totals.front_drop_mm, unit))
    yield number("roof down at the rear", length_said(totals.rear_drop_mm, unit))
    yield number("roof moves", way(totals.roof_forward_mm))
    lower = totals.height_before_mm - totals.height_after_mm
    yield number("highest point lower by", length_said(lower, unit))
    yield lengths("headroom at the seat", totals.headroom_before_mm, totals.headroom_after_mm)
    if view.head is not None:
        head = view.head
        yield lengths("room over your head", head.clearance_before_mm, head.clearance_after_mm)
    yield lengths(
        "windshield glass",
        window.windshield_height_before_mm,
        window.windshield_height_after_mm,
    )
    yield angles("windshield leans back", window.windshield_rake_before_deg, window.windshield_rake_after_deg)
    yield angles("rear window leans forward", window.rear_rake_before_deg, window.rear_rake_after_deg)
    yield number("rear window moves", way(window.rear_forward_mm))
    kept = "kept" if keeps_rear_glass(report) else "new"
    yield number("rear glass", kept, "stock")
    for sight in view.sights:
        if sight.eye == "own":
            yield angles("you see upward", sight.up_before_deg, sight.up_after_deg)
    yield number("weld, all seams", _long_said(totals.weld_mm, unit))
    yield number("sheet cut out", _area_said(totals.removed_area_mm2, unit))


def keeps_rear_glass(report: Report) -> bool:
    """Whether the rear opening keeps its shape, so that its stock glass fits."""
    return report.window.rear_opening_change_mm < SAME_GLASS_MM


def _long_said(mm, unit):
    feet = f"{mm / 304.8:.0f} ft"
    return f"{feet} ({mm / 1000:.1f} m)" if unit == "in" else f"{mm / 1000:.1f} m ({feet})"


def _area_said(mm2, unit):
    feet = f"{mm2 / _MM2_PER_FT2:.1f} sq ft"
    return f"{feet} ({mm2 / 1e6:.2f} m²)" if unit == "in" else f"{mm2 / 1e6:.2f} m² ({feet})"


def _stays(built, report):
    if report.posts and not report.plan.get("split"):
        yield "The roof's own sheet: moved as one piece, not reshaped."
    yield "The body below the cuts, and all that this plan does not name."
    new = {finding.where for finding in _new_glass(report)}
    panes = [name.removeprefix("pane ") for name in built.layout.parts if name.startswith("pane ")]
    kept = [name for name in panes if name not in new and name != built.shape.rear_window.opening.name]
    if kept:
        yield f"Glass: {', '.join(kept)}."
    if keeps_rear_glass(report):
        change = report.window.rear_opening_change_mm
        yield f"The rear glass: its opening keeps its shape to {max(change, 0.1):.1f} mm."


def _new(built, report):
    unit = report.car["unit"]
    if report.posts:
        names = list(dict.fromkeys(post.post for post in report.posts))
        yield f"Posts cut and joined again: {', '.join(names)}."
    if report.plan.get("split"):
        yield "The roof cut into parts, which are moved apart and joined again with new sheet between them."
    leaned = list(dict.fromkeys(lean.key[0] for lean in built.leans))
    if leaned:
        yield f"Posts cut around low down and leaned, so that their ends meet: {', '.join(leaned)}."
    shifted = list(dict.fromkeys(post.post for post in report.posts if abs(post.shift_mm) > 0.4))
    if shifted:
        yield f"Posts moved along the rail, to stand over their lower ends again: {', '.join(shifted)}."
    if report.plan.get("window"):
        yield "A seam around the rear window, which is cut out with a flange of body and set back in."
    gaps = [seam.gap_mm.max for seam in report.seams if seam.gap_mm and seam.name in _open_seams(report)]
    if report.new_metal:
        area = _area_said(sum(metal.area_mm2 for metal in report.new_metal), unit)
        mass = sum(metal.mass_kg for metal in report.new_metal)
        yield f"New metal where pieces stand apart: {len(report.new_metal)} pieces, {area}, {mass:.1f} kg."
    elif gaps:
        widest = length_said(max(gaps), unit)
        yield f"New metal where pieces stand apart: {len(gaps)} seams, {widest} at the widest."
    glass = [finding.where for finding in _new_glass(report)]
    if glass:
        yield f"Glass to new shapes: {', '.join(glass)}."
    if not keeps_rear_glass(report):
        yield "The rear glass: its opening changes."


def _asked(report):
    yield "Say yes to the look, or say what you would change: every number here can still move."
    glass = [finding.where for finding in _new_glass(report)]
    if glass or not keeps_rear_glass(report):
        yield (
            "Agree who orders the glass and pays for it. It is ordered to templates taken off the tacked "
            "car, not off this page."
        )
    if report.posts:
        yield "Sit in the tacked car before it is welded: head, view and belts are as they will be."
        yield (
            "Ask where you live what a lowered roof needs: inspection, registration, insurance. Local rules "
            "and licensed practice decide, not this page."
        )


def _new_glass(report) -> list[Finding]:
    return [finding for finding in report.findings if finding.kind == "new glass"]


def _open_seams(report) -> set[str]:
    return {finding.where for finding in report.findings if finding.kind == "gap"}


def _is_of_the_view(finding: Finding) -> bool:
    return finding.kind in FOR_THE_OWNER


def _capital(text):
    return text[:1].upper() + text[1:]
