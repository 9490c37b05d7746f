"""How a body stands against where it should: a rigid move, told apart from bending, by least squares.

**Model.**  Point i was to be at P and is measured at M, some coordinates
perhaps not at all:

    M = C + t + R (P + Σ q_k m_k(P) − C) + noise.

R and t are the rigid move, seen at a fixed point C; m_k are the shapes in
which the body may bend and q_k by how much.  Gauss-Newton steps turn R on the
left, R ← exp(δ) R, so R stays a rotation; turns are counted as the length
L δ that they give at a reach L, so that all unknowns are millimetres.

**Doubt.**  With A the Jacobian over the readings' standard deviations, the
covariance is (AᵀA)⁻¹ on what the readings determine; a direction of A's null
space is not determined, and a quantity that has a part in it is not told.
Where the residuals are larger than the readings' own doubt explains (χ² beyond
1 %), every ± is widened to what they show.

**Readings that are wrong** (data snooping: W. Baarda, *A Testing Procedure for
Use in Geodetic Networks*, 1968; from memory).  With residual v, redundancy number
r and standard deviation σ of a reading, w = v / (σ √r) is standard normal; the
largest |w| beyond the limit for all readings together is left out, and the
rest is worked out anew.  By how much the reading is wrong is v / r.  Where two
readings answer for the same misfit, which of them is wrong cannot be told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import chdtrc, ndtri, stdtrit

from .moves import RigidMove

SURE_95 = 1.959963984540054  # two-sided 95 % of a normal distribution
OUTLIER_RISK = 0.01  # assumed: chance that good readings all the same lose one
MISFIT_RISK = 0.01  # assumed: chance that good readings get a wider ± than they need
BEND_RISK = 0.05  # chance that a body which did not bend is said to have
MOST_LEFT_OUT = 5  # assumed: if more than one reading in five is wrong, none can be singled out
LEAST_TOLD_APART = 0.1  # assumed: share of a bend's effect that no rigid move imitates
LEAST_CHECKED = 0.1  # assumed: a reading with less redundancy is checked by no other
SAME_MISFIT = 0.95  # assumed: residuals so correlated that they cannot be told apart
_RANK = 1e-7
_STEPS = 30


@dataclass(frozen=True, eq=False)
class Readings:
    """Where n points should be and where they are.

    Attributes
    ----------
    planned_mm, measured_mm : (n, 3)
        ``measured_mm`` is nan where a coordinate was not measured.
    sd_mm : (n, 3)
        Standard deviation of measured − planned, in so far as it is noise.
    shapes : (n, 3, k)
        How each point moves for one millimetre of each bend. [1]
    centre_mm : (3,)
        Where the move's translation is seen.
    reach_mm : float
        Where a turn is counted as a length.
    """

    planned_mm: np.ndarray
    measured_mm: np.ndarray
    sd_mm: np.ndarray
    shapes: np.ndarray
    centre_mm: np.ndarray
    reach_mm: float

    @property
    def is_given(self) -> np.ndarray:
        """Which coordinates were measured, (n, 3)."""
        return np.isfinite(self.measured_mm)

    def without(self, point, axis) -> Readings:
        """Return the same without one coordinate of one point."""
        measured = self.measured_mm.copy()
        measured[point, axis] = np.nan
        return replace(self, measured_mm=measured)


@dataclass(frozen=True, eq=False)
class Adjustment:
    """What one least-squares adjustment found.

    Attributes
    ----------
    move : RigidMove
        From where the points should be to where they are.
    bends : tuple of int
        Which shapes were allowed for.
    amounts_mm : (k,)
        Of every shape; 0 for those not allowed for.
    readings : array, shape (m, 2)
        Point and axis of each reading.
    residual_mm, sd_mm, redundancy : (m,)
        Measured − fitted; redundancy is between 0 (checked by no other) and 1.
    correlation : (m, m)
        Of the residuals.
    rank : int
    """

    given: Readings
    move: RigidMove
    bends: tuple[int, ...]
    amounts_mm: np.ndarray
    readings: np.ndarray
    residual_mm: np.ndarray
    sd_mm: np.ndarray
    redundancy: np.ndarray
    correlation: np.ndarray
    rank: int
    _covariance: np.ndarray
    _null: np.ndarray

    @property
    def freedom(self) -> int:
        """Readings to spare."""
        return len(self.readings) - self.rank

    @property
    def standardised(self) -> np.ndarray:
        """Residuals over their own standard deviation; 0 where no other reading checks, (m,)."""
        own_sd = self.sd_mm * np.sqrt(np.maximum(self.redundancy, _RANK))
        return np.where(self.redundancy > _RANK, self.residual_mm / own_sd, 0.0)

    @cached_property
    def misfit(self) -> float:
        """Size of the residuals against what the readings' doubt explains; about 1 if all is well."""
        return float(np.sqrt(self._square / self.freedom)) if self.freedom else 1.0

    @property
    def _square(self):
        return float(((self.residual_mm / self.sd_mm) ** 2).sum())

    @cached_property
    def is_explained(self) -> bool:
        """Whether the readings' doubt explains the residuals."""
        return self.freedom == 0 or chdtrc(self.freedom, self._square) >= MISFIT_RISK

    @cached_property
    def sure_95(self) -> float:
        """Standard deviations to a two-sided 95 %, widened where the residuals ask for it."""
        return SURE_95 if self.is_explained else self.misfit * float(stdtrit(self.freedom, 0.975))

    def told(self, rows) -> np.ndarray:
        """Return the ± at 95 % of linear quantities of the unknowns; inf where they are not determined.

        Parameters
        ----------
        rows : array, shape (..., 6 + k)
            Derivatives with respect to t, L δ and every shape's amount.
        """
        used = np.asarray(rows, float)[..., self._columns]
        sd = np.sqrt(np.maximum(np.einsum("...i,ij,...j->...", used, self._covariance, used), 0.0))
        blind = np.linalg.norm(used @ self._null, axis=-1) > 1e-6 * np.linalg.norm(used, axis=-1)
        return np.where(blind, np.inf, self.sure_95 * sd)

    @property
    def _columns(self):
        return [*range(6), *(6 + k for k in self.bends)]

    def displacement_rows(self, points_mm, shapes=None) -> np.ndarray:
        """Return the derivatives of how far points are from where they should be, (n, 3, 6 + k).

        Without ``shapes`` (n, 3, k) of the rigid move alone.
        """
        k = self.given.shapes.shape[2]
        shapes = np.zeros((len(points_mm), 3, k)) if shapes is None else shapes
        bent = points_mm + shapes @ self.amounts_mm
        return _jacobian(self.move.rotation, bent, shapes, self.given.centre_mm, self.given.reach_mm)


