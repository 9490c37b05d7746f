"""A small reader of STEP files (ISO 10303-21), written from the format's grammar and from nothing else.

It knows entities and their parameters, not geometry: strings as ``str``,
numbers, ``Ref`` for #12, ``Enum`` for .MILLI., ``None`` for $ and *, lists for
parentheses; a complex instance is a list of its (name, parameters).
"""

import re
from dataclasses import dataclass

_TOKEN = re.compile(
    r"\s*(?:(?P<string>'(?:[^']|'')*')|(?P<ref>#\d+)|(?P<enum>\.\w+\.)|(?P<name>[A-Z_][A-Z0-9_]*)"
    r"|(?P<number>[-+]?\d+(?:\.\d*)?(?:E[-+]?\d+)?)|(?P<mark>[(),$*]))"
)


@dataclass(frozen=True)
class Ref:
    """A reference to another entity."""

    to: int


@dataclass(frozen=True)
class Enum:
    """An enumerated value."""

    value: str


class StepFile:
    """Every entity of a file, by number."""

    def __init__(self, path):
        text = path.read_text(encoding="ascii")
        assert text.startswith("ISO-10303-21;") and text.rstrip().endswith("END-ISO-10303-21;")
        self.header, data = text.split("DATA;", 1)
        body = re.sub(r"/\*.*?\*/", "", data.rsplit("ENDSEC;", 1)[0], flags=re.S)
        self.entities = {}
        for statement in re.findall(r"#\d+\s*=(?:[^';]|'(?:[^']|'')*')*;", body):
            number, _, rest = statement[1:-1].partition("=")
            self.entities[int(number)] = _parse(rest)

    def of(self, name):
        """Return {number: parameters} of every entity of a type, inside complex instances too."""
        out = {}
        for number, parts in self.entities.items():
            for kind, parameters in parts:
                if kind == name:
                    out[number] = parameters
        return out

    def get(self, ref, name=None):
        """Return the parameters a reference leads to, of the named part of a complex instance."""
        parts = self.entities[ref.to]
        return next(p for kind, p in parts if name in (None, kind))

    def kind(self, ref):
        """Return the type of the entity a reference leads to."""
        return self.entities[ref.to][0][0]

    def reached_from(self, number):
        """Return the numbers of all entities that one leads to, itself included."""
        seen, waiting = set(), [number]
        while waiting:
            at = waiting.pop()
            if at not in seen:
                seen.add(at)
                waiting += [r.to for _, parameters in self.entities[at] for r in _refs(parameters)]
        return seen


def _refs(value):
    if isinstance(value, Ref):
        yield value
    elif isinstance(value, list):
        for item in value:
            yield from _refs(item)


def _parse(text):
    tokens, at = [], 0
    text = text.strip()
    while at < len(text):
        match = _TOKEN.match(text, at)
        assert match, text[at : at + 40]
        tokens.append((match.lastgroup, match.group(match.lastgroup)))
        at = match.end()
    tokens.append(("end", ""))
    if tokens[0][0] == "name":
        (entity, _) = _typed(tokens, 0)
        return [entity]
    parts, i = [], 1
    while tokens[i] != ("mark", ")"):
        entity, i = _typed(tokens, i)
        parts.append(entity)
    return parts


def _typed(tokens, i):
    name = tokens[i][1]
    values, i = _list(tokens, i + 1)
    return (name, values), i


def _list(tokens, i):
    assert tokens[i] == ("mark", "(")
    values, i = [], i + 1
    while tokens[i] != ("mark", ")"):
        kind, text = tokens[i]
        if (kind, text) == ("mark", ","):
            i += 1
            continue
        if (kind, text) == ("mark", "("):
            value, i = _list(tokens, i)
        elif kind == "name":
            value, i = _typed(tokens, i)
        else:
            value, i = _value(kind, text), i + 1
        values.append(value)
    return values, i + 1


def _value(kind, text):
    if kind == "string":
        return text[1:-1].replace("''", "'")
    if kind == "ref":
        return Ref(int(text[1:]))
    if kind == "enum":
        return Enum(text[1:-1])
    if kind == "number":
        return float(text)
    return None
