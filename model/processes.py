"""Long work in a process of its own, so that the sliders stay as quick as they were."""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from .errors import RoofError
from .measured import Car
from .plan import Plan
from .planfile import write_plan
from .report import Uncertainty, uncertainty_from_json


def write_step_elsewhere(car_name: str, car: Car, plan: Plan, path):
    """Run ``plumbdrop step`` and wait for it.

    Raises
    ------
    RoofError
        What it refused.
    """
    with TemporaryDirectory() as folder:
        plan_path = Path(folder) / "plan.toml"
        write_plan(plan, car, plan_path)
        ran = subprocess.run(
            _command("step", car_name, "--plan", plan_path, "-o", path),
            env=_environment(),
            capture_output=True,
            text=True,
        )
    _raise_complaint(ran.returncode, ran.stderr)


async def uncertainty_elsewhere(car_name: str, car: Car, plan: Plan) -> Uncertainty:
    """Run ``plumbdrop tape`` and return every ±; cancelled, the process is ended."""
    with TemporaryDirectory() as folder:
        plan_path = Path(folder) / "plan.toml"
        write_plan(plan, car, plan_path)
        tape = await asyncio.create_subprocess_exec(
            *_command("tape", car_name, "--plan", plan_path, "--json"),
            env=_environment(),
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
        )
        try:
            said, complaint = await tape.communicate()
        except asyncio.CancelledError:
            tape.kill()
            await tape.wait()
            raise
    _raise_complaint(tape.returncode, complaint.decode(errors="replace"))
    return uncertainty_from_json(json.loads(said))


def _command(*arguments):
    return [sys.executable, "-m", f"{Path(__file__).parent.name}.cli", *map(str, arguments)]


def _environment():
    """Return an environment in which a process of its own finds this very package."""
    places = [str(Path(__file__).parent.parent), *filter(None, [os.environ.get("PYTHONPATH")])]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(places)}


def _raise_complaint(code, complaint):
    if code == 2:
        raise RoofError(complaint.strip())
    if code:
        raise RuntimeError(complaint.strip().rpartition("\n")[2])
