"""The rear window panel fitted: what the plan leaves free is solved so that the panel flows into the roof.

The panel's move has three numbers: forward a, down d, lay-down λ about the
y-parallel through the pivot P (frame and signs as in :mod:`model.placing`).
Any of them may be held; the others are free.

**Misfit.**  At the places i along the seams of the shell around the panel
(those of :mod:`model.fit`, each standing for a length w_i) let g be the gap,
s the step (+ the panel stands proud) and t the turn of the skin across the
seam.  The same three read on the uncut skin, with nothing moved, are g⁰, s⁰
and t⁰: the saw's opening, and what the skin's own crown makes over it.  The
panel flows into the shell where it runs on as the uncut skin did:

    minimise  Σ_k b_k² Σ_i (w_i / W) [(g − g⁰)² + (s − s⁰ − p)² + (ℓ (t − t⁰))²]

over the free numbers.  W is the length of all seams, p is what the panel is
to stand proud of the roof, ℓ = 50 mm turns an angle into the offset that it
makes over two inches of a straight-edge, b = 1 along the roof and 0.1 along
the body (p counts along the roof alone).  g⁰ and not the root gap, since an
opening all round cannot be closed by moving the panel; where the blade is no
wider than the root gap the two are the same.

A place that no edge of the panel faces counts with the distance to the
panel's nearest sample as its gap.

**Sink.**  The panel's lower edge (where it runs more across the car than
along or up it) lies below where it was cut out by D = d + max_j h_j(λ), h_j
the plumb drop of its sample j from the turn alone.  The search runs in
(a, D, ℓ₀λ) with ℓ₀ the panel's height, so that all three are lengths and
every limit is a plain bound, the most for D among them: as the plan says, or, on
a panel that lies flatter than 45° and so has a deck under its lower edge, the
flange's width, which keeps the glass above the deck; else only the car's limit.  The search is
scipy's reflective trust region, from a stated start: deterministic.

Checked: a panel put back where it was cut (1e-6), a plumb cylinder along whose
ruling nothing steps, Nelder-Mead on the same sum worked out by moving the
panel's edges, mirrored cars, the report's own seams.  Weights and lengths:
common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import least_squares

from .layout import WINDOW
from .panelreport import Misfit, PanelFit, SeamMisfit
from .panelseams import PanelProblem
from .plan import FIT, WindowMove

SETTINGS = {"forward_mm": "window_forward", "down_mm": "window_down", "lay_down_deg": "lay_down"}
STEP_MM = 1e-3  # of central differences: they err by its square over the skin's radius
_EVALUATIONS = 60


def fitted_window(problem: PanelProblem) -> tuple[WindowMove, PanelFit]:
    """Return the window move with every free setting solved, and how well it fits.

    A bad fit is no error: the report says how bad.
    """
    names = problem.free
    start = _start(problem)
    low, high = _bounds(problem, names)
    at = np.clip(_variables(problem, start, names), low + 1e-9, high - 1e-9)

    def move_of(x):
        return problem.place(_window_of(problem, x, names)).move

    def slopes(x):
        steps = STEP_MM * np.eye(len(names))
        away = [move_of(x + sign * step) for step in steps for sign in (1, -1)]
        values = problem.slopes_mm(away, move_of(x))
        return np.stack([(a - b) / (2 * STEP_MM) for a, b in zip(values[::2], values[1::2], strict=True)], 1)

    found = least_squares(
        lambda x: problem.residuals_mm(move_of(x)),
        at,
        slopes,
        bounds=(low, high),
        xtol=1e-11,
        ftol=1e-13,
        gtol=1e-12,
        max_nfev=_EVALUATIONS,
    )
    solved = _window_of(problem, found.x, names)
    near = np.minimum(found.x - low, high - found.x) < 1e-3
    before, after = (problem.place(w).move for w in (_window_of(problem, at, names), solved))
    place = problem.place(solved)
    return solved, PanelFit(
        free=tuple(SETTINGS[name] for name in names),
        at_limit=tuple(SETTINGS[name] for name, is_near in zip(names, near, strict=True) if is_near),
        opening_mm=float(np.mean([seam.fair[0].mean() for seam in problem.seams])),
        proud_mm=problem.proud_mm,
        sinks_mm=place.down_mm + problem.turn_sinks_mm(solved.lay_down_deg),
        sink_limit_mm=problem.sink_limit_mm,
        rms_before_mm=_rms(problem, before),
        rms_after_mm=_rms(problem, after),
        seams=_misfits(problem, before, after),
    )


def _rms(problem, move):
    return float(np.sqrt(np.sum(problem.residuals_mm(move) ** 2)))


def _start(problem):
    """Return a window move of plain numbers to start from: with the roof forward, not laid down, auto."""
    window = problem.window
    forward = -float(problem.carrier.points(problem.top_mm)[0] - problem.top_mm[0])
    start = replace(
        window,
        forward_mm=forward if window.forward_mm == FIT else window.forward_mm,
        lay_down_deg=0.0 if window.lay_down_deg == FIT else window.lay_down_deg,
        down_mm=None if window.down_mm == FIT else window.down_mm,
    )
    return replace(start, down_mm=problem.place(start).down_mm)


def _variables(problem, window, names):
    values = {
        "forward_mm": window.forward_mm,
        "down_mm": window.down_mm + problem.turn_sinks_mm(window.lay_down_deg),
        "lay_down_deg": np.radians(window.lay_down_deg) * problem.height_mm,
    }
    return np.array([values[name] for name in names])


def _window_of(problem, x, names):
    """Return the window move of plain numbers (down may be None) that variables stand for."""
    values = dict(zip(names, map(float, x), strict=True))
    window = problem.window
    if "lay_down_deg" in values:
        values["lay_down_deg"] = float(np.degrees(values["lay_down_deg"] / problem.height_mm))
    if "down_mm" in values:
        values["down_mm"] -= problem.turn_sinks_mm(values.get("lay_down_deg", window.lay_down_deg))
    return replace(window, **values)


def _bounds(problem, names):
    limits = {
        "forward_mm": problem.limits["window_forward"],
        "down_mm": problem.limits["window_down"],
        "lay_down_deg": np.radians(problem.limits["lay_down"]) * problem.height_mm,
    }
    sink = problem.sink_limit_mm
    if sink is not None:
        low, high = limits["down_mm"]
        limits["down_mm"] = (low, min(high, sink))
    low, high = np.array([limits[name] for name in names]).T
    return low, high


def _misfits(problem, before, after):
    readings = (problem.by_seam(problem.read(move)) for move in (before, after))
    return tuple(
        SeamMisfit(
            seam=f"{WINDOW} to {seam.piece}",
            weight=seam.weight,
            before=_misfit(seam, first),
            after=_misfit(seam, last),
        )
        for seam, first, last in zip(problem.seams, *readings, strict=True)
    )


def _misfit(seam, reading):
    share = seam.length_mm / seam.length_mm.sum()
    gap, step, broken = (
        float(x[np.abs(x).argmax()]) for x in (reading.gap_mm, reading.step_mm, reading.break_deg)
    )
    return Misfit(
        rms_mm=float(np.sqrt((reading.in_mm() ** 2 @ share).sum())),
        gap_mm=gap,
        step_mm=step,
        break_deg=broken,
        facing=float(seam.length_mm[reading.faces].sum() / seam.length_mm.sum()),
    )
