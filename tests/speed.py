"""How long an analysis takes and how much memory: ``python -m tests.speed [--rounds N] [--hours H ...]``.

Each figure is of a whole ``fieldaero analyse`` in a process of its own, start-up included. The best
of the rounds counts, because whatever else a machine does only makes it slower; processor time hardly
depends on that. Rides are simulated at 1 Hz on a loop of 3 km and written as FIT.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from fieldaero.simulator.sample_folder import copy_sample

__all__ = ["Run", "main", "run"]

ROOT = Path(__file__).resolve().parents[1]
LAP_M, LAPS_PER_H = 3000.0, 12.5
# Modules are compiled once, as an installer does it, but not into the checkout.
COMPILED = str(Path(tempfile.gettempdir(), "fieldaero-compiled"))


@dataclass(frozen=True, kw_only=True)
class Run:
    """One process: how long it took by the clock and of the processors, and the most memory it held."""

    wall_s: float
    cpu_s: float
    peak_mib: float


def run(*arguments: str, cwd: Path) -> Run:
    """Run a command to its end; it must succeed."""
    surroundings = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    begun = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "fieldaero", *arguments],
        cwd=cwd,
        env=surroundings | {"PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": COMPILED},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    assert process.stderr is not None
    said = process.stderr.read()
    _, status, used = os.wait4(process.pid, 0)
    process.stderr.close()
    wall_s = time.perf_counter() - begun
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        raise SystemExit(f"{' '.join(arguments)}: {said.decode()}")
    unit = 1024.0 if sys.platform != "darwin" else 1024.0**2  # kibibytes, on macOS bytes
    return Run(wall_s=wall_s, cpu_s=used.ru_utime + used.ru_stime, peak_mib=used.ru_maxrss / unit)


def session_of_hours(folder: Path, hours: float) -> Path:
    """Write a session of so many hours; return its run sheet.

    In a process of its own, because the peak of a new process begins with the memory of the one it comes from.
    """
    laps = ("--laps", str(round(hours * LAPS_PER_H)), "--lap-length-m", str(LAP_M))
    ridden = ("--wind-m-s", "0.8", "--power-w", "230", "--seed", "5")
    setups = ("--setup", "road bar=0.250", "--setup", "aero bar=0.240")
    run("simulate", "--out", folder.name, *laps, *ridden, *setups, cwd=folder.parent)
    return next(folder.glob("*.toml"))


def row(name: str, sheet: Path, rounds: int) -> str:
    """Measure one session; return its row of the table."""
    runs = [run("analyse", sheet.name, cwd=sheet.parent) for _ in range(rounds)]
    wall_s, cpu_s = min(one.wall_s for one in runs), min(one.cpu_s for one in runs)
    peak_mib = max(one.peak_mib for one in runs)
    return f"| {name} | {wall_s:.1f} s | {cpu_s:.1f} s | {peak_mib:.0f} MiB |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.speed", description=__doc__)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--hours", type=float, nargs="*", default=[1.0, 2.5, 5.0, 10.0])
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        helped = min(run("--help", cwd=Path(scratch)).wall_s for _ in range(asked.rounds))
        print(f"fieldaero --help: {helped:.2f} s\n")
        print("| session | time | processors | peak memory |")
        print("| --- | --- | --- | --- |")
        print(row("sample", copy_sample(Path(scratch, "sample")), asked.rounds), flush=True)
        for hours in asked.hours:
            folder = Path(scratch, f"{hours:g}h")
            print(row(f"{hours:g} h", session_of_hours(folder, hours), asked.rounds), flush=True)


if __name__ == "__main__":
    main()
