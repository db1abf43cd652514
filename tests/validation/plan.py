"""What simulated sessions achieve beside what their plan promised.

Run as ``python -m tests.validation.plan [--sessions N] [--first SEED] [--out FILE]``.

Every condition is planned, ridden 60 times in the simulator with all that chance does and
analysed.  An rmse of 60 sessions has itself an error of 9 %, and a share resolved one of
about 5 in 100; both stand beside the numbers.
"""

from __future__ import annotations

import argparse
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from fieldaero.plan.expected_error import PlannedRide
from fieldaero.plan.plan import Plan, plan_test
from fieldaero.plan.trial import TrialOutcome, try_session
from fieldaero.simulator import CourseShape

FIRST = 12000
HEAD = (
    "| wind m/s | course | setups | laps each | planned se | rmse | ± | planned / rmse | answer | promised | resolved "
    "| ± | coverage | wrong |\n|---|---|---|---|---|---|---|---|---|---|---|---|---|---|"
)


@dataclass(frozen=True, kw_only=True)
class Condition:
    """A plan: wind at the rider's height, shape of the course, setups, laps of each, and their difference."""

    wind_m_s: float
    shape: str
    setups: tuple[str, ...]
    laps: int
    difference_m2: float

    def plan(self) -> Plan:
        return plan_test(
            PlannedRide(course=CourseShape(length_m=2500.0, shape=self.shape), power_w=230.0, wind_m_s=0.0),
            setups=self.setups,
            smallest_difference_m2=self.difference_m2,
            wind_m_s=self.wind_m_s,
            wind_height_m=1.0,
            laps_per_setup=self.laps,
        )


# Differences about three standard errors each, where the probability tells right from wrong best.
CONDITIONS = tuple(
    Condition(wind_m_s=wind, shape=shape, setups=setups, laps=laps, difference_m2=difference)
    for wind, difference in ((0.3, 0.003), (1.5, 0.010), (3.0, 0.020))
    for setups, laps in ((("a", "b"), 4), (("a", "b", "c"), 3))
    for shape in ("loop", "out_and_back")
)


def ridden(plan: Plan, seed: int) -> tuple[TrialOutcome, ...]:
    return try_session(plan.ride, order=plan.order, setups=plan.true_cda_m2, seed=seed)


def row(condition: Condition, plan: Plan, sessions: list[tuple[TrialOutcome, ...]]) -> tuple[str, float]:
    rows = [outcome for session in sessions for outcome in session]
    n = len(sessions)
    rmse = float(np.sqrt(np.mean([o.error_m2**2 for o in rows])))
    resolved, covered, wrong = (float(np.mean([getattr(o, k) for o in rows])) for k in ("resolved", "covered", "wrong"))
    cells = [
        f"{condition.wind_m_s:g}",
        condition.shape.replace("_", " "),
        str(len(condition.setups)),
        str(condition.laps),
        f"{plan.se_m2:.5f}",
        f"{rmse:.5f}",
        f"{rmse / np.sqrt(2.0 * n):.5f}",
        f"{plan.se_m2 / rmse:.2f}",
        plan.answer,
        f"{plan.probability:.2f}",
        f"{resolved:.2f}",
        f"{np.sqrt(resolved * (1.0 - resolved) / n):.2f}",
        f"{covered:.2f}",
        f"{wrong:.2f}",
    ]
    return f"| {' | '.join(cells)} |", plan.se_m2 / rmse


def main() -> None:
    parser = argparse.ArgumentParser(description="Compare plans with what simulated sessions of them achieve.")
    parser.add_argument("--sessions", type=int, default=60)
    parser.add_argument("--first", type=int, default=FIRST)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()
    lines, ratios = [HEAD], []
    print(HEAD, flush=True)
    with ProcessPoolExecutor(args.workers) as pool:
        for condition in CONDITIONS:
            plan = condition.plan()
            sessions = list(pool.map(partial(ridden, plan), range(args.first, args.first + args.sessions)))
            text, ratio = row(condition, plan, sessions)
            lines.append(text)
            ratios.append(ratio)
            print(text, flush=True)
    lines.append(f"\nplanned / rmse: geometric mean {np.exp(np.mean(np.log(ratios))):.3f}")
    print(lines[-1])
    if args.out:
        args.out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
