"""Simulated sessions on their way through the analysis as far as the joint fit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from fieldaero.compare.session_comparison import Estimates, estimate_session
from fieldaero.estimate.cut_laps import cut_laps, fittable_laps
from fieldaero.estimate.joint_fit.fit import JointFit, joint_fit
from fieldaero.estimate.joint_fit.priors import KnownBefore
from fieldaero.estimate.joint_fit.segments import Segments
from fieldaero.estimate.session import Session, session_of
from fieldaero.run_sheet.sheet import run_sheet_from_text
from fieldaero.simulator import Scenario, SimulatedSession, Wind, simulate_session
from tests.simulator.sessions import scenario

CRR, CRR_SD = 0.0045, 0.0007
BREEZE = Wind(speed_m_s=1.5, from_deg=250.0, slow_sd_m_s=0.4, gust_sd_m_s=0.4)
CALM = Wind(speed_m_s=0.4, from_deg=250.0, slow_sd_m_s=0.1, gust_sd_m_s=0.1)


def sheet_text(
    told: Scenario, *, mass_kg: float | None = None, names: dict[str, str] | None = None, skipped: tuple[int, ...] = ()
) -> str:
    """Run sheet of a simulated session; ``skipped`` are laps, 1-based, that it does not use."""
    names = names or {name: name for name in told.setups}
    order = ["-" if k in skipped else names[name] for k, name in enumerate(told.order, start=1)]
    laps = ", ".join(f'"{name}"' for name in ("-", *order, "-"))
    setups = "\n".join(f'[[setups]]\nname = "{names[name]}"' for name in told.setups)
    return f"""
schema = 1
title = "test"
baseline = "{names[next(iter(told.setups))]}"
[system]
mass_kg = {told.system.mass_kg if mass_kg is None else mass_kg!r}
mass_sd_kg = 0.5
wheel_circumference_m = 2.105
crr = {CRR}
crr_sd = {CRR_SD}
[[weather]]
temperature_c = {told.temperature_c}
pressure_hpa = {told.pressure_hpa}
relative_humidity_pct = {100.0 * told.relative_humidity}
{setups}
[[rides]]
file = "test.csv"
laps = [{laps}]
"""


@cache
def simulated(seed: int, **changes) -> SimulatedSession:
    return simulate_session(scenario(**changes), seed=seed)


def opened(
    seed: int, *, sheet: dict | None = None, edit: Callable[[pd.DataFrame], pd.DataFrame] | None = None, **changes
) -> Session:
    """Session of a simulated ride, with what the sheet says and the ride's table changed on the way."""
    ride = simulated(seed, **changes).ride
    if edit is not None:
        ride = replace(ride, table=edit(ride.table.copy()))
    text = sheet_text(scenario(**changes), **(sheet or {}))
    return session_of(run_sheet_from_text(text, path=Path("test.toml")), [ride])


@cache
def plain_session(seed: int, **changes) -> Session:
    return opened(seed, **changes)


@cache
def estimated(seed: int, **changes) -> Estimates:
    return estimate_session(plain_session(seed, **changes), hyper_uncertainty=False)


@cache
def segments_of(seed: int, **changes) -> Segments:
    session = plain_session(seed, **changes)
    return cut_laps(session, fittable_laps(session))


@cache
def fitted(seed: int, **changes) -> JointFit:
    """Fit with neither altimeter nor observed wind."""
    return fit_of(segments_of(seed, **changes))


def fit_of(segments: Segments, *, start: JointFit | None = None, theta: np.ndarray | None = None, **known) -> JointFit:
    settings = KnownBefore(**({"crr": CRR, "crr_sd": CRR_SD} | known))
    return joint_fit(segments, settings, start=start, theta=theta, hyper_uncertainty=False)


def difference(fit: JointFit, order: tuple[str, ...], *, setup: str = "faired", versus: str = "bare"):
    """Mean difference of two setups and its standard error, laps weighed alike."""
    names = np.array(order)
    c = (names == setup) / np.sum(names == setup) - (names == versus) / np.sum(names == versus)
    return float(c @ fit.cda_m2), float(np.sqrt(c @ fit.covariance_m4 @ c))
