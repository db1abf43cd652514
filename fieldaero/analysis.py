"""The one function that runs a whole test: from a run sheet to a result."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence

import numpy as np

from fieldaero.compare import SCATTER_PRIOR_SD, SetupComparison
from fieldaero.errors import CannotAnswerError, OutOfRangeError
from fieldaero.estimation import Estimates, crr_prior_sd, estimate_session
from fieldaero.lap_results import lap_results
from fieldaero.plain_comparison import setup_difference, setup_mean
from fieldaero.result import (
    ComparisonResult,
    CrrResult,
    DriftResult,
    InputFile,
    LapResult,
    LapShift,
    Result,
    SecondsResult,
    SetupResult,
    WattsResult,
    WindResult,
)
from fieldaero.run_sheet import read_run_sheet
from fieldaero.session import Session, open_session
from fieldaero.session_segments import fittable_laps
from fieldaero.translate import FlatRoad, cda_for_seconds_m2, cda_for_watts_m2, seconds_over_distance, watts_at_speed
from fieldaero.verdict import NOT_RESOLVED, further_laps, verdict
from fieldaero.version import VERSION

__all__ = ["analyse", "analyse_session"]

DISAGREE_SD = 3.0  # the two estimators share their data, so that chance alone keeps them much closer than this
STRONG_WIND_M_S = 3.0  # at the rider's height; laps scatter by 5 % there in simulated sessions
WINDS_DIFFER_M_S, WINDS_DIFFER = 1.0, 0.5  # weather and laps, at least, and of the observed wind; common practice
CRR_UNKNOWN_SHARE = 0.25  # common practice, no source


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
    sheet = session.run_sheet
    chosen = fittable_laps(session)
    if not chosen:
        raise CannotAnswerError(
            f"{sheet.path.name}: no lap gives a drag area. Name at least one whole lap with power and speed for a "
            "setup under [[rides]] laps."
        )
    say("fitting all laps together")
    try:
        estimates = estimate_session(session, laps=chosen)
    except np.linalg.LinAlgError as problem:
        raise CannotAnswerError(
            f"{sheet.path.name}: the laps do not determine their drag areas ({problem}). Check mass, speed and power "
            "for impossible values, or use more laps."
        ) from None
    rows = lap_results(session, estimates)
    comparisons = _comparisons(session, estimates, rows)
    warnings = [
        *session.warnings,
        *estimates.warnings,
        *_left_out(rows),
        *_wind_doubts(session, estimates),
        *_level_doubts(session, estimates, rows),
        *_doubts(estimates, rows, comparisons),
    ]
    return Result(
        title=sheet.title,
        baseline=sheet.baseline,
        version=VERSION,
        inputs=(
            InputFile(file=sheet.path.name, sha256=sheet.sha256),
            *(InputFile(file=r.ride.source.file, sha256=r.ride.source.sha256) for r in session.rides),
        ),
        lap_results=rows,
        setup_results=_setups(session, estimates),
        comparison_results=comparisons,
        crr=CrrResult(
            value=estimates.fit.crr,
            se=estimates.fit.crr_se,
            given=sheet.system.crr,
            given_sd=crr_prior_sd(session),
            estimated=sheet.analysis.estimate_crr,
        ),
        wind=_wind(estimates),
        lap_scatter_m2=estimates.comparison.lap_scatter_m2,
        drift_m2_per_h=DriftResult(
            value=estimates.comparison.drift_m2_per_h, se=estimates.comparison.drift_se_m2_per_h
        ),
        budget_rows=estimates.budget,
        estimates=estimates,
        session=session,
        warnings=tuple(dict.fromkeys(warnings)),
    )


def flat_road(session: Session, estimates: Estimates) -> FlatRoad:
    """Return what watts and seconds are worked out for: this rider and bike in the session's mean air."""
    density = np.concatenate([r.conditions.air_density_kg_m3 for r in session.rides])
    return FlatRoad(
        system=session.run_sheet.system,
        crr=estimates.fit.crr,
        air_density_kg_m3=float(np.nanmean(density)),
        gravity_m_s2=session.gravity_m_s2,
    )


def _setups(session: Session, estimates: Estimates) -> tuple[SetupResult, ...]:
    found = {mean.setup: mean for mean in estimates.comparison.setups}
    out = []
    for setup in session.run_sheet.setups:
        mean = found.get(setup.name)
        if mean is None:
            out.append(SetupResult(setup=setup.name, laps=0, cda_m2=None, se_m2=None, interval95_m2=None))
        else:
            out.append(
                SetupResult(
                    setup=mean.setup,
                    laps=mean.laps,
                    cda_m2=mean.cda_m2,
                    se_m2=mean.se_m2,
                    interval95_m2=mean.interval(),
                )
            )
    return tuple(out)


