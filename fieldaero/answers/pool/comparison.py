"""Pooled comparisons made ready for people: intervals, verdict, watts and seconds, leave-one-session-out, notes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldaero.answers.comparison_rows import flat_road, seconds_result, smallest_difference_m2, watts_result
from fieldaero.answers.pool.legs import Chain, Leg, chain_of, pooled_leg
from fieldaero.answers.pool.pooled import LeftOut, PooledComparison, PooledSession
from fieldaero.answers.result import Result
from fieldaero.basics.formatting import number, p_value
from fieldaero.compare.verdict import NOT_RESOLVED, verdict
from fieldaero.physics.flat_road import FlatRoad
from fieldaero.run_sheet.schema import AnalysisChoices
from fieldaero.statistics import student_t
from fieldaero.statistics.contrast import Contrast
from fieldaero.statistics.simultaneous_intervals import simultaneous_intervals

__all__ = ["Terms", "compared", "terms_of"]

MOST_FURTHER_SESSIONS = 50
DIFFER_P = 0.1  # of Cochran's test, which sees little in few sessions; common practice, no source
NORMAL_FACTOR = 1.96

Interval = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Terms:
    """Rider, road and choices that hold for all pooled comparisons: choices of the first sheet, mean rider and air.

    ``cda_m2`` is the drag area that differences are added to for times, the mean over the
    sessions that had the setup compared with.
    """

    choices: AnalysisChoices
    road: FlatRoad
    cda_m2: float
    warnings: tuple[str, ...]


def terms_of(results: Sequence[Result], sheets: Sequence[str], *, versus: str) -> Terms:
    """Bring the sessions' terms together; a session had the setup ``versus``."""
    roads = [flat_road(result.session, result.estimates) for result in results]
    choices = [result.session.run_sheet.analysis for result in results]
    chosen = next((c for c in choices if _smallest(c) is not None), choices[0])
    drag = [row.cda_m2 for r in results for row in r.setup_results if row.setup == versus and row.cda_m2 is not None]
    warnings = []
    for name, own in zip(sheets, choices, strict=True):
        if _smallest(own) not in (None, _smallest(chosen)):
            first = sheets[choices.index(chosen)]
            warnings.append(f"{name} calls another difference the smallest that matters than {first}; {first} counts.")
    return Terms(
        choices=chosen,
        road=FlatRoad(
            system=roads[0].system,
            crr=float(np.mean([road.crr for road in roads])),
            air_density_kg_m3=float(np.mean([road.air_density_kg_m3 for road in roads])),
            gravity_m_s2=float(np.mean([road.gravity_m_s2 for road in roads])),
        ),
        cda_m2=float(np.mean(drag)) if drag else math.nan,
        warnings=tuple(warnings),
    )


def _smallest(choices: AnalysisChoices) -> tuple[float, str] | None:
    for unit in ("m2", "w", "s"):
        value = getattr(choices, f"smallest_difference_{unit}")
        if value is not None:
            return float(value), unit
    return None


def compared(chains: Sequence[Chain], *, terms: Terms) -> tuple[PooledComparison, ...]:
    """Turn chains of legs into comparisons; intervals and p values hold for all of them together.

    Pooled comparisons with one setup in common depend on each other in a way that depends on the sessions;
    taken as independent their common interval is never too narrow (Z. Sidak, J. Am. Stat. Assoc. 62 (1967) 626).
    """
    together = simultaneous_intervals(
        [chain.mean.estimate for chain in chains],
        covariance=_diagonal([chain.mean.standard_error**2 for chain in chains]),
        df=[chain.mean.df for chain in chains],
    )
    return tuple(
        _comparison(
            chain,
            interval95_m2=_known((float(together.low[k]), float(together.high[k]))),
            p=float(together.p_adjusted[k]),
            level=1.0 - 2.0 * float(student_t.above(together.critical_value[k], chain.mean.df)),
            terms=terms,
        )
        for k, chain in enumerate(chains)
    )


def _diagonal(variances: Sequence[float]) -> list[list[float]]:
    return [[v if i == j else 0.0 for j in range(len(variances))] for i, v in enumerate(variances)]


