"""A plan tried out: the whole chain on simulated rides of this very plan, with all that chance does.

What a tester cannot know is drawn anew for every session from what a run sheet states about
it: mass, rolling resistance, scale of the power meter, wheel; the wind comes from anywhere, and
the station that reports it is a fifth off in speed and 15 degrees in direction (common
practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldaero.answers.analysis import analyse_session
from fieldaero.basics.quantities import within
from fieldaero.plan.expected_error import PlannedRide, planned_scenario, session_from
from fieldaero.plan.plan import Plan
from fieldaero.plan.ranges import TRIAL_SESSIONS
from fieldaero.simulator import simulate_session

__all__ = ["TrialOutcome", "TrialSummary", "try_plan", "try_session"]

STATION_SPEED, STATION_DEG = 0.2, 15.0
FURTHEST_SD = 2.5  # beyond it a draw of Crr may be none that a tyre has


@dataclass(frozen=True, kw_only=True)
class TrialOutcome:
    """What a simulated session said of one setup minus the baseline.

    ``error_m2`` is the estimate less the truth; ``resolved`` says that the interval leaves out zero on
    the true side, ``wrong`` on the other; ``covered`` that it holds the truth.
    """

    error_m2: float
    se_m2: float
    resolved: bool
    wrong: bool
    covered: bool


@dataclass(frozen=True, kw_only=True)
class TrialSummary:
    """What simulated sessions of a plan achieved, beside what the plan promised.

    ``rmse_m2`` is the root mean square error of the differences; ``resolved``, ``wrong`` and ``covered`` are shares of
    comparisons, ``promised`` the plan's probability of resolving one.
    """

    sessions: int
    comparisons: int
    rmse_m2: float
    rmse_se_m2: float
    planned_se_m2: float
    resolved: float
    promised: float
    wrong: float
    covered: float


def try_plan(
    plan: Plan, *, sessions: int, first_seed: int = 0, progress: Callable[[str], None] | None = None
) -> TrialSummary:
    """Ride a plan several times in the simulator, the setups apart by the smallest difference, and sum up."""
    fewest, most = TRIAL_SESSIONS
    within(sessions, quantity="number of simulated sessions", low=fewest, high=most)
    outcomes: list[tuple[TrialOutcome, ...]] = []
    for k in range(sessions):
        if progress is not None:
            progress(f"simulated session {k + 1} of {sessions}")
        outcomes.append(try_session(plan.ride, order=plan.order, setups=plan.true_cda_m2, seed=first_seed + k))
    rows = [outcome for session in outcomes for outcome in session]
    rmse = float(np.sqrt(np.mean([row.error_m2**2 for row in rows])))
    return TrialSummary(
        sessions=sessions,
        comparisons=len(rows),
        rmse_m2=rmse,
        # Of a root mean square of independent normal errors; comparisons of one session are not, so sessions count.
        rmse_se_m2=rmse / float(np.sqrt(2.0 * sessions)),
        planned_se_m2=plan.se_m2,
        resolved=float(np.mean([row.resolved for row in rows])),
        promised=plan.probability,
        wrong=float(np.mean([row.wrong for row in rows])),
        covered=float(np.mean([row.covered for row in rows])),
    )


def try_session(
    ride: PlannedRide, *, order: Sequence[str], setups: Mapping[str, float], seed: int
) -> tuple[TrialOutcome, ...]:
    """Simulate one session of a plan with these true drag areas, analyse it, and return what it said of every setup."""
    rng = np.random.default_rng([len(order), seed])
    system = ride.system
    crr, mass, power, wheel = np.clip(rng.normal(size=4), -FURTHEST_SD, FURTHEST_SD).tolist()
    told = planned_scenario(ride, order=order, setups=setups, wind_from_deg=float(rng.uniform(0.0, 360.0)))
    true = replace(
        told,
        system=replace(system, crr=system.crr + system.crr_sd * crr, mass_kg=system.mass_kg + system.mass_sd_kg * mass),
        sensors=replace(
            told.sensors,
            power_scale=1.0 + system.power_scale_sd * power,
            wheel_scale=1.0 + system.wheel_circumference_sd * wheel,
        ),
    )
    made = simulate_session(true, seed=seed)
    speed, turned = rng.normal(size=2).tolist()
    wind = told.wind
    seen = replace(
        wind,
        speed_m_s=max(wind.speed_m_s * (1.0 + STATION_SPEED * speed), 0.0),
        from_deg=(wind.from_deg + STATION_DEG * turned) % 360.0,
    )
    result = analyse_session(session_from(replace(told, wind=seen), made))
    outcomes = []
    for comparison in result.comparison_results:
        assert comparison.delta_cda_m2 is not None
        assert comparison.se_m2 is not None
        assert comparison.interval95_m2 is not None
        truth = setups[comparison.setup] - setups[comparison.versus]
        low, high = comparison.interval95_m2
        below, above = high < 0.0, low > 0.0
        outcomes.append(
            TrialOutcome(
                error_m2=comparison.delta_cda_m2 - truth,
                se_m2=comparison.se_m2,
                resolved=(below and truth < 0.0) or (above and truth > 0.0),
                wrong=(below and truth >= 0.0) or (above and truth <= 0.0),
                covered=low <= truth <= high,
            )
        )
    return tuple(outcomes)
