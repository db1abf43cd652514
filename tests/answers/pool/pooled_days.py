"""Differences of sessions made up by hand, pooled without rides, for tests of what is made of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from scipy import stats

from fieldaero.answers.pool.comparison import Terms, compared
from fieldaero.answers.pool.legs import Chain, SessionContrast, chain_of, pooled_leg
from fieldaero.answers.pool.pooled import Pooled
from fieldaero.physics.flat_road import FlatRoad
from fieldaero.physics.system import System
from fieldaero.run_sheet.schema import AnalysisChoices

ROAD = FlatRoad(system=System(mass_kg=80.0, power_at="hub"), crr=0.004, air_density_kg_m3=1.2, gravity_m_s2=9.81)


def day(number: int, delta: float, se: float, *, df: float = 8.0, pair=("low", "high"), shared=None) -> SessionContrast:
    half = float(stats.t.ppf(0.975, df)) * se
    return SessionContrast(
        sheet=f"day{number}.toml",
        setup=pair[0],
        versus=pair[1],
        delta_cda_m2=delta,
        se_m2=se,
        df=df,
        interval95_m2=(delta - half, delta + half),
        shared_m2=shared or {},
    )


def days(deltas: Sequence[float], ses: Sequence[float], **more) -> list[SessionContrast]:
    return [day(k, d, s, **more) for k, (d, s) in enumerate(zip(deltas, ses, strict=True), start=1)]


def chain(*legs: Sequence[SessionContrast]) -> Chain:
    return chain_of([pooled_leg(leg) for leg in legs])


def terms(*, cda_m2: float = 0.3, **choices: Mapping[str, float]) -> Terms:
    return Terms(choices=AnalysisChoices(**choices), road=ROAD, cda_m2=cda_m2, warnings=())


def pooled(*chains: Chain, **choices) -> Pooled:
    return Pooled(
        versus=chains[0].legs[0].sessions[0].versus,
        version="0",
        inputs=(),
        sheets=tuple(dict.fromkeys(s.sheet for c in chains for leg in c.legs for s in leg.sessions)),
        pooled_comparisons=compared(chains, terms=terms(**choices)),
        warnings=(),
    )
