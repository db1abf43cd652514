r"""What single sessions say of two setups, pooled to legs, and legs joined to chains.

A leg is one pair of setups over all sessions that have both, pooled by random effects
(:mod:`fieldaero.statistics.random_effects`).  An indirect comparison A - C by way of B is the sum of
the legs A - B and B - C: variances add, degrees of freedom after Welch and Satterthwaite.
The way with the fewest legs is taken, and among those the one with the smallest variance.
On such a way no session stands in two legs (its setups would make a shorter one), so the
legs have independent errors.

Mass, power scale, wheel and Crr of one rider are partly the same in every session, and
their errors do not average out over sessions.  They are taken as entirely shared, the
worst case: if session i has the weight w_i and an input adds c_i to its difference, the
pooled difference carries (sum w_i c_i)^2 of it, while independent sessions would carry
sum w_i^2 c_i^2; what is missing is added to the pooled variance.  It hardly matters, as
a difference depends on these inputs only in proportion to itself: in the sample session
they make 0.0009 m2 of a difference of 0.040 m2, 2 % of it, beside a standard error of
0.0031 m2 from wind and rider; of a difference of 0.004 m2 they would make 0.0001 m2.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldaero.answers.result import Result
from fieldaero.basics.errors import CannotAnswerError
from fieldaero.compare.budget import CRR_NAME
from fieldaero.compare.session_comparison import Estimates, estimate_session
from fieldaero.compare.setups import SetupContrast
from fieldaero.statistics.contrast import Contrast
from fieldaero.statistics.random_effects import PooledEffect, pool_random_effects

__all__ = ["Chain", "Leg", "SessionContrast", "chain_of", "pooled_leg", "ridden_setups", "session_contrast", "way"]

METHOD = "REML, Hartung-Knapp, shared inputs added"
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
    """Return the difference of two setups of one session, neither of which need be its baseline.

    The covariance of all laps of the session is behind it; ``sheet`` is what the session is called.
    """
    estimates = result.estimates
    if not {setup, versus} <= set(ridden_setups(result)):
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


@dataclass(frozen=True, kw_only=True)
class Leg:
    """One pair of setups pooled over the sessions that have both, without regard to shared inputs.

    ``shared_m2`` is what each shared input adds to the pooled difference, and ``independent_m4``
    the variance that the pooling already holds for it.
    """

    sessions: tuple[SessionContrast, ...]
    effect: PooledEffect
    shared_m2: Mapping[str, float]
    independent_m4: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class Chain:
    """One leg or several, added up.

    ``mean`` is the difference over sessions, its df NaN where a leg has a single session;
    ``own`` counts the sessions' own errors only for such legs.  ``effect`` is that of a
    direct comparison, shared inputs included, None for an indirect one.
    """

    legs: tuple[Leg, ...]
    mean: Contrast
    own: Contrast
    shared_se_m2: float
    effect: PooledEffect | None


def pooled_leg(sessions: Sequence[SessionContrast]) -> Leg:
    """Pool the same pair of setups over sessions.

    Examples
    --------
    >>> days = [
    ...     SessionContrast(
    ...         sheet=f"{day}.toml", setup="low", versus="high", delta_cda_m2=delta, se_m2=0.001, df=8.0,
    ...         interval95_m2=(delta - 0.0023, delta + 0.0023), shared_m2={"mass": 0.0001},
    ...     )
    ...     for day, delta in enumerate((-0.006, -0.004, -0.008))
    ... ]
    >>> leg = pooled_leg(days)
    >>> round(leg.effect.effect.estimate, 4), {name: round(c, 6) for name, c in leg.shared_m2.items()}
    (-0.006, {'mass': 0.0001})
    """
    effect = pool_random_effects([s.delta_cda_m2 for s in sessions], standard_errors=[s.se_m2 for s in sessions])
    names = sorted({name for s in sessions for name in s.shared_m2})
    parts = {
        name: effect.weights * np.array([s.shared_m2.get(name, 0.0) for s in sessions], dtype=np.float64)
        for name in names
    }
    return Leg(
        sessions=tuple(sessions),
        effect=effect,
        shared_m2={name: float(np.sum(part)) for name, part in parts.items()},
        independent_m4={name: float(np.sum(part**2)) for name, part in parts.items()},
    )


def chain_of(legs: Sequence[Leg]) -> Chain:
    """Add legs up to one comparison."""
    names = {name for leg in legs for name in leg.shared_m2}
    total = {name: sum(leg.shared_m2.get(name, 0.0) for leg in legs) for name in names}
    held = {name: sum(leg.independent_m4.get(name, 0.0) for leg in legs) for name in names}
    # Never less than independent sessions: how far the inputs are shared is not known, and legs could cancel.
    missing = sum(max(total[name] ** 2 - held[name], 0.0) for name in names)
    estimate = sum(leg.effect.effect.estimate for leg in legs)
    variances = [leg.effect.effect.standard_error**2 for leg in legs]
    se = math.sqrt(sum(variances) + missing)
    unknown = any(leg.effect.scatter_unknown for leg in legs)
    df = welch_satterthwaite(
        variances, [leg.sessions[0].df if leg.effect.scatter_unknown else leg.effect.effect.df for leg in legs]
    )
    mean = Contrast(estimate=estimate, standard_error=se, df=math.nan if unknown else df, method=METHOD)
    return Chain(
        legs=tuple(legs),
        mean=mean,
        own=replace(mean, df=df),
        shared_se_m2=math.sqrt(sum(value**2 for value in total.values())),
        effect=replace(legs[0].effect, effect=mean) if len(legs) == 1 else None,
    )


def welch_satterthwaite(variances: Sequence[float], df: Sequence[float]) -> float:
    """Degrees of freedom of a sum of independent estimates.

    Examples
    --------
    >>> welch_satterthwaite([1.0, 1.0], [3.0, 3.0])
    6.0
    """
    return sum(variances) ** 2 / sum(v**2 / n for v, n in zip(variances, df, strict=True))


def way(variances_m4: Mapping[tuple[str, str], float], *, start: str, goal: str) -> tuple[str, ...] | None:
    """Return the setups from start to goal, both included: fewest legs first, then the smallest variance.

    ``variances_m4`` holds the variance of each pair that sessions compare directly, in either order.  None where no
    way leads from one to the other.

    Examples
    --------
    >>> way({("a", "b"): 1.0, ("b", "c"): 1.0, ("a", "d"): 1.0, ("d", "c"): 0.5}, start="a", goal="c")
    ('a', 'd', 'c')
    """
    both = {**{(b, a): v for (a, b), v in variances_m4.items()}, **variances_m4}
    settled: dict[str, tuple[float, tuple[str, ...]]] = {start: (0.0, (start,))}
    frontier = settled
    while frontier and goal not in settled:
        found: dict[str, tuple[float, tuple[str, ...]]] = {}
        for (a, b), variance in both.items():
            if a in frontier and b not in settled:
                cost, before = frontier[a]
                candidate = (cost + variance, (*before, b))
                found[b] = min(found.get(b, candidate), candidate)
        settled = {**settled, **found}
        frontier = found
    return settled[goal][1] if goal in settled else None
