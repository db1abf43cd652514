"""The rows of the result's tables of setups and comparisons, with their verdicts and in m2, W and s."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fieldaero.answers.rows import ComparisonResult, LapResult, LapShift, SecondsResult, SetupResult, WattsResult
from fieldaero.basics.errors import OutOfRangeError
from fieldaero.compare.session_comparison import Estimates
from fieldaero.compare.verdict import NOT_RESOLVED, further_laps, verdict
from fieldaero.estimate.closure import closure_mean
from fieldaero.estimate.session import Session
from fieldaero.physics.flat_road import (
    FlatRoad,
    cda_for_seconds_m2,
    cda_for_watts_m2,
    seconds_over_distance,
    watts_at_speed,
)
from fieldaero.run_sheet.schema import AnalysisChoices

__all__ = [
    "closures_m2",
    "comparison_results",
    "flat_road",
    "seconds_result",
    "setup_results",
    "smallest_difference_m2",
    "watts_result",
]


def flat_road(session: Session, estimates: Estimates) -> FlatRoad:
    """Return what watts and seconds are worked out for: this rider and bike in the session's mean air."""
    density = np.concatenate([r.conditions.air_density_kg_m3 for r in session.rides])
    return FlatRoad(
        system=session.run_sheet.system,
        crr=estimates.fit.crr,
        air_density_kg_m3=float(np.nanmean(density)),
        gravity_m_s2=session.gravity_m_s2,
    )


def setup_results(session: Session, estimates: Estimates) -> tuple[SetupResult, ...]:
    """Return one row per setup of the run sheet, in its order."""
    found = {mean.setup: mean for mean in estimates.comparison.setups}
    out = []
    for setup in session.run_sheet.setups:
        mean = found.get(setup.name)
        if mean is None:
            out.append(SetupResult(setup=setup.name, laps=0))
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


def comparison_results(
    session: Session, estimates: Estimates, rows: Sequence[LapResult]
) -> tuple[ComparisonResult, ...]:
    """Return one row per comparison, and one for each setup that no lap speaks of."""
    found = estimates.comparison
    means = {mean.setup: mean for mean in found.setups}
    choices, road = session.run_sheet.analysis, flat_road(session, estimates)
    out: list[ComparisonResult] = []
    for i, pair in enumerate(found.contrasts):
        smallest = smallest_difference_m2(choices, road=road, cda_m2=means[pair.versus].cda_m2)
        laps = means[pair.setup].laps + means[pair.versus].laps
        says = verdict(pair.interval95_m2, smallest_difference_m2=smallest)
        closure, versus = (closure_mean(closures_m2(rows, name)) for name in (pair.setup, pair.versus))
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
                watts=watts_result(pair.delta_cda_m2, pair.interval95_m2, choices=choices, road=road),
                seconds=seconds_result(
                    pair.delta_cda_m2,
                    pair.interval95_m2,
                    choices=choices,
                    road=road,
                    cda_m2=means[pair.versus].cda_m2,
                ),
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
                closure_delta_cda_m2=closure.cda_m2 - versus.cda_m2,
                closure_se_m2=math.hypot(closure.se_m2, versus.se_m2),
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
            verdict=NOT_RESOLVED,
        )
        for name in missing
    ]
    return tuple(out)


def closures_m2(rows: Sequence[LapResult], setup: str) -> list[float]:
    """Return the drag areas by plain closure of a setup's used laps [m2], NaN where closure gives none."""
    return [
        math.nan if row.closure_cda_m2 is None else row.closure_cda_m2
        for row in rows
        if row.used and row.setup == setup
    ]


def smallest_difference_m2(choices: AnalysisChoices, *, road: FlatRoad, cda_m2: float) -> float | None:
    """Return the smallest difference that matters as a drag area [m2], however the run sheet states it; None if not.

    ``cda_m2`` is the drag area that a difference stated in seconds is added to.
    """
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


def watts_result(
    delta_cda_m2: float, interval_m2: tuple[float, float], *, choices: AnalysisChoices, road: FlatRoad
) -> WattsResult:
    """Return the power that a difference of drag area costs at the speed reported at."""
    speed = choices.report_speed_km_h
    value, low, high = watts_at_speed([delta_cda_m2, *interval_m2], road=road, speed_km_h=speed).tolist()
    return WattsResult(speed_km_h=speed, value=value, interval95=(low, high))


def seconds_result(
    delta_cda_m2: float,
    interval_m2: tuple[float, float],
    *,
    choices: AnalysisChoices,
    road: FlatRoad,
    cda_m2: float,
) -> SecondsResult | None:
    """Return the time that a difference of drag area costs over the distance reported.

    ``cda_m2`` is the drag area that it is added to.  There is no time for a drag area that is not
    above zero: no interval where one of its ends is such, and None where the difference itself leads there.
    """

    def times(deltas: Sequence[float]) -> list[float]:
        found: list[float] = seconds_over_distance(
            deltas,
            cda_m2=cda_m2,
            road=road,
            distance_km=choices.report_distance_km,
            power_w=choices.report_power_w,
        ).tolist()
        return found

    try:
        (value,) = times([delta_cda_m2])
    except OutOfRangeError:
        return None
    try:
        low, high = times(interval_m2)
    except OutOfRangeError:
        bounds = None
    else:
        bounds = (low, high)
    return SecondsResult(
        distance_km=choices.report_distance_km,
        power_w=choices.report_power_w,
        value=value,
        interval95=bounds,
    )
