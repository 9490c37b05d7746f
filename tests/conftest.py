"""For every test: the same random examples in every run, and nothing kept on this machine."""

import os

import pytest
from hypothesis import settings

if (
    "PYTEST_XDIST_WORKER" in os.environ
):  # one a core: more threads of BLAS take a third of the time for themselves
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # read when numpy is imported, which is later

# Files that take longest, begun first, so that no worker is left alone with one at the end.
LONGEST = (
    "browser/test_chop_in_browser.py",
    "unit/test_preview.py",
    "unit/test_preview_at_rest.py",
    "browser/test_app_in_browser.py",
    "properties/test_slider_sequences.py",
    "exact/test_put_back.py",
    "blind/test_blind.py",
    "unit/test_cli.py",
    "unit/test_closed_plans.py",
    "exact/test_new_metal_exact.py",
    "unit/test_blankfiles.py",
    "notebooks/test_notebooks.py",
    "validation/test_tape_error.py",
    "unit/test_weldplan.py",
    "validation/test_tacked_coverage.py",
    "validation/test_blank_second_method.py",
    "properties/test_limits.py",
    "unit/test_uncertainty.py",
    "unit/test_pictures.py",
)

settings.register_profile("same", derandomize=True, deadline=None)
settings.load_profile("same")


@pytest.fixture(autouse=True, scope="session")
def kept_elsewhere(tmp_path_factory):
    """What the preview keeps unasked goes to a folder of this run."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("state")
        patch.setattr("platformdirs.user_state_path", lambda *names: folder.joinpath(*names))
        patch.setenv("XDG_STATE_HOME", str(folder))  # of the kernels that tests start
        yield folder


def pytest_collection_modifyitems(config, items):
    """Put the files that take longest first; the rest stays in its order."""
    tests = config.rootpath / "tests"
    place = {tests / name: rank for rank, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path, len(LONGEST)))
