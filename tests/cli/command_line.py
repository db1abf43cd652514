"""Commands run for the tests, in this process or as a true one, and rides for them to read."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from click.testing import CliRunner, Result

from fieldaero.cli import commands
from fieldaero.rides import write_csv
from tests.synthetic_rides import Noise, Rider, loop, recorded, ridden, when_at_s

ROOT = Path(__file__).resolve().parents[2]


def fieldaero(*args: object) -> Result:
    """Run a command in this process; warnings stay errors."""
    return CliRunner().invoke(commands, [str(arg) for arg in args])


def process(*args: object, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a command as a user's shell would, from another folder."""
    return subprocess.run(
        [sys.executable, "-m", "fieldaero", *map(str, args)],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8", **environment},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )


def ride_csv(path: Path, *, laps: int = 6, marks: bool = True, brake_in_lap: int | None = None) -> Path:
    """A ride of that many laps of 1500 m, written as CSV; positions wander by 1 m."""
    rng = np.random.default_rng(3)
    wobble = rng.normal(0.0, 6.0, 10_000)
    rider = Rider(
        power_w=lambda s, t: 240.0 + wobble[int(t)],
        height_m=lambda s: 2.0 * np.sin(2.0 * np.pi * np.asarray(s) / 1500.0),
        brakes=[] if brake_in_lap is None else [(1500.0 * (brake_in_lap - 1) + 400.0, 4.0, 2.0)],
    )
    xy = loop(1500.0)
    way = np.vstack([xy[:-1]] * laps + [xy[:60]])
    run = ridden(1500.0 * laps + 20.0, rider)
    presses = [float(t) for t in when_at_s(run, [1500.0 * k for k in range(1, laps + 1)])] if marks else None
    ride = recorded(way, run, rider=rider, noise=Noise(position_m=1.0), marks_s=presses)
    return write_csv(ride, path)


def hashes(folder: Path) -> dict[str, str]:
    """Every file below a folder with the hash of its content."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@contextmanager
def nothing_changes(folder: Path) -> Iterator[None]:
    """Hold that no file is changed, added or taken away."""
    before = hashes(folder)
    yield
    assert hashes(folder) == before


def one_sentence(result: Result, *, status: int, about: str) -> str:
    """Hold that a command ended with one clear line on stderr and nothing else; return the line."""
    assert result.exit_code == status, result.output
    assert result.stdout == ""
    lines = result.stderr.splitlines()
    assert len(lines) == 1, result.stderr
    assert lines[0].startswith("fieldaero: ")
    assert about in lines[0]
    assert "Traceback" not in result.stderr
    assert "fault of fieldaero" not in result.stderr
    return lines[0]
