"""One table of a file: hands out checked values and always knows its place."""

from __future__ import annotations

from difflib import get_close_matches

from .errors import MeasureError
from .gauges import is_gauge, thickness_mm
from .units import angle_deg, length_mm

REQUIRED = object()


def refuse_measure(place, message, next_step=""):
    """Return a :class:`MeasureError` whose message starts with the place."""
    return MeasureError(f"{place} {message}", next_step)


def choice_hint(value, choices):
    """Return the next step for a name that is not among the choices.

    Examples
    --------
    >>> choice_hint("widht", ["width", "depth"])
    'Did you mean "width"? The choices are: width, depth.'
    """
    choices = [str(choice) for choice in choices]
    near = get_close_matches(str(value), choices, n=1)
    listed = f"The choices are: {', '.join(choices)}." if choices else "There are none."
    return f'Did you mean "{near[0]}"? {listed}' if near else listed


def read_length(value, unit, place, refuse=refuse_measure):
    """Return a length, refused in the words of whoever asks. [mm]"""
    try:
        return length_mm(value, unit, where=place)
    except MeasureError as problem:
        raise refuse(place, problem.message.removeprefix(place).lstrip(), problem.next_step) from None


def read_angle(value, place, refuse=refuse_measure):
    """Return an angle, refused in the words of whoever asks. [deg]"""
    try:
        return angle_deg(value, where=place)
    except MeasureError as problem:
        raise refuse(place, problem.message.removeprefix(place).lstrip(), problem.next_step) from None


def read_lengths(value, unit, place, names, refuse=refuse_measure):
    """Return a tuple of lengths from a list with one length for each name. [mm]"""
    if not isinstance(value, list) or len(value) != len(names):
        raise refuse(
            place, f"must be [{', '.join(names)}]; got {value!r:.60}.", f"Give all {len(names)} lengths."
        )
    return tuple(
        read_length(item, unit, f"{place}, {name}", refuse) for item, name in zip(value, names, strict=True)
    )


def read_point(value, unit, place, refuse=refuse_measure):
    """Return a point (x, y, z) in the car frame. [mm]"""
    return read_lengths(value, unit, place, ("x", "y", "z"), refuse)


class Fields:
    """A table of a TOML file with a known set of keys.

    Parameters
    ----------
    values : dict
        As parsed.
    known : sequence of str
        Every key the table may have; any other is refused.
    place : str
        Where the table is, for messages; empty at the top of the file.
    unit : str
        Default unit of its lengths.
    refuse : callable
        ``refuse(place, message, next_step)`` returns the exception to raise.
    """

    def __init__(self, values, known, *, place="", unit="mm", refuse=refuse_measure):
        self.place, self.unit, self.refuse = place, unit, refuse
        if not isinstance(values, dict):
            raise refuse(
                self._here, f"must be a table; got {values!r:.60}.", f"It holds: {', '.join(known)}."
            )
        self.values = values
        for key in values:
            if key not in known:
                raise refuse(self._here, f'has the unknown key "{key}".', choice_hint(key, known))

    @property
    def _here(self):
        return self.place or "the top of the file"

    def at(self, name):
        """Return the place of one of the table's values."""
        return f"{self.place}, {name}" if self.place else name

    def value(self, name, default=REQUIRED):
        """Return a value as it was parsed."""
        if name in self.values:
            return self.values[name]
        if default is REQUIRED:
            raise self.refuse(self._here, f'must give "{name}"; it is missing.', f"Add {name} = …")
        return default

    def text(self, name, default=REQUIRED):
        """Return a text that is not blank."""
        text = self.value(name, default)
        if text is default:
            return text
        if not isinstance(text, str) or not text.strip():
            raise self.refuse(
                self.at(name), f"must be a name or text; got {text!r:.60}.", f'Write {name} = "…".'
            )
        return text

    def choice(self, name, choices, default=REQUIRED):
        """Return one of a few words."""
        word = self.value(name, default)
        if word is not default and word not in choices:
            raise self.refuse(
                self.at(name),
                f"must be one of {', '.join(map(str, choices))}; got {word!r:.60}.",
                choice_hint(word, choices),
            )
        return word

    def texts(self, name):
        """Return a list of texts as a tuple."""
        items = self.value(name)
        if not isinstance(items, list) or not all(isinstance(i, str) and i.strip() for i in items):
            raise self.refuse(
                self.at(name), f"must be a list of names; got {items!r:.60}.", f'Write {name} = ["…", "…"].'
            )
        return tuple(items)

    def length(self, name, default=REQUIRED):
        """Return a length. [mm]"""
        value = self.value(name, default)
        return value if value is default else read_length(value, self.unit, self.at(name), self.refuse)

    def thickness(self, name):
        """Return a sheet's thickness, given as a length or as a gauge such as ``18 ga``. [mm]"""
        value = self.value(name)
        return thickness_mm(value, self.at(name)) if is_gauge(value) else self.length(name)

    def count(self, name, default=REQUIRED):
        """Return a whole number of at least one."""
        number = self.value(name, default)
        if isinstance(number, bool) or not isinstance(number, int) or not 1 <= number <= 100:
            raise self.refuse(
                self.at(name), f"must be a whole number from 1 to 100; got {number!r:.60}.", "Count again."
            )
        return number

    def angle(self, name, default=REQUIRED):
        """Return an angle. [deg]"""
        value = self.value(name, default)
        return value if value is default else read_angle(value, self.at(name), self.refuse)

    def point(self, name, default=REQUIRED):
        """Return a point (x, y, z) in the car frame. [mm]"""
        value = self.value(name, default)
        return value if value is default else read_point(value, self.unit, self.at(name), self.refuse)

    def list(self, name, default=REQUIRED):
        """Return a list as it was parsed."""
        items = self.value(name, default)
        if not isinstance(items, list):
            raise self.refuse(self.at(name), f"must be a list; got {items!r:.60}.", f"Write {name} = [ … ].")
        return items

    def table(self, name, known):
        """Return a table inside this one."""
        return Fields(self.value(name), known, place=self.at(name), unit=self.unit, refuse=self.refuse)

    def tables(self, name, known):
        """Return the tables of ``[[name]]``, each placed by its own name or its number."""
        found = []
        for number, values in enumerate(self.list(name, []), start=1):
            own = values.get("name") if isinstance(values, dict) else None
            side = values.get("side") if isinstance(values, dict) else None
            place = f'{name} "{own}"' if isinstance(own, str) and own.strip() else f"{name} {number}"
            place += f" {side}" if side in ("left", "centre") else ""
            found.append(Fields(values, known, place=place, unit=self.unit, refuse=self.refuse))
        return found
