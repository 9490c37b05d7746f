"""The order in which one run is tacked and welded: pure sequences of numbers.

**Tacks** halve: both ends first, then the middle, then the middles of what is
left, so that no end closes like a zip fastener on the way to the other.

**Stretches** of equal length between the tacks are welded from the middle out
and skipping: in four passes over every fourth stretch, each pass from the
middle to both ends by turns.  Where two stretches that follow each other
would touch (short runs, and from one pass to the next) the next one from the
middle that does not is taken first.  From four stretches up no two that
follow each other touch; fewer cannot avoid it.
"""

from __future__ import annotations

from math import ceil

SKIP = 4
LEAST_TO_SKIP = 4


def stretch_count(length_mm: float, pitch_mm: float) -> int:
    """Return into how many equal stretches of at most ``pitch_mm`` a run is divided."""
    return max(1, ceil(length_mm / pitch_mm - 1e-9))


def halving_order(count: int) -> list[int]:
    """Return 0 … count − 1: both ends, then the middles of what is left, the widest first."""
    if count < 3:
        return list(range(count))
    order, gaps = [0, count - 1], [(0, count - 1)]
    while gaps:
        widest = max(range(len(gaps)), key=lambda k: gaps[k][1] - gaps[k][0])
        low, high = gaps.pop(widest)
        if high - low > 1:
            middle = (low + high) // 2
            order.append(middle)
            gaps += [(low, middle), (middle, high)]
    return order


def skip_order(count: int) -> list[int]:
    """Return 0 … count − 1 in the order in which they are welded."""
    wanted = _passes(count)
    if count < LEAST_TO_SKIP:
        return wanted
    return _without_touching(wanted)


def _passes(count):
    """Return every number once: four passes, each from the middle out to both sides by turns."""
    middle = (count - 1) // 2
    order = []
    for offset in (0, 2, 1, 3):
        own = [k for k in range(count) if (k - middle) % SKIP == offset]
        order += sorted(own, key=lambda k: (abs(k - middle), k < middle))
    return order


def _without_touching(wanted):
    """Return the numbers in nearly the wanted order, none next to the one before it.

    Depth first, the earliest wanted number first; the search only has to turn
    back near the end of short runs.
    """
    order, left = [], list(wanted)
    tried: list[int] = [0]
    while left:
        at = tried[-1]
        while at < len(left) and order and abs(left[at] - order[-1]) == 1:
            at += 1
        if at < len(left):
            order.append(left.pop(at))
            tried[-1] = at
            tried.append(0)
        else:  # a dead end: put the last one back and take the next instead
            tried.pop()
            left.insert(tried[-1], order.pop())
            tried[-1] += 1
    return order
