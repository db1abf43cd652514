"""What weakens a result, one plain sentence each: the warnings that stand first in every output."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fieldaero.answers.comparison_rows import closures_m2
from fieldaero.answers.rows import ComparisonResult, LapResult
from fieldaero.answers.wording import NOTHING_TO_COMPARE
from fieldaero.basics.formatting import number
from fieldaero.compare.session_comparison import Estimates
from fieldaero.compare.setups import SCATTER_PRIOR_SD
from fieldaero.estimate.closure import closure_mean
from fieldaero.estimate.session import Session

__all__ = ["cautions"]

DISAGREE_SD = 3.0  # the two estimators share their data, so that chance alone keeps them much closer than this
STRONG_WIND_M_S = 3.0  # at the rider's height; laps scatter by 5 % there in simulated sessions
WINDS_DIFFER_M_S, WINDS_DIFFER = 1.0, 0.5  # weather and laps, at least, and of the observed wind; common practice
CRR_UNKNOWN_SHARE = 0.25  # common practice, no source


def cautions(
    session: Session, estimates: Estimates, rows: Sequence[LapResult], comparisons: Sequence[ComparisonResult]
) -> list[str]:
    """Return what weakens the result: laps left out, wind, level of the drag areas, comparisons."""
    return [
        *_left_out(rows),
        *_of_wind(session, estimates),
        *_of_level(session, estimates, rows),
        *_of_comparisons(estimates, rows, comparisons),
    ]


def _left_out(rows: Sequence[LapResult]) -> list[str]:
    return [
        f"{row.ride}, lap {row.lap}: named for {row.setup!r} but left out: {row.why_not}."
        for row in rows
        if row.why_not
    ]


def _of_comparisons(
    estimates: Estimates, rows: Sequence[LapResult], comparisons: Sequence[ComparisonResult]
) -> list[str]:
    found = []
    counts = {mean.setup: mean.laps for mean in estimates.comparison.setups}
    if max(counts.values()) < 2:
        found.append(
            "No setup has two laps, so nothing shows how much laps scatter; the intervals assume "
            f"{100.0 * SCATTER_PRIOR_SD:g} %. Repeat each setup."
        )
    else:
        found += [
            f"{name}: a single lap; its scatter is assumed to be that of the other setups."
            for name, count in counts.items()
            if count == 1
        ]
    if len(counts) == 1:
        found.append(NOTHING_TO_COMPARE)
    for row in rows:
        if row.outlier:
            found.append(
                f"{row.ride}, lap {row.lap} ({row.setup}): lies further from the other laps than chance explains. "
                "Look for a reason; the result still uses it."
            )
    for c in comparisons:
        if c.delta_cda_m2 is None or c.se_m2 is None or c.closure_delta_cda_m2 is None or c.closure_se_m2 is None:
            continue
        apart = abs(c.delta_cda_m2 - c.closure_delta_cda_m2)
        if apart > DISAGREE_SD * math.hypot(c.se_m2, c.closure_se_m2):
            fit, closure = (number(x, places=4, signed=True) for x in (c.delta_cda_m2, c.closure_delta_cda_m2))
            found.append(
                f"{c.setup} against {c.versus}: the joint fit says {fit} m² and plain closure {closure} m², further "
                "apart than their errors allow. Look at the flagged laps before believing either."
            )
    return found


def _of_wind(session: Session, estimates: Estimates) -> list[str]:
    found = []
    east, north = estimates.fit.mean_wind_m_s
    strongest = math.hypot(east, north)
    if not session.course.has_headings:
        taken = "The joint fit assumes a round course. " if session.course.closed else ""
        found.append(
            "Without positions in the rides, neither the direction of the road nor yaw is known, and the wind has no "
            f"direction. {taken}Record positions to have both."
        )
    if session.wind_east_m_s is not None and session.wind_north_m_s is not None:
        observed = math.hypot(session.wind_east_m_s, session.wind_north_m_s)
        apart = math.hypot(session.wind_east_m_s - east, session.wind_north_m_s - north)
        strongest = max(strongest, observed)
        if session.course.has_headings and apart > max(WINDS_DIFFER_M_S, WINDS_DIFFER * observed):
            found.append(
                f"The weather puts the wind at {observed:.1f} m/s at the rider's height, the laps at "
                f"{math.hypot(east, north):.1f} m/s, {apart:.1f} m/s apart with the direction. Check speed (m/s, not "
                "km/h or knots), direction and height of the observation, and analysis.roughness_length_m."
            )
    else:
        found.append(
            "No observation gives the wind's speed and direction. The laps alone show its mean, to about "
            f"±{float(np.mean(estimates.fit.mean_wind_sd_m_s)):.1f} m/s; the intervals allow for that. A wind meter "
            "beside the road would narrow them."
        )
    if strongest > STRONG_WIND_M_S:
        found.append(
            f"Wind of {strongest:.1f} m/s at the rider's height: in such wind drag areas scatter by 5 % or more from "
            "lap to lap. Calmer air helps more than many laps."
        )
    return found


def _of_level(session: Session, estimates: Estimates, rows: Sequence[LapResult]) -> list[str]:
    """Return what makes the drag areas themselves doubtful, while their differences are hardly affected."""
    found = []
    crr, crr_se = estimates.fit.crr, estimates.crr_se
    if crr_se > CRR_UNKNOWN_SHARE * crr:
        found.append(
            f"Crr is only known to ±{crr_se:.4f}. This makes the drag areas uncertain, but hardly their differences. "
            "Laps at speeds far apart would show it; or give a measured Crr."
        )
    if not (session.course.closed or session.run_sheet.course.height_difference_m is not None):
        return found  # plain closure has no rise to go by
    # Closure takes the work of the brakes for drag, whatever wind and Crr are.
    unbraked = [row for row in rows if "braked" not in row.flags]
    for mean in estimates.comparison.setups:
        closures = closures_m2(unbraked, mean.setup)
        plain = closure_mean(closures)
        if not plain.laps:
            continue
        which = " of the laps without brakes" if len(closures) < mean.laps else ""
        apart = abs(mean.cda_m2 - plain.cda_m2)
        if apart > DISAGREE_SD * math.hypot(mean.se_m2, 0.0 if math.isnan(plain.se_m2) else plain.se_m2):
            found.append(
                f"{mean.setup}: the joint fit says {mean.cda_m2:.4f} m² and plain closure{which} {plain.cda_m2:.4f} "
                "m², further apart than their errors allow. Closure uses the observed wind and Crr as they are: "
                "check these first."
            )
    return found
