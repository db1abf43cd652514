"""Known-drag sessions: is the truth within the interval of what is recovered?

Twelve laps in light wind, half of them with a disc on a rod whose drag area is known; everything the
tester cannot know is off by what the run sheet states.  Run: ``python -m tests.validation.known_drag``.
"""

from __future__ import annotations

import argparse
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fieldaero.answers.analysis import analyse_session
from fieldaero.estimate.session import session_of
from fieldaero.physics.system import System
from fieldaero.run_sheet.sheet import run_sheet_from_text
from fieldaero.simulator import CourseShape, Scenario, Wind, simulate_session
from tests.validation import study
from tests.validation.conditions import Condition

REPORTED_FIRST = 9000
BARE_M2 = 0.250
DISC_M2, DISC_SD_M2 = 0.0132, 0.0006  # a disc of 0.12 m with a drag coefficient of 1.17, which is uncertain by 5 %
WIND_M_S = 0.8
ORDER = ("a", "b", "b", "a", "a", "b", "b", "a", "a", "b", "b", "a")


@dataclass(frozen=True, kw_only=True)
class Recovery:
    """One session: what was recovered less the truth [m2], and what was said of it."""

    seed: int
    error: float
    half: float
    holds: bool
    agrees: bool


def recovery(seed: int) -> Recovery:
    """Simulate one session and recover the disc; the true drag is drawn from what the rider knows of it."""
    rng = np.random.default_rng([90, seed])
    crr, power, wheel, mass, disc = rng.normal(size=5)
    true = DISC_M2 + DISC_SD_M2 * float(disc)
    scenario = Scenario(
        setups={"a": BARE_M2, "b": BARE_M2 + true},
        order=ORDER,
        course=CourseShape(length_m=3000.0),
        system=System(mass_kg=84.0),
        wind=Wind(
            speed_m_s=WIND_M_S,
            from_deg=float(rng.uniform(0.0, 360.0)),
            slow_sd_m_s=0.25 * WIND_M_S,
            gust_sd_m_s=0.25 * WIND_M_S,
        ),
        cda_lap_sd_m2=0.001,
    )
    text = study._sheet(Condition(name="known drag", scenario=scenario), scenario, weather=True, rng=rng)
    known = f'name = "b"\nknown_added_cda_m2 = {DISC_M2}\nknown_added_cda_sd_m2 = {DISC_SD_M2}\n'
    sheet = run_sheet_from_text(text.replace('name = "b"\n', known), path=Path("known-drag.toml"))
    ridden = replace(
        scenario,
        system=replace(
            scenario.system,
            crr=study.CRR + study.CRR_SD * float(np.clip(crr, -2.5, 2.5)),
            mass_kg=84.0 + study.MASS_SD * float(mass),
        ),
        sensors=replace(
            scenario.sensors,
            power_scale=1.0 + study.POWER_SD * float(power),
            wheel_scale=1.0 + study.WHEEL_SD * float(wheel),
        ),
    )
    (found,) = analyse_session(session_of(sheet, [simulate_session(ridden, seed=seed).ride])).known_drag_results
    assert found.recovered_m2 is not None
    assert found.interval95_m2 is not None
    low, high = found.interval95_m2
    return Recovery(
        seed=seed,
        error=found.recovered_m2 - true,
        half=(high - low) / 2.0,
        holds=low <= true <= high,
        agrees=bool(found.agrees),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description="Recover a known drag area in simulated sessions.")
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("--first", type=int, default=REPORTED_FIRST)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    with ProcessPoolExecutor(args.workers) as pool:
        found = list(pool.map(recovery, range(args.first, args.first + args.seeds)))
    error = np.array([one.error for one in found])
    print(
        f"{len(found)} sessions: interval holds the truth in {sum(one.holds for one in found)}, En within one in "
        f"{sum(one.agrees for one in found)}; mean error {error.mean():+.5f} m2, rms {np.sqrt(np.mean(error**2)):.5f} "
        f"m2, mean half interval {np.mean([one.half for one in found]):.5f} m2; outside: "
        f"{[one.seed for one in found if not one.holds]}"
    )


if __name__ == "__main__":
    main()
