"""Prints what was measured at the end of a run."""

import pytest

SECTIONS = {
    "one change of the plan: live tier and plain CadQuery script, one run": [],
    "the notebook in headless Chromium, software rendering": [],
}
SCRIPT, BROWSER = SECTIONS


@pytest.fixture(scope="session")
def table():
    """Lines for the end of the run: of computing alone."""
    return SECTIONS[SCRIPT]


@pytest.fixture(scope="session")
def browser_table():
    """The same of the notebook in a browser."""
    return SECTIONS[BROWSER]


def pytest_terminal_summary(terminalreporter):
    for heading, lines in SECTIONS.items():
        if lines:
            terminalreporter.section(heading)
        for line in lines:
            terminalreporter.line(line)
