"""For every test: the same random examples in every run, and nothing kept on this machine."""

import os

import pytest
from hypothesis import settings

if (
    "PYTEST_XDIST_WORKER" in os.environ
):  # one a core: more threads of BLAS take a third of the time for themselves
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # read when numpy is imported, which is later

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
