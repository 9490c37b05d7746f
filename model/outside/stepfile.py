"""The head of a STEP file, its units, and one of its coordinates, read as plain text."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from ..evaluate import build_checked
from ..plan import Plan
from .check import FROM_MEMORY, Check, group
from .knowncars import wedge_car

KIND = "files: STEP"
ANATOMY = 'ISO 10303-21: ap210.org, "STEP File Anatomy"'
ORDER = f"ISO 10303-21, order of the sections: {FROM_MEMORY}"
SCHEMA = "ISO 10303-214, AUTOMOTIVE_DESIGN: fairviewmicrowave.com, STEP files"
MILLIMETRES = "ISO 10303-21, millimetres: edmundoptics.cn/document/download/527235"
RADIANS = f"ISO 10303-41, plane angle units: {FROM_MEMORY}"
_POINT = re.compile(r"CARTESIAN_POINT\s*\(\s*'[^']*'\s*,\s*\(([^,()]+),([^,()]+),([^,()]+)\)\s*\)")


@cache
def _text() -> str:
    """Return the surfaces of the stock wedge as STEP."""
    from ..output.step import SURFACES, write_step

    with TemporaryDirectory() as folder:
        path = Path(folder) / "wedge.step"
        write_step(build_checked(wedge_car(), Plan()), path, form=SURFACES)
        return path.read_text(encoding="ascii")


def step_checks() -> list[Check]:
    """Return the checks of a STEP file as another program first sees it."""

    def sections():
        return " ".join(re.findall(r"^(\w+);\n.*?^ENDSEC;", _text(), re.MULTILINE | re.DOTALL))

    def entry(place):
        return lambda: re.findall(r"\b(FILE_\w+)\s*\(", _text().split("DATA;")[0])[place]

    def schema():
        return re.search(r"FILE_SCHEMA\s*\(\(\s*'(\w+)", _text())[1]

    def units(of):
        """Every unit of a kind in the file: one text where they are all alike."""
        pattern = re.compile(rf"{of}\(\)[^;]*?SI_UNIT\((.*?)\)")
        return lambda: " and ".join(sorted(set(pattern.findall(_text()))))

    def highest():
        return max(float(match[3]) for match in _POINT.finditer(_text()))

    return [
        *group(
            KIND,
            "",
            ANATOMY,
            ("first line", lambda: _text().splitlines()[0], "ISO-10303-21;", None),
            ("last line", lambda: _text().splitlines()[-1], "END-ISO-10303-21;", None),
            ("1st header entry", entry(0), "FILE_DESCRIPTION", None),
            ("2nd header entry", entry(1), "FILE_NAME", None),
            ("3rd header entry", entry(2), "FILE_SCHEMA", None),
        ),
        *group(
            KIND,
            "",
            ORDER,
            ("sections", sections, "HEADER DATA", None),
        ),
        *group(KIND, "", SCHEMA, ("schema", schema, "AUTOMOTIVE_DESIGN", None)),
        *group(KIND, "", MILLIMETRES, ("unit of length", units("LENGTH_UNIT"), ".MILLI.,.METRE.", None)),
        *group(KIND, "", RADIANS, ("unit of angle", units("PLANE_ANGLE_UNIT"), "$,.RADIAN.", None)),
        *group(
            KIND,
            "mm",
            "closed form: the windshield's top edge, 480 over the belt",
            ("greatest z, wedge", highest, 480.0, 1e-6),
        ),
    ]
