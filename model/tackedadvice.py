"""What to do about a tacked roof, in sentences with shop lengths.

Only what is more than the tape's doubt, and more than a tape shows, is told;
places that have to move alike are told together.
"""

from __future__ import annotations

from math import ceil

from .rigidfit import LEAST_CHECKED, SURE_95
from .units import shop_inches, shown

FINEST = 32  # what is left to correct is small: read to 1/32 in
LEAST_MM = 25.4 / FINEST / 2  # less reads as nothing
POORLY_TOLD = 2.0  # assumed: times the ± of measuring a corner itself
CORNERS = ("left front", "right front", "left rear", "right rear")
_TOGETHER = {  # parts that move alike where the roof is not turned so: told as one
    "raise_mm": {
        (False, False): ("roof",),
        (True, False): ("front", "rear"),
        (False, True): ("right side", "left side"),
        (True, True): CORNERS,
    },
    "back_mm": {False: ("roof",), True: ("right side", "left side")},
    "right_mm": {False: ("roof",), True: ("front", "rear")},
}
_ORDERS = {  # what to do for + and for −, and how the direction is called
    "raise_mm": ("Raise {}", "Lower {}", "up and down"),
    "back_mm": ("Bring {} back", "Bring {} forward", "fore-and-aft"),
    "right_mm": ("Move {} to the right", "Move {} to the left", "across"),
}


def plus_minus(mm, unit):
    """Return a ± for reading, rounded up.

    Examples
    --------
    >>> plus_minus(0.5, "in"), plus_minus(0.51, "mm")
    ('± 1/32" (0.5 mm)', '± 0.6 mm (1/32")')
    """
    inches = shop_inches(ceil(mm / 25.4 * FINEST - 1e-9) * 25.4 / FINEST, FINEST)
    metric = f"{ceil(mm * 10 - 1e-9) / 10:.1f} mm"
    return f"± {inches} ({metric})" if unit == "in" else f"± {metric} ({inches})"


def advice_on_move(places, pitch, roll, yaw, unit) -> tuple[str, ...]:
    """Return what to do with the roof as a whole, and what is as it should be.

    Parameters
    ----------
    places : dict of Place
        By name.
    pitch, roll, yaw : Estimate
        How the roof is turned.
    """
    is_turned = [turn.value is None or turn.shows for turn in (pitch, roll, yaw)]
    parts = {
        "raise_mm": _TOGETHER["raise_mm"][*is_turned[:2]],
        "back_mm": _TOGETHER["back_mm"][is_turned[2]],
        "right_mm": _TOGETHER["right_mm"][is_turned[2]],
    }
    orders, as_planned, untold = [], [], []
    for way, names in parts.items():
        more, less, called = _ORDERS[way]
        for name in names:
            found = getattr(places[name], way)
            where = called if name == "roof" else f"{called} at the {name}"
            if found.value is None:
                untold.append(where)
            elif found.shows and abs(found.value) >= LEAST_MM:
                order = (more if found.value > 0 else less).format(f"the {name}")
                size = shown(abs(found.value), unit, FINEST)
                orders.append(f"{order} {size}, {plus_minus(found.plus_minus, unit)}.")
            else:
                as_planned.append(f"{where} {plus_minus(found.plus_minus, unit)}")
    if not orders and not untold:
        orders = ["The roof stands where the plan puts it, within what the tape can tell."]
    if as_planned:
        orders.append(f"As planned, within what the tape can tell: {', '.join(as_planned)}.")
    if untold:
        orders.append(f"Cannot be told from these points: {', '.join(untold)}.")
    return tuple(orders)


def advice_on_bend(kind, amount, unit) -> str:
    """Return what one bend means and what to do about it.

    Remedies: common practice, no source.
    """
    mm, by = amount.value, f"{shown(abs(amount.value), unit, FINEST)}, {plus_minus(amount.plus_minus, unit)}"
    if kind == "twist":
        high, low = ("right rear and left front", "left rear and right front")[:: 1 if mm > 0 else -1]
        return (
            f"Twist, no misplacement: {high} stand high, {low} low, each by {by}. Moving the roof does not "
            f"cure it: see that the body still stands level on its braces, then let go the tacks of one high "
            "corner, bring it down, tack again and measure again."
        )
    if kind == "spread":
        way, cure = ("out", "draw the sides together") if mm > 0 else ("in", "press the sides apart")
        return (
            f"Spread, no misplacement: either side stands {way} by {by}. Moving the roof does not cure it: "
            f"{cure} from gutter to gutter before the next tack, and brace them so."
        )
    way = "high" if mm > 0 else "low"
    return (
        f"Bow, no misplacement: the middle between front and rear posts stands {way} by {by}: it has "
        "sprung. Moving the roof does not cure it: let go the tacks between the end posts, bring the middle "
        f"{'down' if mm > 0 else 'up'} on a prop and tack again."
    )


def notes_on(found, names, mirrored, places, unit) -> tuple[str, ...]:
    """Return what to know before the advice is followed.

    Parameters
    ----------
    found : Adjustment
    names : sequence of str
        Of its readings.
    mirrored : sequence of str
        Points planned from the mirror image of the other side.
    places : dict of Place
    """
    notes = []
    unchecked = [n for n, share in zip(names, found.redundancy, strict=True) if share < LEAST_CHECKED]
    if found.freedom == 0:
        notes.append(
            "Nothing checks these readings: a slip in any of them goes into the advice. Measure more."
        )
    elif unchecked:
        notes.append(f"No other reading checks these; read them twice: {'; '.join(unchecked)}.")
    if not found.is_explained:
        notes.append(
            f"The points disagree {found.misfit:.1f} times as much as the tape explains: the roof has sprung "
            "in some other way, a point was mistaken, or the tape was held less well than assumed. "
            "Every ± is widened by as much."
        )
    if mirrored:
        notes.append(
            "Planned from the mirror image of the other side, so that a car that is not alike on both sides "
            f"reads as misplaced: {'; '.join(mirrored)}."
        )
    if any(places[name].raise_mm.value is None for name in CORNERS):
        notes.append(
            "Points on one line leave open how the roof is tilted about it: "
            "measure a height well off that line."
        )
    if places["roof"].back_mm.value is None or places["roof"].right_mm.value is None:
        notes.append(
            "To be told fore-and-aft and across, measure x and y of points at the front and at the rear."
        )
    return (*notes, *_poor_spread(found, places, unit))


def _poor_spread(found, places, unit):
    single = SURE_95 * float(found.sd_mm.max())
    doubts = {
        f"{called} at the {name}": getattr(places[name], way).plus_minus
        for name in CORNERS
        for way, (_, _, called) in _ORDERS.items()
    }
    doubts = {where: doubt for where, doubt in doubts.items() if doubt is not None}
    worst = max(doubts, key=doubts.get, default=None)
    if worst is None or doubts[worst] <= POORLY_TOLD * single:
        return ()
    return (
        f"The points are poorly spread, worst for {worst}: {plus_minus(doubts[worst], unit)}, where one "
        f"point measured there would give {plus_minus(single, unit)}. Add points at the corners they "
        "leave out.",
    )
