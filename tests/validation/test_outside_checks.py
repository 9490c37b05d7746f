"""The list that ``plumbdrop verify`` runs, row by row, and the page that shows it."""

import re
from pathlib import Path

import pytest

import model.outside
from model.outside.check import carried_out
from model.outside.verify import HEADS, all_checks, cells_of

CHECKS = all_checks()
PAGE = (Path(model.outside.__file__).parent / "checks.md").read_text(encoding="utf-8")
WHAT, OURS, DIFFERENCE = HEADS.index("what"), HEADS.index("ours"), HEADS.index("difference")


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: f"{check.kind}-{check.what}")
def test_ours_agrees_with_the_reference(check):
    outcome = carried_out(check)
    assert outcome.holds, (outcome.ours, check.reference, check.source)
    on_page = page_rows()[check.what]
    cells = [*cells_of(outcome), check.source]
    for i, (cell, printed) in enumerate(zip(cells, on_page, strict=True)):
        if i == OURS and check.allowed is not None:
            assert float(printed) == pytest.approx(float(cell), abs=max(check.allowed / 100, 2e-6)), HEADS[i]
        elif i != DIFFERENCE:  # the last digits of which are the machine's own
            assert printed == cell


def page_rows():
    """Return the cells of every row of the page by what it says it is."""
    rows = [line[2:-2].split(" | ") for line in PAGE.splitlines() if line.startswith("| ")]
    return {row[WHAT]: row for row in rows if row[WHAT] not in ("what", "---")}


def test_the_page_shows_the_list_and_nothing_else():
    assert list(page_rows()) == [check.what for check in CHECKS]


def test_every_kind_of_number_is_in_the_list():
    assert len(CHECKS) >= 60
    kinds = " ".join({check.kind for check in CHECKS})
    for word in (
        "rafter",
        "gauge",
        "cone",
        "arcs",
        "axes",
        "headroom",
        "windshield",
        "fit-up",
        "units",
        "STEP",
    ):
        assert word in kinds, word


def test_every_row_has_a_name_of_its_own_and_a_source():
    names = [check.what for check in CHECKS]
    assert len(set(names)) == len(names)
    for check in CHECKS:
        said = ("closed form: ", "from memory", "no source")
        is_cited = re.search(
            r"\.(?:com|org|eu|net|gov|app|uk|cn)\b|\bISO \d|\bWAC \d|\bGOST \d|\bCRC Press \d", check.source
        )
        assert is_cited or any(word in check.source for word in said), check.what
        assert "|" not in check.what + check.source  # the page's columns
