"""What one session says of two setups that were ridden in it, whatever its baseline is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from fieldaero.answers.result import Result
from fieldaero.basics.errors import CannotAnswerError
from fieldaero.compare.budget import CRR_NAME
from fieldaero.compare.session_comparison import Estimates, estimate_session
from fieldaero.compare.setups import SetupContrast

__all__ = ["SHARED_INPUTS", "SessionContrast", "ridden_setups", "session_contrast"]

SHARED_INPUTS = ("mass", "power scale", "wheel circumference", CRR_NAME)
"""Inputs that sessions of one rider and bike have in common; the air is read anew each time."""


@dataclass(frozen=True, kw_only=True)
class SessionContrast:
    """A setup minus another in one session [m2]; the interval is this session's own, for this pair alone.

    ``shared_m2`` is what each input that sessions have in common adds to the difference,
    one standard uncertainty of it, with its sign.
    """

    sheet: str
    setup: str
    versus: str
    delta_cda_m2: float
    se_m2: float
    df: float
    interval95_m2: tuple[float, float]
    shared_m2: Mapping[str, float]


def ridden_setups(result: Result) -> tuple[str, ...]:
    """Return the setups with a lap that gives a drag area."""
    return tuple(row.setup for row in result.setup_results if row.laps > 0)


def session_contrast(result: Result, *, sheet: str, setup: str, versus: str) -> SessionContrast:
    """Return the difference of two setups of one session with the covariance of all its laps behind it.

    Parameters
    ----------
    result
        From :func:`fieldaero.answers.analysis.analyse`.
    sheet
        What the session is called.
    setup, versus
        Two setups of the session; neither need be its baseline.

    Raises
    ------
    CannotAnswerError
        Where one of them has no lap in the session, or the result has lost its fit.
    """
    estimates = result.estimates
    if estimates is None or result.session is None or not {setup, versus} <= set(ridden_setups(result)):
        raise CannotAnswerError(
            f'{sheet}: no usable laps of both "{setup}" and "{versus}"; pool sessions that have both'
        )
    found = _find(estimates, setup, versus)
    if found is None:
        # The laps are fitted already: with the noise parameters kept, only the comparison is made anew.
        session = replace(result.session, run_sheet=replace(result.session.run_sheet, baseline=versus))
        estimates = estimate_session(session, laps=estimates.laps, theta=estimates.fit.theta, start=estimates.fit)
        found = _find(estimates, setup, versus)
        assert found is not None
    pair, sign = found
    low, high = sorted(sign * bound for bound in pair.interval95_alone_m2)
    return SessionContrast(
        sheet=sheet,
        setup=setup,
        versus=versus,
        delta_cda_m2=sign * pair.delta_cda_m2,
        se_m2=pair.se_m2,
        df=pair.df,
        interval95_m2=(low, high),
        shared_m2={
            row.input: sign * row.contribution_delta_m2
            for row in estimates.budget
            if (row.setup, row.versus) == (pair.setup, pair.versus) and row.input in SHARED_INPUTS
        },
    )


def _find(estimates: Estimates, setup: str, versus: str) -> tuple[SetupContrast, float] | None:
    """Return the comparison of the two, and -1 where it is made the other way round."""
    for pair in estimates.comparison.contrasts:
        if (pair.setup, pair.versus) == (setup, versus):
            return pair, 1.0
        if (pair.setup, pair.versus) == (versus, setup):
            return pair, -1.0
    return None
