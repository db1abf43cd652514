"""Seconds over the courses that a run sheet asks for, with what the test knows of rider, bike and air."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldaero.answers.comparison_rows import flat_road
from fieldaero.answers.race.profile import (
    CourseProfile,
    course_from_file,
    course_from_numbers,
    flat_profile,
    lap_profile,
)
from fieldaero.answers.race.race_time import Race
from fieldaero.answers.race.time_saved import time_saved
from fieldaero.answers.rows import RaceResult
from fieldaero.basics.errors import OutOfRangeError, RideError, RunSheetError
from fieldaero.compare.session_comparison import Estimates
from fieldaero.estimate.session import Session
from fieldaero.run_sheet.schema import Race as RaceTable
from fieldaero.run_sheet.sheet import RunSheet

__all__ = ["race_results"]


def race_results(session: Session, estimates: Estimates) -> tuple[RaceResult, ...]:
    """Return one row per course and comparison.

    In the order of the run sheet; without seconds where an interval holds impossible drag areas.  A course that
    cannot be read or ridden so is an error that gives its number in the sheet.
    """
    sheet = session.run_sheet
    rows: list[RaceResult] = []
    for number, table in enumerate(sheet.races, start=1):
        where = f"{sheet.path.name}: [[races]] no. {number}"
        try:
            race = _race(table, session, estimates)
        except (OutOfRangeError, RideError) as problem:
            raise RunSheetError(f"{where}: {problem}") from None
        rows += [_row(table, race, estimates, k) for k in range(len(estimates.comparison.contrasts))]
    return tuple(rows)


def _race(table: RaceTable, session: Session, estimates: Estimates) -> Race:
    highest = table.highest_speed_km_h
    return Race(
        profile=_profile(table, session.run_sheet, session, estimates),
        road=flat_road(session, estimates),
        power_w=session.run_sheet.analysis.report_power_w if table.power_w is None else table.power_w,
        wind_speed_m_s=table.wind_speed_m_s,
        wind_from_deg=table.wind_from_deg,
        highest_speed_m_s=None if highest is None else highest / 3.6,
        start=table.start,
    )


def _profile(table: RaceTable, sheet: RunSheet, session: Session, estimates: Estimates) -> CourseProfile:
    if table.file is not None:
        return course_from_file(sheet.path.parent / table.file)
    if table.distance_m:
        return course_from_numbers(
            distance_m=table.distance_m, height_m=table.height_m, heading_deg=table.heading_deg, name=table.name
        )
    assert table.distance_km is not None
    if table.road == "lap":
        return lap_profile(estimates.fit, session.course, distance_km=table.distance_km)
    return flat_profile(distance_km=table.distance_km)


def _row(table: RaceTable, race: Race, estimates: Estimates, k: int) -> RaceResult:
    found = estimates.comparison
    pair = found.contrasts[k]
    names = [mean.setup for mean in found.setups]
    i, j = names.index(pair.setup), names.index(pair.versus)
    scatter = (found.lap_scatter_m2 or 0.0) ** 2
    lap_covariance: NDArray[np.float64] = estimates.covariance_m4 + scatter * np.eye(len(estimates.laps))
    seconds = se = versus_time = None
    interval = None
    try:
        saved = time_saved(
            race,
            cda_m2=found.setups[j].cda_m2,
            cda_se_m2=found.setups[j].se_m2,
            delta_cda_m2=pair.delta_cda_m2,
            delta_se_m2=pair.se_m2,
            df=pair.df,
            inputs=estimates.inputs,
            setup_weights=found.weights[i],
            versus_weights=found.weights[j],
            lap_covariance_m4=lap_covariance,
        )
        seconds, se, versus_time = saved.seconds_s, saved.standard_uncertainty_s, saved.baseline_s
        if np.isfinite(pair.interval95_m2).all():
            interval = saved.interval(level=pair.own_level)
    except OutOfRangeError:
        pass  # a drag area out of the range of riders has no time
    return RaceResult(
        race=table.name,
        setup=pair.setup,
        versus=pair.versus,
        distance_km=race.profile.length_m / 1000.0,
        ascent_m=race.profile.ascent_m,
        power_w=race.power_w,
        versus_time_s=versus_time,
        delta_s=seconds,
        se_s=se,
        interval95_s=interval,
        assumed=_assumed(table, race),
    )


def _assumed(table: RaceTable, race: Race) -> str:
    wind = (
        f"wind {race.wind_speed_m_s:g} m/s from {race.wind_from_deg:g}° at the rider's height"
        if race.wind_speed_m_s > 0.0 and race.wind_from_deg is not None
        else "no wind"
    )
    parts = [f"{race.power_w:g} W throughout", wind, "the air of the test", f"{table.start} start"]
    if table.highest_speed_km_h is not None:
        parts.append(f"never above {table.highest_speed_km_h:g} km/h")
    return ", ".join(parts)
