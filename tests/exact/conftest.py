"""Fixtures of the exact tier's tests, and the largest difference of every kind at the end of a run."""

import numpy as np
import pytest
from cases import step_of


@pytest.fixture(scope="session")
def stepped(tmp_path_factory):
    """Return a function that writes a case as STEP once in a run and gives the file's path."""
    folder = tmp_path_factory.mktemp("step")
    return lambda name, **choices: step_of(name, folder, **choices)


class Largest:
    """Differences between two ways, kind by kind; printed at the end of a run without workers."""

    def __init__(self):
        self.found = {}  # (kind, unit): [largest, limit, count, where]

    def note(self, kind, unit, ours, other, where, limit):
        """Compare, remember the largest, and refuse what is past the limit."""
        off = float(np.abs(np.asarray(ours, float) - np.asarray(other, float)).max())
        entry = self.found.setdefault((kind, unit), [-1.0, limit, 0, ""])
        entry[2] += np.size(ours)
        if off > entry[0]:
            entry[0], entry[3] = off, where
        assert off <= limit, f"{kind}, {where}: {ours} and {other} differ by {off:.3g} {unit}"

    def pytest_terminal_summary(self, terminalreporter):
        """Print the table."""
        if self.found:
            terminalreporter.section("two ways: largest differences")
            for (kind, unit), (off, limit, count, where) in sorted(self.found.items()):
                line = f"{kind:44s} {off:9.2e} of {limit:7.1e} {unit:8s} in {count:6d}   {where}"
                terminalreporter.line(line)


LARGEST = Largest()


@pytest.fixture(scope="session")
def largest(request):
    """Return the collector of differences between two ways."""
    if not request.config.pluginmanager.is_registered(LARGEST):
        request.config.pluginmanager.register(LARGEST)
    return LARGEST
