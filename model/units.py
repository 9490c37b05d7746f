"""Lengths and angles at the edge: what a tape shows in, millimetres inside, and back.

Inside Plumbdrop every length is in millimetres and every angle in degrees.
This module is the only place where anything else is read or shown.
"""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction

from .errors import MeasureError

UNITS = ("in", "mm")
MM_PER_INCH = Fraction(254, 10)
LONGEST_MM = 10_000  # assumed: no measure on a car is longer than 10 m
STEEPEST_DEG = 90  # assumed: no angle that a plan asks for is steeper than plumb
FINEST_INCH = 64  # the finest division on a shop tape or rule

_MM_PER = {"in": MM_PER_INCH, "mm": Fraction(1), "cm": Fraction(10), "ft": 12 * MM_PER_INCH}
_MARKS = {'"': "in", "in": "in", "inch": "in", "inches": "in", "mm": "mm", "cm": "cm", "'": "ft", "ft": "ft"}
_PLAIN = str.maketrans(
    {"″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "‘": "'", "−": "-", "–": "-", "⁄": "/"}
)
_NUMBER = r"\d+(?:\.\d*)?|\.\d+"
_LENGTH = re.compile(
    rf"(?P<sign>[-+]?)\s*"
    rf"(?:(?P<feet>{_NUMBER})\s*(?:'|ft(?![a-z]))(?:\s*-?\s*(?=[\d.]))?)?"
    rf"(?:(?:(?P<whole>\d+)(?:\s*-\s*|\s+))?(?P<over>\d+)\s*/\s*(?P<under>\d+)|(?P<number>{_NUMBER}))?"
    r"\s*(?P<mark>\"|inches|inch|in|mm|cm)?\.?",
    re.IGNORECASE,
)


def length_mm(text, unit, where="length"):
    """Return a length as people type it. [mm]

    A plain number is in the default unit.  A fraction is always inches: no
    metric tape shows one.

    Parameters
    ----------
    text : str, int or float
        ``14-3/8``, ``14 3/8"``, ``3/8 in``, ``2.25 in``, ``4' 2-1/2"``,
        ``365 mm``, ``36.5 cm``, ``365``; primes, a true minus and single
        characters such as ``½`` are understood.
    unit : str
        Default unit: ``in`` or ``mm``.
    where : str
        The place to name in a refusal; starts its message.

    Returns
    -------
    float
        The length. [mm]

    Raises
    ------
    MeasureError
        If it is not a finite length of at most 10 m.

    Examples
    --------
    >>> length_mm("2-1/4", "in"), length_mm("57 mm", "in"), length_mm(57, "mm")
    (57.15, 57.0, 57.0)
    >>> length_mm("-2 1/4″", "mm")
    -57.15
    """
    if unit not in UNITS:
        raise MeasureError(f"{where}: the unit must be in or mm; got {unit!r}.", "Choose one of the two.")
    if isinstance(text, str):
        exact_mm = _exact_mm(text, unit, where)
    elif isinstance(text, (int, float)) and not isinstance(text, bool):
        if isinstance(text, float) and not math.isfinite(text):
            raise MeasureError(f"{where} must be a finite length; got {text}.", "Measure it again.")
        exact_mm = Fraction(str(text)) * _MM_PER[unit]  # the decimal that was typed, not its nearest float
    else:
        raise _not_a_length(text, unit, where)
    if abs(exact_mm) > LONGEST_MM:
        raise MeasureError(
            f'{where} must be at most 10 m (393-11/16"); got {_short(text)}.',
            f"Check the digits and the unit: a plain number is in {unit_name(unit)}.",
        )
    return float(exact_mm)


def angle_deg(value, where="angle"):
    """Return an angle given as a number or text such as ``4``, ``4.5°`` or ``4 deg``. [deg]

    Raises
    ------
    MeasureError
        If it is not a finite angle within plus or minus 90 degrees.

    Examples
    --------
    >>> angle_deg("4.5°"), angle_deg(-3)
    (4.5, -3.0)
    """
    number = value
    if isinstance(value, str):
        match = re.fullmatch(
            rf"([-+]?(?:{_NUMBER}))\s*(?:°|deg|degrees?)?", value.strip().translate(_PLAIN), re.IGNORECASE
        )
        number = float(match[1]) if match else None
    if isinstance(number, bool) or not isinstance(number, (int, float)):
        raise MeasureError(
            f"{where} must be an angle in degrees; got {_short(value)}.", "Write a number such as 4.5."
        )
    if not abs(number) <= STEEPEST_DEG:  # also refuses nan
        raise MeasureError(
            f"{where} must be between -{STEEPEST_DEG} and {STEEPEST_DEG} degrees; got {_short(value)}.",
            "Give the angle in degrees.",
        )
    return float(number)


def shop_inches(mm, denominator=16):
    """Return a length in inches as a tape shows it, to the nearest 1/denominator.

    Parameters
    ----------
    mm : float
        Length. [mm]
    denominator : int
        Finest division shown, for example 16 or 32. [1]

    Examples
    --------
    >>> shop_inches(57.15), shop_inches(-57.15), shop_inches(9.525), shop_inches(0.1)
    ('2-1/4"', '-2-1/4"', '3/8"', '0"')
    """
    parts = math.floor(abs(mm) / 25.4 * denominator + 0.5)
    sign = "-" if mm < 0 and parts else ""
    return f'{sign}{_mixed(Fraction(parts, denominator), "-")}"'


def shown(mm, unit, denominator=16):
    """Return a length for reading, in the car's unit first and the other beside it.

    Examples
    --------
    >>> shown(57.15, "in"), shown(57.15, "mm")
    ('2-1/4" (57.2 mm)', '57.2 mm (2-1/4")')
    """
    inches = shop_inches(mm, denominator)
    metric = f"{_no_minus_zero(round(mm + math.copysign(1e-9, mm), 1)):.1f} mm"  # 57.15 reads 57.2
    return f"{inches} ({metric})" if unit == "in" else f"{metric} ({inches})"


def typed_length(mm, unit, joint="-"):
    """Return a length as it is typed into a file; reading it gives ``mm`` back to 1e-9 mm.

    Parameters
    ----------
    mm : float
        Length. [mm]
    unit : str
        ``in``: a fraction as text where it is exact to 1/64 in; ``1.2 mm``
        where it was plainly measured so; else a plain number.  ``mm``:
        always a plain number.
    joint : str
        Between whole inches and fraction.

    Returns
    -------
    str, int or float

    Examples
    --------
    >>> typed_length(57.15, "in"), typed_length(50.8, "in"), typed_length(2.54, "in")
    ('2-1/4', 2, 0.1)
    >>> typed_length(1.2, "in"), typed_length(57.123, "in")
    ('1.2 mm', 2.24893700787)
    >>> typed_length(57.0, "mm"), typed_length(57.15, "mm")
    (57, 57.15)
    """
    mm = float(mm)  # a numpy float writes itself otherwise
    if unit == "mm":
        return _decimal(mm, 1.0, 17)
    parts = round(mm / 25.4 * FINEST_INCH)
    if parts % FINEST_INCH and abs(parts / FINEST_INCH * 25.4 - mm) <= 1e-10:
        return ("-" if parts < 0 else "") + _mixed(Fraction(abs(parts), FINEST_INCH), joint)
    metric = _decimal(mm, 1.0, 2)
    if metric is not None and _decimal(mm, 25.4, 3) is None:
        return f"{metric} mm"
    return _decimal(mm, 25.4, 17)


def _decimal(mm, scale_mm, most_digits):
    """Return the shortest decimal that gives the length back, or None beyond ``most_digits``."""
    for digits in range(most_digits + 1):
        rounded = _no_minus_zero(round(mm / scale_mm, digits))
        if abs(rounded * scale_mm - mm) <= 5e-10:
            return int(rounded) if rounded == int(rounded) else rounded
    return None


def unit_name(unit):
    """Return the unit's name in a sentence: ``inches`` or ``millimetres``."""
    return "inches" if unit == "in" else "millimetres"


def _exact_mm(text, unit, where):
    plain = _with_plain_fractions(text.strip()).translate(_PLAIN).replace("''", '"').strip()
    match = _LENGTH.fullmatch(plain) if len(plain) <= 40 else None
    if not match or not (match["feet"] or match["over"] or match["number"]):
        raise _not_a_length(text, unit, where)
    mark = _MARKS.get((match["mark"] or "").lower())
    is_inches = bool(match["feet"] or match["over"])
    if is_inches and mark in ("mm", "cm"):
        raise MeasureError(
            f"{where} must be in inches where it has a fraction or feet; got {text!r}.",
            f"Write the {mark} as a decimal number.",
        )
    if match["over"] and int(match["under"]) == 0:
        raise MeasureError(f"{where} must not divide by zero; got {text!r}.", "Write a fraction such as 3/8.")
    if match["whole"] and int(match["over"]) >= int(match["under"]):
        raise MeasureError(f"{where} must have a fraction below 1; got {text!r}.", "Read the tape again.")
    rest = Fraction(match["number"].rstrip(".")) if match["number"] else Fraction(0)
    if match["over"]:
        rest = int(match["whole"] or 0) + Fraction(int(match["over"]), int(match["under"]))
    if match["feet"] and rest >= 12:
        raise MeasureError(
            f"{where} must have less than 12 in beside the feet; got {text!r}.", "Read the tape again."
        )
    size_mm = rest * _MM_PER[mark or ("in" if is_inches else unit)]
    size_mm += Fraction((match["feet"] or "0").rstrip(".")) * _MM_PER["ft"]
    return -size_mm if match["sign"] == "-" else size_mm


def _with_plain_fractions(text):
    """Return the text with characters such as ½ spelled as 1/2."""
    return "".join(
        " " + unicodedata.normalize("NFKC", c) if unicodedata.decomposition(c).startswith("<fraction>") else c
        for c in text
    )


def _mixed(inches, joint):
    whole, rest = divmod(inches, 1)
    if not rest:
        return str(whole)
    return f"{whole}{joint}{rest}" if whole or joint != "-" else str(rest)


def _no_minus_zero(value):
    return value + 0.0 if value else 0.0


def _short(value):
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "…"


def _not_a_length(text, unit, where):
    hint = "Write a decimal point, not a comma." if isinstance(text, str) and "," in text else ""
    example = "14-3/8, 14.375 or 365 mm" if unit == "in" else '365, 365.5 or 14-3/8"'
    return MeasureError(
        f"{where} must be a length; got {_short(text)}.",
        hint or f"Write it as a tape shows it: {example}; a plain number is in {unit_name(unit)}.",
    )