def adjusted(given: Readings, bends=(), *, near: Adjustment | None = None) -> Adjustment:
    """Return the move, and the amounts of the shapes named by ``bends``, that fit the readings best.

    ``near`` is an adjustment of nearly the same readings, to start from.

    Raises
    ------
    ValueError
        If nothing was measured.
    """
    mask = given.is_given
    if not mask.any():
        raise ValueError("at least one coordinate must be measured")
    bends = tuple(bends)
    columns = [*range(6), *(6 + k for k in bends)]
    sd, centre, reach = given.sd_mm[mask], given.centre_mm, given.reach_mm
    turn, shift, amounts = np.eye(3), np.zeros(3), np.zeros(given.shapes.shape[2])
    if near is not None:
        turn, shift = near.move.rotation, near.move.points(centre) - centre
        amounts[list(bends)] = near.amounts_mm[list(bends)]
    for _ in range(_STEPS):
        bent = given.planned_mm + given.shapes @ amounts
        residual = (given.measured_mm - (centre + shift + (bent - centre) @ turn.T))[mask]
        rows = _jacobian(turn, bent, given.shapes, centre, reach)[mask][:, columns]
        left, size, right = np.linalg.svd(rows / sd[:, None], full_matrices=True)
        rank = int((size > _RANK * size[0]).sum())
        left, basis = left[:, :rank], right[:rank].T / size[:rank]
        step = basis @ (left.T @ (residual / sd))
        shift = shift + step[:3]
        turn = _turn(step[3:6] / reach) @ turn
        amounts[list(bends)] += step[6:]
        if np.abs(step).max() < 1e-10 * reach:
            break
    cofactor = np.eye(len(sd)) - left @ left.T
    redundancy = np.clip(np.diag(cofactor), 0.0, 1.0)
    root = np.sqrt(np.maximum(redundancy, _RANK))
    return Adjustment(
        given=given,
        move=RigidMove(turn, centre + shift - turn @ centre),
        bends=bends,
        amounts_mm=amounts,
        readings=np.argwhere(mask),
        residual_mm=residual,
        sd_mm=sd,
        redundancy=redundancy,
        correlation=cofactor / np.outer(root, root),
        rank=rank,
        _covariance=basis @ basis.T,
        _null=right[rank:].T,
    )


