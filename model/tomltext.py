"""TOML as a person would lay it out: one row, one line.

The shape of our files is fixed and small, so they are written as text; the
general writers either spread every point over five lines or fold a whole
hoop into one.
"""

from __future__ import annotations

import json
import re

from .units import typed_length


def quoted(text):
    """Return a text as a TOML string.

    Examples
    --------
    >>> quoted('2-1/4"')
    '"2-1/4\\\\""'
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def key(name):
    """Return a name as a TOML key, bare where it may be.

    Examples
    --------
    >>> key("belt"), key("mid glass")
    ('belt', '"mid glass"')
    """
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else quoted(name)


def quoted_list(texts):
    """Return texts as a TOML array on one line."""
    return f"[{', '.join(map(quoted, texts))}]"


def length(mm, unit):
    """Return a length as typed in the unit, or a word instead of one as it is.

    Examples
    --------
    >>> length(57.15, "in"), length(50.8, "in"), length("auto", "in")
    ('"2-1/4"', '2', '"auto"')
    """
    value = mm if isinstance(mm, str) else typed_length(mm, unit)
    return quoted(value) if isinstance(value, str) else repr(value)


def lengths(point_mm, unit):
    """Return the lengths of a point as a TOML array on one line."""
    return f"[{', '.join(length(mm, unit) for mm in point_mm)}]"


def point_lines(points_mm, unit):
    """Return points as a TOML array with one point a line."""
    return "\n".join(["[", *(f"    {lengths(point, unit)}," for point in points_mm), "]"])


def inline_table(pairs):
    """Return pairs of a name and a written value as a TOML table on one line."""
    return f"{{ {', '.join(f'{key(name)} = {value}' for name, value in pairs)} }}"
