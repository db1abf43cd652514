r"""Legs and chains: one comparison pooled over its sessions, and several joined to an indirect one.

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

from fieldaero.answers.pool.legs import SessionContrast
from fieldaero.statistics.contrast import Contrast
from fieldaero.statistics.random_effects import PooledEffect, pool_random_effects

__all__ = ["Chain", "Leg", "chain_of", "pooled_leg", "way"]

METHOD = "REML, Hartung-Knapp, shared inputs added"


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

    Parameters
    ----------
    variances_m4
        Variance of each pair that sessions compare directly, in either order.
    start, goal
        Two setups.

    Returns
    -------
    None where no way leads from one to the other.

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