def _comparisons(session: Session, estimates: Estimates, rows: Sequence[LapResult]) -> tuple[ComparisonResult, ...]:
    found = estimates.comparison
    means = {mean.setup: mean for mean in found.setups}
    out: list[ComparisonResult] = []
    for i, pair in enumerate(found.comparisons):
        smallest = _smallest_m2(session, estimates, means[pair.versus].cda_m2)
        laps = means[pair.setup].laps + means[pair.versus].laps
        says = verdict(pair.interval95_m2, smallest_difference_m2=smallest)
        plain = setup_difference(cda_m2=_closures(rows, pair.setup), versus_cda_m2=_closures(rows, pair.versus))
        out.append(
            ComparisonResult(
                setup=pair.setup,
                versus=pair.versus,
                delta_cda_m2=pair.delta_cda_m2,
                se_m2=pair.se_m2,
                df=pair.df,
                interval95_m2=pair.interval95_m2,
                p_value=pair.p_value,
                verdict=says,
                watts=_watts(session, estimates, pair),
                seconds=_seconds(session, estimates, pair, means[pair.versus].cda_m2),
                further_laps=further_laps(
                    delta_cda_m2=pair.delta_cda_m2,
                    se_m2=pair.se_m2,
                    df=pair.df,
                    laps=laps,
                    smallest_difference_m2=smallest,
                    level=pair.own_level,
                )
                if says == NOT_RESOLVED
                else None,
                smallest_difference_m2=smallest,
                interval95_alone_m2=pair.interval95_alone_m2,
                closure_delta_cda_m2=plain.delta_cda_m2,
                closure_se_m2=plain.se_m2,
                lap_shifts=tuple(
                    LapShift(
                        ride=session.rides[lap.ride].ride.source.file,
                        lap=lap.lap.number,
                        shift_m2=float(found.influence.shift_m2[k, i]),
                    )
                    for k, lap in enumerate(estimates.laps)
                ),
            )
        )
    missing = [
        name.name
        for name in session.run_sheet.setups
        if name.name != session.run_sheet.baseline and name.name not in {c.setup for c in out}
    ]
    out += [
        ComparisonResult(
            setup=name,
            versus=session.run_sheet.baseline,
            delta_cda_m2=None,
            se_m2=None,
            df=None,
            interval95_m2=None,
            p_value=None,
            verdict=NOT_RESOLVED,
        )
        for name in missing
    ]
    return tuple(out)


def _closures(rows: Sequence[LapResult], setup: str) -> list[float]:
    return [
        math.nan if row.closure_cda_m2 is None else row.closure_cda_m2
        for row in rows
        if row.used and row.setup == setup
    ]


def _smallest_m2(session: Session, estimates: Estimates, cda_m2: float) -> float | None:
    choices = session.run_sheet.analysis
    road = flat_road(session, estimates)
    if choices.smallest_difference_m2 is not None:
        return choices.smallest_difference_m2
    if choices.smallest_difference_w is not None:
        return cda_for_watts_m2(choices.smallest_difference_w, road=road, speed_km_h=choices.report_speed_km_h)
    if choices.smallest_difference_s is not None:
        return cda_for_seconds_m2(
            choices.smallest_difference_s,
            cda_m2=cda_m2,
            road=road,
            distance_km=choices.report_distance_km,
            power_w=choices.report_power_w,
        )
    return None


def _watts(session: Session, estimates: Estimates, pair: SetupComparison) -> WattsResult:
    speed = session.run_sheet.analysis.report_speed_km_h
    value, low, high = watts_at_speed(
        [pair.delta_cda_m2, *pair.interval95_m2], road=flat_road(session, estimates), speed_km_h=speed
    ).tolist()
    return WattsResult(speed_km_h=speed, value=value, interval95=None if math.isnan(low) else (low, high))


def _seconds(session: Session, estimates: Estimates, pair: SetupComparison, cda_m2: float) -> SecondsResult | None:
    choices = session.run_sheet.analysis
    low, high = pair.interval95_m2

    def at(delta: float) -> float:
        return float(
            seconds_over_distance(
                delta,
                cda_m2=cda_m2,
                road=flat_road(session, estimates),
                distance_km=choices.report_distance_km,
                power_w=choices.report_power_w,
            )
        )

    try:
        return SecondsResult(
            distance_km=choices.report_distance_km,
            power_w=choices.report_power_w,
            value=at(pair.delta_cda_m2),
            interval95=None if math.isnan(low) else (at(low), at(high)),
        )
    except OutOfRangeError:
        return None  # an interval so wide that it holds drag areas below zero has no time


def _left_out(rows: Sequence[LapResult]) -> list[str]:
    return [
        f"{row.ride}, lap {row.lap}: named for {row.setup!r} but left out, for {row.why_not}."
        for row in rows
        if row.why_not
    ]


