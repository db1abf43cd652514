"""A published saving held against what the laps say.

A claim in seconds, watts, square metres or per cent is first turned into the difference
of drag area that it amounts to for this rider, bike and air, on the flat in still air,
starting from the drag area that the laps give to the setup it is claimed against.
With delta the true difference (negative is less drag) and c the claimed one,

    the true saving is at least the claim   <=>   delta <= c,

whatever the sign of the claim: to save -3 W is to cost no more than 3 W.  The laps give
delta an estimate d with the standard error s and f degrees of freedom, so that the
probability of that is F_t((c - d) / s; f).  The claimed difference is taken as exact:
what is uncertain in its translation (mass, power scale, density) moves d by the same
share, and the two stay on the same side of each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fieldaero.answers.rows import ClaimResult, ComparisonResult, SetupResult
from fieldaero.basics.errors import OutOfRangeError, RunSheetError
from fieldaero.compare.verdict import further_laps, verdict
from fieldaero.physics.flat_road import (
    FlatRoad,
    cda_for_seconds_m2,
    cda_for_watts_m2,
    seconds_over_distance,
    watts_at_speed,
)
from fieldaero.physics.road_power import power_w, speed_m_s
from fieldaero.run_sheet.schema import AnalysisChoices, Claim
from fieldaero.run_sheet.sheet import RunSheet
from fieldaero.statistics import student_t

__all__ = [
    "FELL_SHORT",
    "MET",
    "NOT_COMPARABLE",
    "NOT_TESTED",
    "UNDECIDED",
    "ClaimJudgement",
    "claim_results",
    "judge_claim",
]

MET = "met"
FELL_SHORT = "fell short"
UNDECIDED = "undecided"
NOT_COMPARABLE = "not comparable"
NOT_TESTED = "not tested"


@dataclass(frozen=True, kw_only=True)
class ClaimJudgement:
    """Verdict on a claim, what the interval says of zero, the probability, and laps that would decide."""

    verdict: str
    against_zero: str
    probability: float
    further_laps: int | None


def judge_claim(
    claimed_delta_cda_m2: float,
    *,
    delta_cda_m2: float,
    se_m2: float,
    df: float,
    interval95_m2: tuple[float, float],
    laps: int,
) -> ClaimJudgement:
    """Judge a claimed difference of drag area by the laps' own.

    ``interval95_m2`` is that of this comparison alone, ``laps`` those of both setups together, and ``se_m2`` above 0;
    ``further_laps`` of the judgement is for an undecided claim only.

    Examples
    --------
    >>> said = judge_claim(-0.010, delta_cda_m2=-0.006, se_m2=0.001, df=10.0, interval95_m2=(-0.0082, -0.0038), laps=12)
    >>> said.verdict, said.against_zero, round(said.probability, 4)
    ('fell short', 'lower drag', 0.0013)
    """
    low, high = interval95_m2
    says = MET if high <= claimed_delta_cda_m2 else FELL_SHORT if low > claimed_delta_cda_m2 else UNDECIDED
    apart = delta_cda_m2 - claimed_delta_cda_m2
    return ClaimJudgement(
        verdict=says,
        against_zero=verdict(interval95_m2),
        probability=float(student_t.below(-apart / se_m2, df)),
        further_laps=further_laps(delta_cda_m2=apart, se_m2=se_m2, df=df, laps=laps) if says == UNDECIDED else None,
    )


def claim_results(
    run_sheet: RunSheet,
    *,
    comparisons: Sequence[ComparisonResult],
    setups: Sequence[SetupResult],
    road: FlatRoad,
) -> tuple[ClaimResult, ...]:
    """Return one row per claim of the run sheet, in its order.

    A saving that no drag area makes is an error of the run sheet, which names the claim.
    """
    return tuple(
        _claim_result(claim, f"{run_sheet.path.name}: [[claims]] no. {number}", run_sheet, comparisons, setups, road)
        for number, claim in enumerate(run_sheet.claims, start=1)
    )


def _claim_result(
    claim: Claim,
    where: str,
    run_sheet: RunSheet,
    comparisons: Sequence[ComparisonResult],
    setups: Sequence[SetupResult],
    road: FlatRoad,
) -> ClaimResult:
    versus = claim.versus or run_sheet.baseline
    row = _nothing(claim, versus)
    base, pair = _setup(versus, setups), _pair(claim.setup, versus, comparisons)
    if not claim.comparable or base is None or base.cda_m2 is None or pair is None:
        return row
    stated = _Conditions.of(claim, run_sheet.analysis, cda_m2=base.cda_m2, road=road)
    try:
        claimed = stated.delta_cda_m2(claim)
    except OutOfRangeError as problem:
        raise RunSheetError(f"{where}: saves is {claim.saves:g}, and {problem}; check saves and unit") from None
    if claimed <= -base.cda_m2:
        raise RunSheetError(
            f"{where}: saves is {claim.saves:g} {claim.unit}, more than the whole drag area of {versus!r}, "
            f"{base.cda_m2:.3f} m2; check saves and unit"
        )
    delta, se, df, interval95 = pair
    laps = base.laps + sum(s.laps for s in setups if s.setup == claim.setup)
    judged = judge_claim(claimed, delta_cda_m2=delta, se_m2=se, df=df, interval95_m2=interval95, laps=laps)
    ends = [stated.saving(claim, end) for end in reversed(interval95)]
    return replace(
        row,
        distance_km=stated.distance_km,
        power_w=stated.power_w,
        speed_km_h=stated.speed_km_h,
        filled_in=stated.filled_in,
        claimed_delta_cda_m2=claimed,
        delta_cda_m2=delta,
        se_m2=se,
        df=df,
        interval95_m2=interval95,
        found=stated.saving(claim, delta),
        interval95=None if ends[0] is None or ends[1] is None else (ends[0], ends[1]),
        verdict=judged.verdict,
        against_zero=judged.against_zero,
        probability=judged.probability,
        further_laps=judged.further_laps,
    )


def _nothing(claim: Claim, versus: str) -> ClaimResult:
    return ClaimResult(
        setup=claim.setup,
        versus=versus,
        saves=claim.saves,
        unit=claim.unit,
        comparable=claim.comparable,
        note=claim.note,
        distance_km=claim.distance_km,
        power_w=claim.power_w,
        speed_km_h=claim.speed_km_h,
        verdict=NOT_TESTED if claim.comparable else NOT_COMPARABLE,
    )


def _setup(name: str, setups: Sequence[SetupResult]) -> SetupResult | None:
    return next((row for row in setups if row.setup == name and row.laps), None)


def _pair(
    setup: str, versus: str, comparisons: Sequence[ComparisonResult]
) -> tuple[float, float, float, tuple[float, float]] | None:
    """Difference, error, df and own interval, setup minus versus whichever way round it was compared."""
    for row in comparisons:
        if {row.setup, row.versus} != {setup, versus}:
            continue
        if row.delta_cda_m2 is None or row.se_m2 is None or row.df is None or row.interval95_alone_m2 is None:
            continue
        low, high = row.interval95_alone_m2
        if row.setup == setup:
            return row.delta_cda_m2, row.se_m2, row.df, (low, high)
        return -row.delta_cda_m2, row.se_m2, row.df, (-high, -low)
    return None


@dataclass(frozen=True, kw_only=True)
class _Conditions:
    """What a claim is translated under; a condition that its unit does not need is None."""

    cda_m2: float
    road: FlatRoad
    distance_km: float | None
    power_w: float | None
    speed_km_h: float | None
    filled_in: tuple[str, ...]

    @classmethod
    def of(cls, claim: Claim, choices: AnalysisChoices, *, cda_m2: float, road: FlatRoad) -> _Conditions:
        distance, power, speed = claim.distance_km, claim.power_w, claim.speed_km_h
        filled: list[str] = []
        if claim.unit == "s":
            if distance is None:
                distance = choices.report_distance_km
                filled.append(f"The claim states no distance; the report's {distance:g} km is used.")
            if power is None and speed is not None:
                power = _power_at(speed, cda_m2, road)
                filled.append(
                    f"The claim states no power; {power:.0f} W is used, which {speed:g} km/h needs without the saving."
                )
            elif power is None:
                power = choices.report_power_w
                filled.append(f"The claim states no power; the report's {power:g} W is used.")
        elif claim.unit == "W" and speed is None:
            if power is not None:
                speed = _speed_at(power, cda_m2, road)
                filled.append(
                    f"The claim states no speed; {speed:.1f} km/h is used, which {power:g} W gives without the saving."
                )
            else:
                speed = choices.report_speed_km_h
                filled.append(f"The claim states no speed; the report's {speed:g} km/h is used.")
        return cls(
            cda_m2=cda_m2, road=road, distance_km=distance, power_w=power, speed_km_h=speed, filled_in=tuple(filled)
        )

    def delta_cda_m2(self, claim: Claim) -> float:
        if claim.unit == "s":
            distance, power = self._stated()
            return cda_for_seconds_m2(
                -claim.saves, cda_m2=self.cda_m2, road=self.road, distance_km=distance, power_w=power
            )
        if claim.unit == "W":
            assert self.speed_km_h is not None
            return cda_for_watts_m2(-claim.saves, road=self.road, speed_km_h=self.speed_km_h)
        return -claim.saves * (self.cda_m2 / 100.0 if claim.unit == "percent" else 1.0)

    def saving(self, claim: Claim, delta_cda_m2: float) -> float | None:
        """Return the saving in the claim's unit; None where the drag area would fall below zero."""
        if claim.unit == "s":
            distance, power = self._stated()
            try:
                made = seconds_over_distance(
                    delta_cda_m2, cda_m2=self.cda_m2, road=self.road, distance_km=distance, power_w=power
                )
            except OutOfRangeError:
                return None
            return -float(made)
        if claim.unit == "W":
            assert self.speed_km_h is not None
            return -float(watts_at_speed(delta_cda_m2, road=self.road, speed_km_h=self.speed_km_h))
        return -delta_cda_m2 * (100.0 / self.cda_m2 if claim.unit == "percent" else 1.0)

    def _stated(self) -> tuple[float, float]:
        assert self.distance_km is not None
        assert self.power_w is not None
        return self.distance_km, self.power_w


def _power_at(speed_km_h: float, cda_m2: float, road: FlatRoad) -> float:
    return float(
        power_w(
            speed_m_s=speed_km_h / 3.6,
            cda_m2=cda_m2,
            crr=road.crr,
            system=road.system,
            air_density_kg_m3=road.air_density_kg_m3,
            gravity_m_s2=road.gravity_m_s2,
        )
    )


def _speed_at(power: float, cda_m2: float, road: FlatRoad) -> float:
    return 3.6 * float(
        speed_m_s(
            power_w=power,
            cda_m2=cda_m2,
            crr=road.crr,
            system=road.system,
            air_density_kg_m3=road.air_density_kg_m3,
            gravity_m_s2=road.gravity_m_s2,
        )
    )