@dataclass(frozen=True, eq=False)
class WrongReading:
    """A reading that the others contradict: what it reads too much, and the ± of that. [mm]"""

    point: int
    axis: int
    too_much_mm: float
    plus_minus_mm: float


@dataclass(frozen=True, eq=False)
class Stand:
    """How a body stands: the adjustment without the wrong readings and with the bends that show.

    Attributes
    ----------
    final : Adjustment
    allowing_bends : Adjustment
        The same readings with every shape that they can tell apart from a move.
    wrong : tuple of WrongReading
        Left out, the worst first.
    doubtful : tuple of (point, axis)
        Readings that contradict each other, though which is wrong cannot be told; not left out.
    """

    final: Adjustment
    allowing_bends: Adjustment
    wrong: tuple[WrongReading, ...]
    doubtful: tuple[tuple[int, int], ...]


def stand_of(given: Readings) -> Stand:
    """Return how the body stands.

    Wrong readings are looked for with every bend allowed for, so that a bent
    body costs no good reading; then the bends that do not show are dropped,
    the least sure first.
    """
    first = allowing = adjusted(given, _bends_told_apart(given))
    wrong: list[tuple[int, int]] = []
    doubtful = ()
    while allowing.freedom:
        score = np.abs(allowing.standardised)
        worst = int(score.argmax())
        if score[worst] <= -ndtri(OUTLIER_RISK / (2 * len(score))):
            break
        alike = np.abs(allowing.correlation[worst]) > SAME_MISFIT
        if alike.sum() > 1 or len(wrong) >= len(first.readings) // MOST_LEFT_OUT:
            suspects = alike if alike.sum() > 1 else score > SURE_95
            doubtful = tuple(map(tuple, allowing.readings[suspects].tolist()))
            break
        wrong.append(tuple(allowing.readings[worst].tolist()))
        given = given.without(*wrong[-1])
        allowing = adjusted(given, _bends_told_apart(given), near=allowing)
    if doubtful and wrong:  # what was left out before cannot be relied on either
        doubtful = (*wrong, *doubtful)
        given, allowing, wrong = first.given, first, []
    final = allowing
    limit = ndtri(1 - BEND_RISK / (2 * max(len(allowing.bends), 1))) / SURE_95
    while final.bends:
        certainty = {k: abs(final.amounts_mm[k]) / final.told(_unit_row(final, k)) for k in final.bends}
        weakest = min(certainty, key=certainty.get)
        if certainty[weakest] > limit:
            break
        final = adjusted(given, [k for k in final.bends if k != weakest], near=final)
    left_out = tuple(_against_the_rest(final, first.given.measured_mm, *reading) for reading in wrong)
    return Stand(final, allowing, left_out, doubtful)


