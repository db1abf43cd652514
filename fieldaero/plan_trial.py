"""A plan tried out: the whole chain on simulated rides of this very plan, with all that chance does.

What a tester cannot know is drawn anew for every session from what a run sheet states about
it: mass, rolling resistance, scale of the power meter, wheel; the wind comes from anywhere, and
the station that reports it is a fifth off in speed and 15 degrees in direction (common
practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldaero.analysis import analyse_session
from fieldaero.expected_error import PlannedRide, planned_scenario, session_from
from fieldaero.simulate import simulate_session

__all__ = ["TrialOutcome", "try_session"]

STATION_SPEED, STATION_DEG = 0.2, 15.0
FURTHEST_SD = 2.5  # beyond it a draw of Crr may be none that a tyre has


@dataclass(frozen=True, kw_only=True)
class TrialOutcome:
    """What a simulated session said of one setup minus the baseline.

    ``error_m2`` is the estimate less the truth; ``resolved`` says that the interval leaves out zero on
    the true side, ``wrong`` on the other; ``covered`` that it holds the truth.
    """

    setup: str
    error_m2: float
    se_m2: float
    df: float
    resolved: bool
    wrong: bool
    covered: bool


def try_session(
    ride: PlannedRide, *, order: Sequence[str], setups: Mapping[str, float], seed: int
) -> tuple[TrialOutcome, ...]:
    """Simulate one session of a plan, analyse it, and return what it said of every setup.

    Parameters
    ----------
    ride, order
        What is planned, the baseline first.
    setups
        True drag area of each setup [m2].
    seed
        The same seed, the same session.
    """
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
        assert comparison.df is not None
        assert comparison.interval95_m2 is not None
        truth = setups[comparison.setup] - setups[comparison.versus]
        low, high = comparison.interval95_m2
        below, above = high < 0.0, low > 0.0
        outcomes.append(
            TrialOutcome(
                setup=comparison.setup,
                error_m2=comparison.delta_cda_m2 - truth,
                se_m2=comparison.se_m2,
                df=comparison.df,
                resolved=(below and truth < 0.0) or (above and truth > 0.0),
                wrong=(below and truth >= 0.0) or (above and truth <= 0.0),
                covered=low <= truth <= high,
            )
        )
    return tuple(outcomes)
