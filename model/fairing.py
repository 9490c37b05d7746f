"""Which readings lie off the fair surface that their neighbours give, and how small a slip would show.

Fairing as on a loft floor: bend a batten through the neighbours and look how far the point stands off it.
Here the batten is bent both ways at once, each of x, y, z on its own.

**Differences of differences.**  y(u, v) is one coordinate over hoops u and rows v, at uneven spacing.  With
the second differences along a hoop and along a row,

    c_i = (y_{i+1} − y_i)/h_{i+1} − (y_i − y_{i−1})/h_i = ∫ hat_i(t) y″(t) dt,

the contrasts D = D_u ⊗ D_v take out *every* profile that all rows share and every section that all hoops
share, however crowned: what is left is ∫∫ hat hat y_uuvv.  The gutter is a crease, so sides and roof are
taken one by one; the roof is mirrored over its crown (x and z even, y odd).  Where the left side was
measured too, the second differences along the hoop of left − right count as well: a car may be lopsided,
but smoothly.

**What tape and shape explain.**  A reading errs by a standard deviation σ, so contrasts by σ² D Dᵀ.  A
shape that is as fair as a batten (y_uuvv white noise of strength τ²: the smoothest such surface is the
cubic spline) adds τ² Q, Q the Gram matrix of the hats.  τ, one for each panel and coordinate, and σ, one
for the car, are those of greatest likelihood; σ is no less than tape/√12, the spread of rounding to the
tape's marks.

**Leave one out.**  With V = σ² D Dᵀ + τ² Q, contrasts d and column s of D for a reading, its stand-off from
the surface through all others, and the standard deviation of that, are

    b = sᵀV⁻¹d / sᵀV⁻¹s,    sd = 1/√(sᵀV⁻¹s):

the outlier test of surveying (Baarda 1968, "data snooping", from memory).  A reading is off beyond
``LIMIT_SD`` sd.  One slip spoils its neighbours' curves, so the furthest off is taken out before the rest
is judged, and in the end each suspect is judged without all the others; nothing is changed in the car.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, null_space

from .measured import CROWN, Car

LIMIT_SD = 4.5  # of some 300 readings of a car, 1 in 500 cars would have one by chance (two-sided normal)
SURE_SD = 0.84  # further off, a slip is found four times in five (normal quantile of 0.8)
SUSPECTS_PER_READING = 1 / 15  # assumed: no more of a car's readings are slips, or it is to be measured anew
_TAU = np.concatenate([[0.0], np.geomspace(0.1, 3000.0, 24)])  # of a contrast, in σ
_SIGMA = np.geomspace(1.0, 16.0, 25)  # in tape/√12
_NIL = 1e-9


@dataclass(frozen=True, kw_only=True)
class FairReading:
    """One coordinate of one measured point against the fair surface through all others.

    Attributes
    ----------
    place, row, side : str
        Hoop and row, or ``front panel`` and ``height/column``; right, left, or centre for a crown.
    axis : str
        ``x``, ``y`` or ``z``; y counts outward, on the left as on the right.
    reading_mm, off_mm : float
        As measured, and how much more that is than the fair surface has there.
    sd_mm : float
        Standard deviation of ``off_mm`` that tape and shape explain.
    """

    place: str
    row: str
    side: str
    axis: str
    reading_mm: float
    off_mm: float
    sd_mm: float

    @property
    def explained_mm(self) -> float:
        """How far off tape and shape may put it; beyond, it is worth measuring again."""
        return LIMIT_SD * self.sd_mm

    @property
    def found_from_mm(self) -> float:
        """A slip of this size is found four times in five."""
        return (LIMIT_SD + SURE_SD) * self.sd_mm

    @property
    def is_off(self) -> bool:
        """Whether it stands off by more than tape and shape explain."""
        return abs(self.off_mm) > self.explained_mm


@dataclass(frozen=True, kw_only=True)
class FairCheck:
    """Every reading that its neighbours can judge, and how well this car was read.

    Attributes
    ----------
    scatter_mm : float
        Standard deviation of a reading; tape/√12 where the marks explain it all.
    readings : tuple of FairReading
    unjudged : tuple of (place, row, side, axis)
        Readings with too few neighbours.
    """

    scatter_mm: float
    readings: tuple[FairReading, ...]
    unjudged: tuple[tuple[str, str, str, str], ...]

    @property
    def off(self) -> tuple[FairReading, ...]:
        """Readings off the fair surface, the furthest past what is explained first."""
        found = [r for r in self.readings if r.is_off]
        return tuple(sorted(found, key=lambda r: -abs(r.off_mm) / r.sd_mm))


def fair_check(car: Car) -> FairCheck:
    """Return how far every reading of hoops and panels lies off the fair surface through the others."""
    least = car.tape_mm / np.sqrt(12)
    tables = [_table(car, axis) for axis in range(3)]
    suspects = [_suspects(table, least) for table in tables]
    while True:
        sigma = _scatter(tables, suspects, least)
        judged = [_judged(t, out, sigma) for t, out in zip(tables, suspects, strict=True)]
        ratios = [
            (abs(off[k] / sd[k]), axis, k) for axis, (off, sd) in enumerate(judged) for k in suspects[axis]
        ]
        if not ratios or min(ratios)[0] > LIMIT_SD:
            break
        _, axis, k = min(ratios)
        suspects[axis].remove(k)
    readings, unjudged = [], []
    for axis, table, (off, sd) in zip("xyz", tables, judged, strict=True):
        for k, key in enumerate(table.keys):
            if not np.isfinite(sd[k]):
                unjudged.append((*key, axis))
                continue
            place, row, side = key
            readings.append(
                FairReading(
                    place=place,
                    row=row,
                    side=side,
                    axis=axis,
                    reading_mm=float(table.values[k]),
                    off_mm=float(off[k]),
                    sd_mm=float(sd[k]),
                )
            )
    return FairCheck(scatter_mm=float(sigma), readings=tuple(readings), unjudged=tuple(unjudged))


# ---------------------------------------------------------------- contrasts of one coordinate


@dataclass(frozen=True, eq=False)
class _Table:
    """Readings of one coordinate, and the contrasts of each panel.

    ``blocks`` holds (D, Q): contrasts over all readings, scaled to unit noise, and what shape adds.
    """

    keys: tuple[tuple[str, str, str], ...]
    values: np.ndarray
    blocks: tuple[tuple[np.ndarray, np.ndarray], ...]


class _Readings:
    """Readings of one coordinate by key, and rows that pick combinations of them."""

    def __init__(self, car, axis):
        self.index, values = {}, []
        g = car.gutter_index
        lines = [(h.name, car.rows, h.right_mm, h.left_mm) for h in car.hoops]
        for panel in car.panels:
            for i, height in enumerate(car.rows[:g]):
                names = tuple(f"{height}/{column}" for column in car.rows[g + 1 :])
                lines.append(
                    (f"{panel.name} panel", names, panel.right_mm[i], (panel.left_mm or (None,) * g)[i])
                )
        for place, names, right, left in lines:
            for side, points in (("right", right), ("left", left or ())):
                for name, point in zip(names, points, strict=False):
                    is_crown = name.split("/")[-1] == CROWN
                    if is_crown and (side == "left" or axis == 1):
                        continue  # one point, on the centre plane
                    key = (place, name, "centre" if is_crown else side)
                    self.index[key] = len(values)
                    values.append(-point[axis] if axis == 1 and side == "left" else point[axis])
        self.values = np.array(values, float)
        has_left = {key[0] for key in self.index if key[2] == "left"}
        self.with_left = {(p, n) for p, n, side in self.index if side == "left"}
        hoops = {h.name for h in car.hoops}
        self.means = (hoops if hoops <= has_left else set()) | (has_left - hoops)

    def pick(self, places, of):
        """Return rows that give ``of`` ("base" or "difference") at every (place, row)."""
        rows = np.zeros((len(places), len(self.values)))
        for row, (place, name) in zip(rows, places, strict=True):
            centre, right = self.index.get((place, name, "centre")), self.index.get((place, name, "right"))
            if of == "difference":
                if right is not None:
                    row[self.index[(place, name, "left")]], row[right] = 1.0, -1.0
            elif centre is not None:
                row[centre] = 1.0
            elif right is not None and place in self.means:
                row[right] = row[self.index[(place, name, "left")]] = 0.5
            elif right is not None:
                row[right] = 1.0
        return rows


def _table(car, axis):
    readings, g = _Readings(car, axis), car.gutter_index
    points = np.array([[hoop.side_mm(side) for hoop in car.hoops] for side in ("right", "left")], float)
    sides, over = car.rows[: g + 1], car.rows[g:]
    names, is_odd = [hoop.name for hoop in car.hoops], axis == 1
    along = _second_differences(_stations(points))
    up = _second_differences(_stations(points[:, :, : g + 1].swapaxes(1, 2)))
    stations_in = _stations(points[:, :, g:].swapaxes(1, 2))
    blocks = [
        _both_ways(along, up, readings.pick([(h, r) for h in names for r in sides], "base")),
        _both_ways(
            along,
            _mirrored_differences(stations_in, is_odd=is_odd),
            readings.pick([(h, r) for h in names for r in over], "base"),
        ),
        _lopsided(up, [[(h, r) for r in sides] for h in names], readings),
        _lopsided(_second_differences(stations_in), [[(h, r) for r in over] for h in names], readings),
    ]
    for panel in car.panels:
        hoop = 0 if panel.name == "front" else -1
        inner = np.array([panel.side_mm(side) for side in ("right", "left")], float).reshape(2, g, -1, 3)
        frame = np.concatenate([points[:, hoop, :g, None], inner], axis=2)
        frame = np.concatenate([frame, points[:, hoop, None, g:]], axis=1)  # (sides, heights, columns, 3)
        lines = [[(f"{panel.name} panel", f"{h}/{c}") for c in over[1:]] for h in car.rows[:g]]
        places = [p for h, line in zip(car.rows, lines, strict=False) for p in [(names[hoop], h), *line]]
        places += [(names[hoop], row) for row in over]
        heights, stations_in = _second_differences(_stations(frame)), _stations(frame.swapaxes(1, 2))
        blocks += [
            _both_ways(
                heights, _mirrored_differences(stations_in, is_odd=is_odd), readings.pick(places, "base")
            ),
            _lopsided(_second_differences(stations_in[1:]), lines, readings),
        ]
    kept = tuple(_scaled(*block) for block in blocks if len(block[0]))
    return _Table(tuple(readings.index), readings.values, kept)


def _stations(points):
    """Return chord lengths along axis 1 of (sides, n, lines, 3) points, shape (n,): each step's median.

    One slip among several lines does not move the median.
    """
    chords = np.median(np.linalg.norm(np.diff(points, axis=1), axis=3), axis=(0, 2))
    return np.concatenate([[0.0], np.cumsum(chords)])


def _second_differences(x):
    """Return D, shape (n − 2, n), and the Gram matrix of the hats, shape (n − 2, n − 2)."""
    h, i = np.diff(x), np.arange(max(len(x) - 2, 0))
    d, gram = np.zeros((len(i), len(x))), np.zeros((len(i), len(i)))
    d[i, i], d[i, i + 1], d[i, i + 2] = 1 / h[:-1], -1 / h[:-1] - 1 / h[1:], 1 / h[1:]
    gram[i, i] = (h[:-1] + h[1:]) / 3
    gram[i[1:], i[:-1]] = gram[i[:-1], i[1:]] = h[1:-1] / 6
    return d, gram


def _mirrored_differences(x, *, is_odd):
    """Return the same for a line that goes on mirrored over its last point, evenly or oddly."""
    n, sign = len(x), -1.0 if is_odd else 1.0
    d, gram = _second_differences(np.concatenate([x, 2 * x[-1] - x[-2::-1]]))
    whole = np.concatenate([np.eye(n), sign * np.eye(n)[-2::-1]])
    if is_odd:
        whole[n - 1] = 0.0
    folded = (np.eye(len(d)) + sign * np.eye(len(d))[::-1])[: n - 2 if is_odd else n - 1] / 2
    return folded @ d @ whole, folded @ gram @ folded.T


def _both_ways(along, across, pick):
    return np.kron(along[0], across[0]) @ pick, np.kron(along[1], across[1])


def _lopsided(differences, lines, readings):
    """Return contrasts of left − right along every line that was measured on both sides."""
    d, gram = differences
    both = [
        line for line in lines if all(p in readings.with_left for p in line if p[1].split("/")[-1] != CROWN)
    ]
    if not both or not len(d):
        return np.zeros((0, len(readings.values))), np.zeros((0, 0))
    rows = np.concatenate([d @ readings.pick(line, "difference") for line in both])
    return rows, np.kron(np.eye(len(both)), gram)


def _scaled(d, q):
    """Return contrasts with unit noise; Q so that τ is the shape's share in a contrast."""
    size = np.linalg.norm(d, axis=1)
    q = q / size[:, None] / size
    return d / size[:, None], q / np.median(np.diag(q))


