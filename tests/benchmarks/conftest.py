"""Prints what was measured at the end of a run."""

import pytest

LINES = []


@pytest.fixture(scope="session")
def table():
    """Lines for the end of the run."""
    return LINES


def pytest_terminal_summary(terminalreporter):
    if LINES:
        terminalreporter.section("one change of the plan: live tier and plain CadQuery script, one run")
        for line in LINES:
            terminalreporter.line(line)
