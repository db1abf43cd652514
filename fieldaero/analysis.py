"""The one function that runs a whole test: from a run sheet to a result."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence

import numpy as np

from fieldaero.closure import lap_closure
from fieldaero.errors import CannotAnswerError
from fieldaero.plain_comparison import setup_difference, setup_mean
from fieldaero.result import (
    ComparisonResult,
    CrrResult,
    InputFile,
    LapResult,
    Result,
    SetupResult,
    WindResult,
)
from fieldaero.run_sheet import RunSheet, read_run_sheet
from fieldaero.session import Session, SessionLap, open_session
from fieldaero.version import VERSION

__all__ = ["analyse", "analyse_session"]


def analyse(path: str | os.PathLike[str], *, progress: Callable[[str], None] | None = None) -> Result:
    """Analyse the test that a run sheet describes.

    Parameters
    ----------
    path
        The run sheet, a TOML file; the rides it names are read from beside it.
    progress
        Called with a few words before each longer step.

    Returns
    -------
    The result: tables, verdicts, warnings.

    Raises
    ------
    RunSheetError, RideError, WeatherError
        Where the run sheet or a file it names cannot be read or does not fit.
    CannotAnswerError
        Where the input is in order but the laps cannot answer.
    """
    return analyse_session(open_session(read_run_sheet(path), progress=progress), progress=progress)


def analyse_session(session: Session, *, progress: Callable[[str], None] | None = None) -> Result:
    """Analyse a session that is already open; see :func:`analyse`."""
    say = progress or (lambda _: None)
    say("drag area of each lap")
    sheet = session.run_sheet
    rows = [_lap_result(session, lap) for lap in session.laps]
    warnings = [*session.warnings, *_left_out(rows)]
    by_setup = {
        setup.name: [row.closure_cda_m2 for row in rows if row.used and row.setup == setup.name]
        for setup in sheet.setups
    }
    if not any(value is not None for values in by_setup.values() for value in values):
        raise CannotAnswerError(
            f"{sheet.path.name}: no lap gives a drag area. Name at least one whole lap with power and speed for a setup "
            "under [[rides]] laps."
        )
    return Result(
        title=sheet.title,
        baseline=sheet.baseline,
        version=VERSION,
        inputs=(
            InputFile(file=sheet.path.name, sha256=sheet.sha256),
            *(InputFile(file=r.ride.source.file, sha256=r.ride.source.sha256) for r in session.rides),
        ),
        lap_results=tuple(rows),
        setup_results=tuple(_setup_result(name, values) for name, values in by_setup.items()),
        comparison_results=tuple(
            _comparison(name, values, sheet, by_setup[sheet.baseline])
            for name, values in by_setup.items()
            if name != sheet.baseline
        ),
        crr=CrrResult(value=sheet.system.crr, se=sheet.system.crr_sd),
        wind=_wind(session),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _lap_result(session: Session, entry: SessionLap) -> LapResult:
    sheet, lap = session.run_sheet, entry.lap
    session_ride = session.rides[entry.ride]
    balance, ride = session_ride.balance, session_ride.ride
    closure = lap_closure(
        balance,
        start_s=lap.start_s,
        end_s=lap.end_s,
        crr=sheet.system.crr,
        height_difference_m=sheet.course.height_difference_m or 0.0,
    )
    known = balance.total(np.where(balance.known, balance.duration_s, 0.0), lap.start_s, lap.end_s)
    work = balance.total(balance.power_w * np.where(balance.known, balance.duration_s, 0.0), lap.start_s, lap.end_s)
    inside = (balance.time_s[:-1] >= lap.start_s) & (balance.time_s[1:] <= lap.end_s)
    why_not = ""
    if entry.used and not entry.whole:
        why_not = f"{lap.distance_m:.0f} m is not a whole lap of {session.course.length_m:.0f} m"
    elif entry.used and not math.isfinite(closure.cda_m2):
        why_not = f"power or speed is missing for {closure.unknown_s:.0f} s of it"
    clock = ride.clock(lap.start_s)
    return LapResult(
        ride=ride.source.file,
        lap=lap.number,
        setup=entry.setup,
        used=entry.used and not why_not,
        flags=tuple(dict.fromkeys(flag.name for flag in lap.flags)),
        start=None if clock is None else clock.isoformat(timespec="milliseconds"),
        duration_s=lap.duration_s,
        distance_m=lap.distance_m,
        speed_m_s=lap.distance_m / lap.duration_s if lap.duration_s > 0.0 else math.nan,
        power_w=work / known if known > 0.0 else math.nan,
        air_density_kg_m3=_mean(balance.air_density_kg_m3[inside]),
        yaw_deg_median=_median_yaw_deg(session, entry),
        cda_m2=None,
        cda_se_m2=None,
        closure_cda_m2=closure.cda_m2 if entry.whole and math.isfinite(closure.cda_m2) else None,
        residual_rms_m=None,
        flag_sentences=tuple(flag.sentence for flag in lap.flags),
        why_not=why_not,
    )


def _median_yaw_deg(session: Session, entry: SessionLap) -> float | None:
    if session.wind_east_m_s is None:
        return None
    balance = session.rides[entry.ride].balance
    inside = (
        (balance.time_s[:-1] >= entry.lap.start_s)
        & (balance.time_s[1:] <= entry.lap.end_s)
        & balance.known
        & np.isfinite(balance.heading_deg)
        & (balance.speed_m_s > 1.0)
    )
    if not inside.any():
        return None
    u = balance.speed_m_s - balance.wind_along_m_s
    yaw = np.degrees(np.arctan2(balance.wind_across_m_s, u))[inside]
    return float(np.median(np.abs(yaw)))


def _left_out(rows: Sequence[LapResult]) -> list[str]:
    return [
        f"{row.ride}, lap {row.lap}: named for {row.setup!r} but left out, for {row.why_not}."
        for row in rows
        if row.why_not
    ]


def _numbers(values: Sequence[float | None]) -> list[float]:
    return [math.nan if value is None else value for value in values]


def _setup_result(name: str, values: Sequence[float | None]) -> SetupResult:
    mean = setup_mean(_numbers(values))
    return SetupResult(
        setup=name,
        laps=mean.laps,
        cda_m2=mean.cda_m2,
        se_m2=mean.se_m2,
        interval95_m2=mean.interval() if mean.laps > 1 else None,
    )


def _comparison(
    name: str, values: Sequence[float | None], sheet: RunSheet, baseline: Sequence[float | None]
) -> ComparisonResult:
    found = setup_difference(cda_m2=_numbers(values), versus_cda_m2=_numbers(baseline))
    return ComparisonResult(
        setup=name,
        versus=sheet.baseline,
        delta_cda_m2=found.delta_cda_m2,
        se_m2=found.se_m2,
        df=found.df,
        interval95_m2=found.interval() if math.isfinite(found.df) else None,
        p_value=found.p_value,
    )


def _wind(session: Session) -> WindResult | None:
    east, north = session.wind_east_m_s, session.wind_north_m_s
    if east is None or north is None:
        return None
    return WindResult(
        mean_m_s=math.hypot(east, north), from_deg=math.degrees(math.atan2(-east, -north)) % 360.0, sd_m_s=None
    )


def _mean(values: np.ndarray) -> float:
    return float(np.mean(values)) if len(values) else math.nan