# ---------------------------------------------------------------- judging


def _without(d, q, readings):
    """Return the contrasts that do not feel some readings."""
    felt = d[:, readings]
    felt = felt[:, np.abs(felt).max(axis=0, initial=0.0) > _NIL]
    if not felt.shape[1]:
        return d, q
    free = null_space(felt.T)
    return free.T @ d, free.T @ q @ free


def _spectrum(d, q):
    """Return W and λ with W D Dᵀ Wᵀ = 1 and W Q Wᵀ = diag λ."""
    lower = np.linalg.cholesky(d @ d.T)
    inner = np.linalg.solve(lower, np.linalg.solve(lower, q).T)
    values, vectors = np.linalg.eigh((inner + inner.T) / 2)
    return np.linalg.solve(lower.T, vectors).T, np.maximum(values, 0.0)


def _suspects(table, sigma):
    """Return readings taken out one by one, the furthest off first, each judged with τ as without it."""
    out = []
    for _ in range(max(1, int(len(table.values) * SUSPECTS_PER_READING))):
        top, bottom = np.zeros(len(table.values)), np.zeros(len(table.values))
        for d, q in table.blocks:
            d, q = _without(d, q, out)
            if not len(d):
                continue
            w, values = _spectrum(d, q)
            s, z = w @ d, w @ (d @ table.values)
            var = sigma**2 * (1 + _TAU[:, None] ** 2 * values)  # (τ, contrasts)
            ss, sd, zz = (1 / var) @ s**2, (z / var) @ s, (1 / var) @ z**2
            is_felt = np.abs(s).max(axis=0) > _NIL
            ss = np.where(is_felt, ss, 1.0)
            fit = np.log(var).sum(axis=1)[:, None] + zz[:, None] - sd**2 / ss + np.log(ss)
            best = fit.argmin(axis=0), np.arange(len(is_felt))
            top += np.where(is_felt, sd[best], 0.0)
            bottom += np.where(is_felt, ss[best], 0.0)
        ratio = np.abs(top) / np.sqrt(np.where(bottom > 0, bottom, np.inf))
        ratio[out] = 0.0
        if ratio.max(initial=0.0) < LIMIT_SD:
            break
        out.append(int(ratio.argmax()))
    return out


