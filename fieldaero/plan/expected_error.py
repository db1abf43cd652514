"""What standard error the differences of a test will have, before anybody has ridden it.

The ride is simulated without anything random: no noise, no gusts, no slow wind, but the
mean wind on.  The session's own functions cut it, and the joint fit's covariance
is taken at the noise parameters that belong to this wind and these sensors.  The
covariance does not depend on what a random ride would have shown but through the
linearisation, so this is the expected error, not a drawn one.  With V that covariance
plus the scatter of the rider from lap to lap, and d the weights with which the laps
enter a difference,

    se^2 = d' V d,

averaged over wind directions: nobody knows on the day of planning where the wind
will come from.  The same number of laps in another order, or more laps, scales by the
sum of the inverse numbers of laps.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.compare.session_comparison import estimate_session
from fieldaero.compare.setups import SCATTER_PRIOR_SD
from fieldaero.estimate.joint_fit.noise import PARAMETERS
from fieldaero.estimate.session import Session, session_of
from fieldaero.physics.earth import STANDARD_GRAVITY_M_S2
from fieldaero.physics.system import USUAL_MASS_KG, System
from fieldaero.plan.ranges import USUAL_CDA_M2
from fieldaero.run_sheet.schema import NOT_USED
from fieldaero.run_sheet.sheet import run_sheet_from_text
from fieldaero.run_sheet.toml_text import toml_text
from fieldaero.simulator import CourseShape, Scenario, Sensors, SimulatedSession, Wind, simulate_session
from fieldaero.simulator.session_files import GUST_SHARE, SLOW_SHARE, run_sheet_of

__all__ = ["ExpectedError", "PlannedRide", "expected_error", "planned_scenario", "session_from"]


# The variance goes with cos and sin of twice the direction at most, which three directions average out.
DIRECTIONS_DEG = (10.0, 70.0, 130.0)
NO_WIND_M_S = 0.01  # the least the noise parameters allow
PLANNED = "planned.csv"


@dataclass(frozen=True, kw_only=True)
class PlannedRide:
    """Road, rider, air and what scatters.

    ``wind_m_s`` is the mean wind at the rider's height, ``cda_m2`` about that of the baseline.  ``lap_scatter_m2``
    is how the true drag area changes from lap to lap, None for the usual share of it; ``slow_share`` and
    ``gust_share`` are the standard deviation of either component over the mean wind.
    """

    course: CourseShape
    power_w: float
    wind_m_s: float
    system: System = field(default_factory=lambda: System(mass_kg=USUAL_MASS_KG))
    cda_m2: float = USUAL_CDA_M2
    lap_scatter_m2: float | None = None
    slow_share: float = SLOW_SHARE
    gust_share: float = GUST_SHARE
    sensors: Sensors = field(default_factory=Sensors)

    @property
    def scatter_m2(self) -> float:
        """Scatter of the drag area from lap to lap [m2]."""
        return SCATTER_PRIOR_SD * self.cda_m2 if self.lap_scatter_m2 is None else self.lap_scatter_m2


@dataclass(frozen=True, kw_only=True)
class ExpectedError:
    """Expected standard error of a setup minus the baseline, with these numbers of laps of each."""

    se_m2: float
    setup_laps: int
    baseline_laps: int
    lap_s: float

    def se_for_m2(self, *, setup_laps: int, baseline_laps: int) -> float:
        """Return the standard error [m2] with other numbers of laps, ridden in balance.

        Examples
        --------
        >>> four = ExpectedError(se_m2=0.002, setup_laps=4, baseline_laps=4, lap_s=240.0)
        >>> four.se_for_m2(setup_laps=16, baseline_laps=16)
        0.001
        """
        here = 1.0 / self.setup_laps + 1.0 / self.baseline_laps
        return self.se_m2 * math.sqrt((1.0 / setup_laps + 1.0 / baseline_laps) / here)


def expected_error(ride: PlannedRide, *, order: Sequence[str], difference_m2: float) -> ExpectedError:
    """Return the error to expect of a difference.

    ``order`` is the setup of each lap, the baseline first; the other setups have less drag by ``difference_m2``, which
    hardly matters here.  A rider with too little power for the wind raises CannotAnswerError.
    """
    baseline = order[0]
    setups = {name: ride.cda_m2 - (difference_m2 if name != baseline else 0.0) for name in dict.fromkeys(order)}
    variances, durations = [], []
    for direction in DIRECTIONS_DEG:
        full = planned_scenario(ride, order=order, setups=setups, wind_from_deg=direction)
        made = simulate_session(_without_chance(full), seed=0)
        durations.append(np.mean(np.subtract(made.truth.lap_end_s, made.truth.lap_start_s)[1:-1]))
        theta = _noise(full, speed_m_s=ride.course.length_m / float(durations[-1]))
        found = estimate_session(session_from(full, made), theta=theta, hyper_uncertainty=False)
        covariance = found.covariance_m4 + ride.scatter_m2**2 * np.eye(len(found.laps))
        names = [mean.setup for mean in found.comparison.setups]
        weights = found.comparison.weights
        d = np.delete(weights, names.index(baseline), axis=0) - weights[names.index(baseline)]
        variances.append(np.mean(np.einsum("ci,ij,cj->c", d, covariance, d)))
    laps = list(order)
    others = len(setups) - 1
    return ExpectedError(
        se_m2=float(np.sqrt(np.mean(variances))),
        setup_laps=(len(laps) - laps.count(baseline)) // others,
        baseline_laps=laps.count(baseline),
        lap_s=float(np.mean(durations)),
    )


def planned_scenario(
    ride: PlannedRide, *, order: Sequence[str], setups: Mapping[str, float], wind_from_deg: float
) -> Scenario:
    """Return the scenario to simulate, chance included: a lap to settle in, the order, and one to roll out."""
    return Scenario(
        setups=setups,
        order=(NOT_USED, *order, NOT_USED),
        course=ride.course,
        wind=Wind(
            speed_m_s=ride.wind_m_s,
            from_deg=wind_from_deg,
            slow_sd_m_s=ride.slow_share * ride.wind_m_s,
            gust_sd_m_s=ride.gust_share * ride.wind_m_s,
        ),
        sensors=ride.sensors,
        system=ride.system,
        power_w=ride.power_w,
        spare_cda_m2=ride.cda_m2,
        cda_lap_sd_m2=ride.scatter_m2,
    )


def session_from(scenario: Scenario, made: SimulatedSession) -> Session:
    """Bring a simulated ride together with the run sheet that fits its scenario."""
    text = toml_text(run_sheet_of(scenario, PLANNED))
    return session_of(run_sheet_from_text(text, path=Path("planned.toml")), [made.ride])


def _without_chance(scenario: Scenario) -> Scenario:
    return replace(
        scenario,
        wind=replace(scenario.wind, slow_sd_m_s=0.0, gust_sd_m_s=0.0),
        sensors=Sensors.perfect(),
        power_wander_w=0.0,
        cda_lap_sd_m2=0.0,
    )


def _noise(scenario: Scenario, *, speed_m_s: float) -> Floats:
    """Return the logs of the noise parameters that belong to a scenario."""
    wind, sensors, system = scenario.wind, scenario.sensors, scenario.system
    power_w = float(np.mean(scenario.power_w))
    weight_n = system.mass_kg * STANDARD_GRAVITY_M_S2
    values = {
        "gust_sd_m_s": max(wind.gust_sd_m_s, NO_WIND_M_S),
        "gust_s": wind.gust_length_m / speed_m_s,
        "slow_wind_sd_m_s": max(wind.slow_sd_m_s, NO_WIND_M_S),
        "slow_wind_s": wind.slow_s,
        "level_sd_m": max(sensors.speed_noise_m_s, 1e-3) * speed_m_s / STANDARD_GRAVITY_M_S2,
        "power_sd_m_per_sqrt_s": math.hypot(sensors.power_noise * power_w, sensors.power_noise_w) / weight_n,
    }
    # Brakes and air speed keep the centre of their prior: either they play no part, or nothing better is known.
    return np.array([math.log(np.clip(values.get(p.name, p.centre), p.low, p.high)) for p in PARAMETERS])
