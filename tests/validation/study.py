"""One simulated campaign after the other: the joint fit and the verdict against the truth and against plain closure.

What the tester cannot know is drawn anew for every seed from what the run sheet states: Crr,
power scale, wheel, mass.  Plain closure is given the true Crr and air, as a rival that
knows more than it could.  The "limit" is the same fit with the true noise parameters.
"""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fieldaero.answers.analysis import analyse_session
from fieldaero.compare.session_comparison import estimate_session
from fieldaero.estimate.closure import lap_closure
from fieldaero.estimate.energy_balance import energy_balance
from fieldaero.estimate.joint_fit.noise import PARAMETERS
from fieldaero.estimate.session import session_of
from fieldaero.physics.wind import wind_at_height_m_s
from fieldaero.run_sheet.sheet import run_sheet_from_text
from fieldaero.simulator import Scenario, SimulatedSession, simulate_session
from tests.validation.conditions import Condition

CRR, CRR_SD, POWER_SD, WHEEL_SD, MASS_SD = 0.0045, 0.0007, 0.015, 0.003, 0.5


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One campaign: errors of the difference b - a [m2], and what the intervals did."""

    seed: int
    weather: bool
    fit: float
    limit: float
    closure: float
    covered: bool
    width: float
    wrong: bool
    resolved: bool
    absolute_covered: bool
    absolute: float


def campaign(condition: Condition, seed: int) -> list[Outcome]:
    """Simulate one campaign and judge it, without and with a weather wind."""
    rng = np.random.default_rng([zlib.crc32(condition.name.encode()), seed])
    crr, power, wheel, mass = rng.normal(size=4)
    scenario = condition.scenario
    scenario = replace(
        scenario,
        wind=replace(scenario.wind, from_deg=float(rng.uniform(0.0, 360.0))),
        system=replace(
            scenario.system,
            crr=CRR + CRR_SD * float(np.clip(crr, -2.5, 2.5)),
            mass_kg=scenario.system.mass_kg + MASS_SD * float(mass) - condition.mass_error_kg,
        ),
        sensors=replace(
            scenario.sensors,
            power_scale=1.0 + POWER_SD * float(power),
            wheel_scale=1.0
            if scenario.sensors.satellite_speed
            else 1.0 + WHEEL_SD * float(wheel) + condition.wheel_error,
        ),
    )
    made = simulate_session(scenario, seed=seed)
    plain = _closure_error(made, scenario)
    return [_judged(condition, scenario, made, plain, seed, weather=weather, rng=rng) for weather in (False, True)]


def _judged(
    condition: Condition,
    scenario: Scenario,
    made: SimulatedSession,
    plain: float,
    seed: int,
    *,
    weather: bool,
    rng: np.random.Generator,
) -> Outcome:
    sheet = run_sheet_from_text(_sheet(condition, scenario, weather=weather, rng=rng), path=Path("study.toml"))
    session = session_of(sheet, [made.ride])
    result = analyse_session(session)
    truth = scenario.setups
    limit = estimate_session(session, theta=_true_noise(scenario), hyper_uncertainty=False)
    comparison = next(c for c in result.comparison_results if c.setup == "b")
    fitted = next(c for c in limit.comparison.contrasts if c.setup == "b")
    true = truth["b"] - truth["a"]
    assert comparison.delta_cda_m2 is not None
    assert comparison.interval95_alone_m2 is not None
    low, high = comparison.interval95_alone_m2
    first = result.setup_results[0]
    assert first.interval95_m2 is not None
    assert first.cda_m2 is not None
    verdict = comparison.verdict
    wrong = (verdict == "lower drag" and true >= 0.0) or (verdict == "higher drag" and true <= 0.0)
    return Outcome(
        seed=seed,
        weather=weather,
        fit=comparison.delta_cda_m2 - true,
        limit=fitted.delta_cda_m2 - true,
        closure=plain,
        covered=low <= true <= high,
        width=high - low,
        wrong=wrong,
        resolved=verdict in ("lower drag", "higher drag"),
        absolute_covered=first.interval95_m2[0] <= truth["a"] <= first.interval95_m2[1],
        absolute=first.cda_m2 - truth["a"],
    )


def _sheet(condition: Condition, scenario: Scenario, *, weather: bool, rng: np.random.Generator) -> str:
    names = ", ".join(f'"{n}"' for n in ("-", *scenario.order, "-"))
    setups = "\n".join(f'[[setups]]\nname = "{n}"' for n in scenario.setups)
    wind = ""
    if weather:
        # A station 10 m up and a way off: a fifth off in speed, 15 degrees in direction.
        per_m_s = float(wind_at_height_m_s(wind_speed_m_s=1.0, measured_height_m=10.0))
        speed = max(scenario.wind.speed_m_s / per_m_s * (1.0 + 0.2 * float(rng.normal())), 0.0)
        origin = (scenario.wind.from_deg + 15.0 * float(rng.normal())) % 360.0
        wind = f"wind_speed_m_s = {speed:.2f}\nwind_from_deg = {origin:.0f}\nwind_height_m = 10\n"
    return f"""
schema = 1
title = "study"
baseline = "a"
[system]
mass_kg = {condition.scenario.system.mass_kg}
mass_sd_kg = {MASS_SD}
wheel_circumference_m = 2.105
wheel_circumference_sd = {WHEEL_SD}
crr = {CRR}
crr_sd = {CRR_SD}
power_scale_sd = {POWER_SD}
[[weather]]
temperature_c = {scenario.temperature_c}
pressure_hpa = {scenario.pressure_hpa}
relative_humidity_pct = {100.0 * scenario.relative_humidity}
{wind}
{setups}
[[rides]]
file = "study.csv"
laps = [{names}]
"""


def _closure_error(made: SimulatedSession, scenario: Scenario) -> float:
    """Error of the difference by plain closure with the true Crr, air and system of the run sheet's meter."""
    truth = made.truth
    balance = energy_balance(
        made.ride,
        system=scenario.system,
        air_density_kg_m3=truth.air_density_kg_m3,
        gravity_m_s2=truth.gravity_m_s2,
    )
    cda = np.array(
        [
            lap_closure(balance, start_s=a, end_s=b, crr=truth.crr).cda_m2
            for a, b in zip(truth.crossing_s[:-1], truth.crossing_s[1:], strict=True)
        ]
    )
    names = np.array(truth.lap_setup)
    return float(cda[names == "b"].mean() - cda[names == "a"].mean()) - (scenario.setups["b"] - scenario.setups["a"])


def _true_noise(scenario: Scenario) -> np.ndarray:
    """Logs of the noise parameters that the scenario was made with."""
    wind, sensors, system = scenario.wind, scenario.sensors, scenario.system
    speed = 10.5
    per_newton = 1.0 / (system.mass_kg * 9.81)
    level = 0.08 if sensors.satellite_speed else sensors.speed_noise_m_s
    values = {
        "gust_sd_m_s": max(wind.gust_sd_m_s, 0.01),
        "gust_s": wind.gust_length_m / speed,
        "slow_wind_sd_m_s": max(wind.slow_sd_m_s, 0.01),
        "slow_wind_s": wind.slow_s,
        "level_sd_m": level * speed / 9.81,
        "power_sd_m_per_sqrt_s": math.hypot(sensors.power_noise * 230.0, sensors.power_noise_w) * per_newton,
        "brake_sd_m_per_sqrt_s": 0.3,
        "air_speed_sd_m_s": sensors.air_speed_noise * speed / math.sqrt(5.0),
    }
    return np.log([values[p.name] for p in PARAMETERS])
