"""Fixtures of the exact tier's tests."""

import pytest
from cases import step_of


@pytest.fixture(scope="session")
def stepped(tmp_path_factory):
    """Return a function that writes a case as STEP once in a run and gives the file's path."""
    folder = tmp_path_factory.mktemp("step")
    return lambda name, **choices: step_of(name, folder, **choices)
