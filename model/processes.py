"""Long work in a process of its own, so that the sliders stay as quick as they were."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from .errors import RoofError
from .measured import Car
from .plan import Plan
from .planfile import write_plan
from .progress import FOR_A_PROGRAM, progress_in
from .tapereport import Uncertainty, uncertainty_from_json

PLAN = "{plan}"  # stands for the plan's file in the words of a command


async def command_elsewhere(words, car: Car, plan: Plan, on_progress: Callable[[float, str], None]) -> str:
    """Run ``plumbdrop`` with some words and return what it says; cancelled, the process is ended.

    Parameters
    ----------
    words : sequence of str
        A command and its options; :data:`PLAN` stands for the plan's file.
    on_progress : callable
        Told the share that is done and of what.

    Raises
    ------
    RoofError
        What the command refused.
    """
    with TemporaryDirectory() as folder:
        plan_path = Path(folder) / "plan.toml"
        write_plan(plan, car, plan_path)
        words = [str(plan_path) if word == PLAN else str(word) for word in words]
        process = await asyncio.create_subprocess_exec(
            *[sys.executable, "-m", f"{Path(__file__).parent.name}.cli", *words],
            env=_environment(),
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
        )
        try:
            said, complaint = await asyncio.gather(
                process.stdout.read(), _complaint_of(process.stderr, on_progress)
            )
            code = await process.wait()
        except asyncio.CancelledError:
            if process.returncode is None:
                process.kill()
                await process.wait()
            raise
    if code == 2:
        raise RoofError(complaint.strip())
    if code:
        raise RuntimeError(complaint.strip().rpartition("\n")[2])
    return said.decode(errors="replace")


async def _complaint_of(stream, on_progress) -> str:
    """Return what is no progress."""
    rest = []
    while line := (await stream.readline()).decode(errors="replace"):
        progress = progress_in(line)
        if progress is None:
            rest.append(line)
        else:
            on_progress(*progress)
    return "".join(rest)


async def uncertainty_elsewhere(car_name: str, car: Car, plan: Plan) -> Uncertainty:
    """Run ``plumbdrop tape`` and return every ±; cancelled, the process is ended."""
    words = "tape", car_name, "--plan", PLAN, "--json"
    return uncertainty_from_json(
        json.loads(await command_elsewhere(words, car, plan, lambda share, of: None))
    )


def _environment():
    """Return an environment in which a process of its own finds this very package and says its progress."""
    places = [str(Path(__file__).parent.parent), *filter(None, [os.environ.get("PYTHONPATH")])]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(places), FOR_A_PROGRAM: "1"}
