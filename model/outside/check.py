"""One outside check: a number of ours beside a reference that was not made here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

FROM_MEMORY = "from memory"
NO_SOURCE = "common practice, no source"


@dataclass(frozen=True, kw_only=True)
class Check:
    """A reference value, and how Plumbdrop's own code comes by the same quantity.

    Attributes
    ----------
    kind : str
        The heading it stands under.
    what : str
        The quantity, and the case it is taken from.
    ours : callable
        Works the quantity out with the code that a report is made with.
    reference : float or str
        A text is held word for word.
    allowed : float or None
        How far apart the two may be: the rounding of the reference as it is
        printed, or what is said in ``what``.  None for a text.
    unit : str
        Of both; ``1`` for a ratio, empty for a text.
    source : str
        Standard, table and page; ``closed form: …`` with the formula; "from
        memory" where it was not looked up; or that there is none.
    """

    kind: str
    what: str
    ours: Callable[[], float | str]
    reference: float | str
    allowed: float | None
    unit: str
    source: str

    def __post_init__(self):
        is_text = isinstance(self.reference, str)
        if is_text != (self.allowed is None):
            raise ValueError(f"{self.what}: a number has an allowed difference, and a text has none.")


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """A check that was carried out."""

    check: Check
    ours: float | str

    @property
    def difference(self) -> float | None:
        """Ours less the reference, in the check's unit; None between texts."""
        return None if self.check.allowed is None else self.ours - self.check.reference

    @property
    def holds(self) -> bool:
        """Whether the two agree; a value that is not a number never does."""
        if self.difference is None:
            return self.ours == self.check.reference
        return abs(self.difference) <= self.check.allowed


def carried_out(check: Check) -> Outcome:
    """Return the outcome of a check."""
    ours = check.ours()
    return Outcome(check=check, ours=ours if check.allowed is None else float(ours))


def group(kind: str, unit: str, source: str, *rows) -> list[Check]:
    """Return checks of one kind, unit and source; a row is (what, ours, reference, allowed)."""
    return [
        Check(
            kind=kind,
            what=what,
            ours=ours,
            reference=reference if allowed is None else float(reference),
            allowed=allowed,
            unit=unit,
            source=source,
        )
        for what, ours, reference, allowed in rows
    ]