def _comparison(
    chain: Chain, *, interval95_m2: Interval | None, p: float, level: float, terms: Terms
) -> PooledComparison:
    mean, effect = chain.mean, chain.effect
    road, choices = terms.road, terms.choices
    smallest = smallest_difference_m2(choices, road=road, cda_m2=terms.cda_m2)
    says = verdict(interval95_m2 or (math.nan, math.nan), smallest_difference_m2=smallest)
    unknown = interval95_m2 is None
    left_out = _left_out(chain, level=level, smallest_difference_m2=smallest)
    reported = interval95_m2 or chain.own.interval()
    direct = effect if effect is not None and not effect.scatter_unknown else None
    sessions = sum(len(leg.sessions) for leg in chain.legs)
    return PooledComparison(
        setup=chain.legs[-1].sessions[0].setup,
        versus=chain.legs[0].sessions[0].versus,
        link="direct" if len(chain.legs) == 1 else "indirect",
        via=tuple(leg.sessions[0].setup for leg in chain.legs[:-1]),
        sessions=tuple(row for leg in chain.legs for row in _rows(leg)),
        delta_cda_m2=mean.estimate,
        se_m2=mean.standard_error,
        df=None if math.isnan(mean.df) else mean.df,
        interval95_m2=interval95_m2,
        interval95_alone_m2=_known(mean.interval()),
        p_value=None if math.isnan(p) else p,
        prediction95_m2=_known(direct.prediction_interval()) if direct else None,
        interval95_without_session_scatter_m2=chain.own.interval() if unknown else None,
        session_sd_m2=math.sqrt(direct.between_variance) if direct else None,
        i_squared=direct.i_squared if direct else None,
        q=direct.q if direct else None,
        q_p_value=direct.q_p_value if direct else None,
        shared_se_m2=chain.shared_se_m2,
        smallest_difference_m2=smallest,
        verdict=says,
        watts=watts_result(mean.estimate, reported, choices=choices, road=road),
        seconds=seconds_result(mean.estimate, reported, choices=choices, road=road, cda_m2=terms.cda_m2),
        further_sessions=(
            further_sessions(mean, sessions=sessions, smallest_difference_m2=smallest)
            if direct and says == NOT_RESOLVED
            else None
        ),
        left_out=left_out,
        notes=_notes(chain, left_out, says),
    )


def further_sessions(mean: Contrast, *, sessions: int, smallest_difference_m2: float | None) -> int | None:
    """Sessions that would settle it if difference and scatter stay; None where more than 50 would be needed.

    Notes
    -----
    The variance of the mean is taken to fall with the number of sessions; half the interval must come below the
    difference itself, or below its distance to the smallest difference that matters.
    """
    size = abs(mean.estimate)
    goal = size if smallest_difference_m2 is None else max(size, smallest_difference_m2 - size)
    for more in range(1, MOST_FURTHER_SESSIONS + 1):
        half = float(student_t.quantile(0.975, sessions + more - 1)) * mean.standard_error
        if half * math.sqrt(sessions / (sessions + more)) < goal:
            return more
    return None


def _rows(leg: Leg) -> list[PooledSession]:
    return [
        PooledSession(
            sheet=s.sheet,
            setup=s.setup,
            versus=s.versus,
            delta_cda_m2=s.delta_cda_m2,
            se_m2=s.se_m2,
            df=s.df,
            interval95_m2=s.interval95_m2,
            weight=float(weight),
        )
        for s, weight in zip(leg.sessions, leg.effect.weights, strict=True)
    ]


def _left_out(chain: Chain, *, level: float, smallest_difference_m2: float | None) -> tuple[LeftOut, ...]:
    """Pool the comparison without each of its sessions; an indirect one stands on all of them."""
    if len(chain.legs) > 1 or len(chain.legs[0].sessions) < 2:
        return ()
    sessions = chain.legs[0].sessions
    out = []
    for k, gone in enumerate(sessions):
        mean = chain_of([pooled_leg([*sessions[:k], *sessions[k + 1 :]])]).mean
        bounds = mean.interval(level)
        out.append(
            LeftOut(
                sheet=gone.sheet,
                delta_cda_m2=mean.estimate,
                interval95_m2=_known(bounds),
                verdict=verdict(bounds, smallest_difference_m2=smallest_difference_m2),
            )
        )
    return tuple(out)


def _notes(chain: Chain, left_out: Sequence[LeftOut], says: str) -> tuple[str, ...]:
    found = []
    if len(chain.legs) > 1:
        steps = "; ".join(
            f"{leg.sessions[0].setup} against {leg.sessions[0].versus} in {', '.join(s.sheet for s in leg.sessions)}"
            for leg in chain.legs
        )
        found.append(
            f"Indirect: no session had both setups. The difference is a sum ({steps}), and so is its variance."
        )
    if math.isnan(chain.mean.df):
        found.append(
            "One session cannot show how much sessions differ, so there is no pooled interval and no verdict; the "
            "interval shown counts the session's own errors only. Ride it in a second session, better in two more."
            if len(chain.legs) == 1
            else "A part of this comparison rests on one session, which cannot show how much sessions differ, so "
            "there is no pooled interval and no verdict; the interval shown counts the sessions' own errors only."
        )
    if chain.effect is None or chain.effect.scatter_unknown:
        return tuple(found)
    if chain.effect.sessions == 2:
        two, three = (number(float(student_t.quantile(0.975, df)), places=1) for df in (1, 2))
        found.append(
            "Two sessions show their scatter by a single difference, so the 95 % interval of one comparison reaches "
            f"{two} standard errors to either side instead of the {number(NORMAL_FACTOR, places=0)} of many sessions; "
            f"with a third it is {three}."
        )
    if chain.effect.q_p_value < DIFFER_P:
        found.append(
            f"The sessions differ by more than their own errors allow (p {p_value(chain.effect.q_p_value)}): the mean "
            "is that of sessions like these, and a single day can differ. Look for what was different."
        )
    # Of three sessions two are left, and two settle nothing whichever they are.
    turned = [one for one in left_out if len(left_out) > 3 and one.verdict != says]
    found += [f"The verdict rests on {one.sheet}: without it, it is {one.verdict}." for one in turned]
    return tuple(found)


def _known(bounds: Interval) -> Interval | None:
    return None if any(math.isnan(bound) for bound in bounds) else bounds