def _spread(table, out, sigmas):
    """Return for every σ twice the negative log likelihood, and τ of every block."""
    total, taus = np.zeros(len(sigmas)), []
    for d, q in table.blocks:
        d, q = _without(d, q, out)
        if not len(d):
            taus.append(np.zeros(len(sigmas)))
            continue
        w, values = _spectrum(d, q)
        z = w @ (d @ table.values)
        var = np.asarray(sigmas)[:, None, None] ** 2 * (1 + _TAU[:, None] ** 2 * values)  # (σ, τ, contrasts)
        fit = (np.log(var) + z**2 / var).sum(axis=2)
        total += fit.min(axis=1)
        taus.append(np.asarray(sigmas) * _TAU[fit.argmin(axis=1)])
    return total, taus


def _scatter(tables, suspects, least):
    sigmas = least * _SIGMA
    fits = [_spread(table, out, sigmas)[0] for table, out in zip(tables, suspects, strict=True)]
    return float(sigmas[np.sum(fits, axis=0).argmin()])


def _judged(table, out, sigma):
    """Return stand-off and its sd of every reading, suspects left out of all curves but their own."""
    taus = [tau[0] for tau in _spread(table, out, [sigma])[1]]
    count = len(table.values)
    off, sd = np.full(count, np.nan), np.full(count, np.nan)
    for which in [[k for k in range(count) if k not in out], *([k] for k in out)]:
        others = [k for k in out if k not in which]
        parts = [_without(d, q, others) for d, q in table.blocks]
        d = np.concatenate([np.zeros((0, count)), *(p[0] for p in parts)])
        v = sigma**2 * d @ d.T
        at = 0
        for (part, q), tau in zip(parts, taus, strict=True):
            v[at : at + len(part), at : at + len(part)] += tau**2 * q
            at += len(part)
        factor = cho_factor(v + 1e-9 * sigma**2 * np.eye(len(v)))  # a shared border's noise is counted once
        s = d[:, which]
        ss = np.einsum("ij,ij->j", s, cho_solve(factor, s))
        is_felt = np.abs(s).max(axis=0, initial=0.0) > _NIL
        ss = np.where(is_felt, ss, np.nan)
        off[which] = s.T @ cho_solve(factor, d @ table.values) / ss
        sd[which] = 1 / np.sqrt(ss)
    return off, sd