def most_telling(given: Readings, count) -> list[int]:
    """Return the points that together tell most of move and bends: each next one adds most (D-optimal).

    The determinant of AᵀA grows by det(1 + Bᵢ N⁻¹ Bᵢᵀ) with point i, B its
    rows of A.  ``measured_mm`` is not looked at.
    """
    rows = _jacobian(np.eye(3), given.planned_mm, given.shapes, given.centre_mm, given.reach_mm)
    rows = rows / given.sd_mm[:, :, None]
    normal, chosen = 1e-6 * np.eye(rows.shape[2]), []  # a little, so that the first point can be weighed
    for _ in range(min(count, len(rows))):
        doubt = np.einsum("nij,jk,nlk->nil", rows, np.linalg.inv(normal), rows)
        gain = np.linalg.det(np.eye(3) + doubt)
        gain[chosen] = -np.inf
        chosen.append(int(gain.argmax()))
        normal = normal + rows[chosen[-1]].T @ rows[chosen[-1]]
    return chosen


def amount_plus_minus_mm(found: Adjustment, bend: int) -> float:
    """Return the ± at 95 % of one shape's amount. [mm]"""
    return float(found.told(_unit_row(found, bend)))


def _unit_row(found, bend):
    row = np.zeros(6 + found.given.shapes.shape[2])
    row[6 + bend] = 1.0
    return row


def _jacobian(turn, bent_mm, shapes, centre_mm, reach_mm):
    """Derivatives of C + t + R (bent − C) by t, L δ and the amounts, (n, 3, 6 + k)."""
    arm = (bent_mm - centre_mm) @ turn.T / reach_mm
    rows = np.zeros((len(bent_mm), 3, 6 + shapes.shape[2]))
    rows[:, range(3), range(3)] = 1.0
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):  # (δ × arm)_i = δ_j arm_k − δ_k arm_j
        rows[:, i, 3 + j], rows[:, i, 3 + k] = arm[:, k], -arm[:, j]
    rows[:, :, 6:] = turn @ shapes
    return rows


def _turn(vector):
    """Return the rotation by |v| about v (right-hand rule), after Rodrigues."""
    angle = np.linalg.norm(vector)
    x, y, z = vector
    across = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    half = np.sinc(angle / (2 * np.pi))
    return np.eye(3) + np.sinc(angle / np.pi) * across + half**2 / 2 * across @ across


def _bends_told_apart(given):
    """Return the shapes whose effect on the readings no rigid move, nor another shape, imitates."""
    mask = given.is_given
    rows = _jacobian(np.eye(3), given.planned_mm, given.shapes, given.centre_mm, given.reach_mm)[mask]
    rows = rows / given.sd_mm[mask][:, None]
    bends = []
    for k in range(given.shapes.shape[2]):
        if all(_own_share(rows, j, [*bends, k]) > LEAST_TOLD_APART for j in [*bends, k]):
            bends.append(k)
    return bends


def _own_share(rows, bend, bends):
    own = rows[:, 6 + bend]
    others = rows[:, [*range(6), *(6 + k for k in bends if k != bend)]]
    size = own @ own
    if size == 0.0:
        return 0.0
    rest = own - others @ np.linalg.lstsq(others, own, rcond=_RANK)[0]
    return float(rest @ rest / size)


def _against_the_rest(final, measured_mm, point, axis):
    """Return a reading that was left out against what the others say of its place."""
    given = final.given
    bent = given.planned_mm[point] + given.shapes[point] @ final.amounts_mm
    rows = final.displacement_rows(given.planned_mm, given.shapes)[point, axis]
    doubt = np.hypot(final.told(rows), SURE_95 * given.sd_mm[point, axis])
    too_much = measured_mm[point, axis] - final.move.points(bent)[axis]
    return WrongReading(point, axis, float(too_much), float(doubt))