def _doubts(estimates: Estimates, rows: Sequence[LapResult], comparisons: Sequence[ComparisonResult]) -> list[str]:
    found = []
    counts = {mean.setup: mean.laps for mean in estimates.comparison.setups}
    if max(counts.values()) < 2:
        found.append(
            "No setup has two laps, so how much the rider scatters from lap to lap is not known; the intervals take "
            f"{100.0 * SCATTER_PRIOR_SD:g} % for it. Repeat each setup."
        )
    else:
        found += [
            f"{name}: a single lap; its scatter is taken to be that of the other setups."
            for name, count in counts.items()
            if count == 1
        ]
    if len(counts) == 1:
        found.append("Only one setup has laps that can be used, so there is nothing to compare.")
    for row in rows:
        if row.outlier:
            found.append(
                f"{row.ride}, lap {row.lap} ({row.setup}): lies further from the other laps than chance brings. "
                "Look for a reason; the result keeps it."
            )
    for c in comparisons:
        if None in (c.closure_delta_cda_m2, c.closure_se_m2, c.delta_cda_m2, c.se_m2):
            continue
        assert c.delta_cda_m2 is not None and c.se_m2 is not None  # noqa: PT018
        assert c.closure_delta_cda_m2 is not None and c.closure_se_m2 is not None  # noqa: PT018
        apart = abs(c.delta_cda_m2 - c.closure_delta_cda_m2)
        if apart > DISAGREE_SD * math.hypot(c.se_m2, c.closure_se_m2):
            found.append(
                f"{c.setup} against {c.versus}: the joint fit says {c.delta_cda_m2:+.4f} m² and plain closure "
                f"{c.closure_delta_cda_m2:+.4f} m², further apart than their errors allow. Look at the flagged laps "
                "before believing either."
            )
    return found


def _wind_doubts(session: Session, estimates: Estimates) -> list[str]:
    found = []
    east, north = estimates.fit.mean_wind_m_s
    strongest = math.hypot(east, north)
    if session.wind_east_m_s is not None and session.wind_north_m_s is not None:
        observed = math.hypot(session.wind_east_m_s, session.wind_north_m_s)
        apart = math.hypot(session.wind_east_m_s - east, session.wind_north_m_s - north)
        strongest = max(strongest, observed)
        if apart > max(WINDS_DIFFER_M_S, WINDS_DIFFER * observed):
            found.append(
                f"The weather puts the wind at {observed:.1f} m/s at the rider's height, the laps at "
                f"{math.hypot(east, north):.1f} m/s, {apart:.1f} m/s apart with the direction. Check speed (m/s, not "
                "km/h or knots), direction and height of the observation, and analysis.roughness_length_m."
            )
    else:
        found.append(
            "No wind was observed, so the laps alone have to tell its mean, to about "
            f"±{float(np.mean(estimates.fit.mean_wind_sd_m_s)):.1f} m/s; the intervals allow for that. A wind meter "
            "beside the road would narrow them."
        )
    if strongest > STRONG_WIND_M_S:
        found.append(
            f"Wind of {strongest:.1f} m/s at the rider's height: drag areas scatter by 5 % or more from lap to lap in "
            "such wind. Calmer air tells more than many laps."
        )
    return found


def _level_doubts(session: Session, estimates: Estimates, rows: Sequence[LapResult]) -> list[str]:
    """Doubts about the drag areas themselves, which leave their differences nearly alone."""
    found = []
    crr, crr_se = estimates.fit.crr, estimates.fit.crr_se
    if crr_se > CRR_UNKNOWN_SHARE * crr:
        found.append(
            f"Crr is known to ±{crr_se:.4f} only, and the drag areas themselves are as uncertain; their differences "
            "hardly are. Laps at speeds far apart would tell it, or a measured Crr."
        )
    if not (session.course.closed or session.run_sheet.course.height_difference_m is not None):
        return found  # plain closure has no rise to go by
    for mean in estimates.comparison.setups:
        plain = setup_mean(_closures(rows, mean.setup))
        apart = abs(mean.cda_m2 - plain.cda_m2)
        if apart > DISAGREE_SD * math.hypot(mean.se_m2, 0.0 if math.isnan(plain.se_m2) else plain.se_m2):
            found.append(
                f"{mean.setup}: the joint fit says {mean.cda_m2:.4f} m² and plain closure {plain.cda_m2:.4f} m², "
                "further apart than their errors allow. Closure takes the observed wind and Crr as they stand: check "
                "these first."
            )
    return found


def _wind(estimates: Estimates) -> WindResult:
    east, north = estimates.fit.mean_wind_m_s
    return WindResult(
        mean_m_s=math.hypot(east, north),
        from_deg=math.degrees(math.atan2(-east, -north)) % 360.0,
        sd_m_s=estimates.fit.noise["slow_wind_sd_m_s"],
        mean_sd_m_s=float(np.mean(estimates.fit.mean_wind_sd_m_s)),
    )
