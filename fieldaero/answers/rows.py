"""The rows of a result: laps, setups, comparisons, and the laps against numbers from outside.

Differences are setup minus versus: negative means less drag.  A saving has the opposite
sign.  A number that could not be worked out is None.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldaero.compare.verdict import Verdict

__all__ = [
    "ClaimResult",
    "ComparisonResult",
    "CrrResult",
    "DriftResult",
    "InputFile",
    "KnownDragResult",
    "LapResult",
    "LapShift",
    "RaceResult",
    "SecondsResult",
    "SetupResult",
    "TunnelResult",
    "WattsResult",
    "WindResult",
    "YawBin",
    "YawResult",
]


@dataclass(frozen=True, kw_only=True)
class InputFile:
    """A file that went into the result, by its SHA-256."""

    file: str
    sha256: str


@dataclass(frozen=True, kw_only=True)
class LapResult:
    """One lap; ``used`` says whether it counts, ``why_not`` why it does not although a setup is named."""

    ride: str
    lap: int
    setup: str
    used: bool
    flags: tuple[str, ...]
    start: str | None
    duration_s: float
    distance_m: float
    speed_m_s: float
    power_w: float
    air_density_kg_m3: float
    yaw_deg_median: float | None
    cda_m2: float | None
    cda_se_m2: float | None
    closure_cda_m2: float | None
    residual_rms_m: float | None
    outlier: bool = False
    flag_sentences: tuple[str, ...] = ()
    why_not: str = ""


@dataclass(frozen=True, kw_only=True)
class SetupResult:
    """Mean drag area of a setup over its used laps; None throughout for a setup without one."""

    setup: str
    laps: int
    cda_m2: float | None = None
    se_m2: float | None = None
    interval95_m2: tuple[float, float] | None = None


@dataclass(frozen=True, kw_only=True)
class WattsResult:
    """Power saved (negative) or lost at a speed on the flat in still air."""

    speed_km_h: float
    value: float
    interval95: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class SecondsResult:
    """Time saved (negative) or lost over a flat distance at a power in still air.

    There is no interval where one of its ends would be a drag area below zero.
    """

    distance_km: float
    power_w: float
    value: float
    interval95: tuple[float, float] | None


@dataclass(frozen=True, kw_only=True)
class LapShift:
    """How far a difference would move if one lap were left out [m2]."""

    ride: str
    lap: int
    shift_m2: float


@dataclass(frozen=True, kw_only=True)
class ComparisonResult:
    """A setup minus another; without numbers where one of the two has no usable lap.

    ``interval95_m2`` and ``p_value`` hold for all comparisons of the result together,
    ``interval95_alone_m2`` for this one alone.  ``closure_delta_cda_m2`` is what the laps'
    plain closures say, with Welch's standard error.
    """

    setup: str
    versus: str
    delta_cda_m2: float | None = None
    se_m2: float | None = None
    df: float | None = None
    interval95_m2: tuple[float, float] | None = None
    p_value: float | None = None
    verdict: Verdict
    watts: WattsResult | None = None
    seconds: SecondsResult | None = None
    further_laps: int | None = None
    smallest_difference_m2: float | None = None
    interval95_alone_m2: tuple[float, float] | None = None
    closure_delta_cda_m2: float | None = None
    closure_se_m2: float | None = None
    lap_shifts: tuple[LapShift, ...] = ()


@dataclass(frozen=True, kw_only=True)
class CrrResult:
    """Coefficient of rolling resistance after the fit, and what the run sheet gave.

    ``estimated`` says that the laps had a say in it, because the run sheet asked for that (``given_sd`` is then a
    wide prior) or because they were ridden at speeds far apart.  Otherwise it is the given value.
    """

    value: float
    se: float
    given: float
    given_sd: float
    estimated: bool


@dataclass(frozen=True, kw_only=True)
class WindResult:
    """Wind at the rider's height: mean, where it comes from (None without positions), and how much it wandered."""

    mean_m_s: float
    from_deg: float | None
    sd_m_s: float
    mean_sd_m_s: float


@dataclass(frozen=True, kw_only=True)
class DriftResult:
    """Steady change of drag area through the session [m2/h]."""

    value: float
    se: float


@dataclass(frozen=True, kw_only=True)
class ClaimResult:
    """A published saving against what the laps say.

    Attributes
    ----------
    saves
        A negative saving is a claim to cost no more than that.
    comparable
        Whether the run sheet holds the test for one under the claim's conditions.
    distance_km, power_w, speed_km_h
        Conditions under which the saving was turned into drag area; None where it needs none.
    filled_in
        A sentence per condition that the claim does not state.
    claimed_delta_cda_m2
        The difference of drag area that the claim amounts to, taken as exact.
    delta_cda_m2, se_m2, df, interval95_m2
        What the laps say, the interval for this comparison alone.
    found, interval95
        The saving that the laps found, in the claim's unit.
    verdict
        "met" where the whole interval saves at least the claim, "fell short" where none of it
        does, else "undecided"; "not comparable"; "not tested" where a setup has no laps.
    against_zero
        What the same interval says of any difference at all, as a verdict on drag.
    probability
        That the true saving is at least the claim.
    further_laps
        Laps of both setups together that would decide an undecided claim; None where more than 200.
    """

    setup: str
    versus: str
    saves: float
    unit: str
    comparable: bool
    note: str
    distance_km: float | None
    power_w: float | None
    speed_km_h: float | None
    filled_in: tuple[str, ...] = ()
    claimed_delta_cda_m2: float | None = None
    delta_cda_m2: float | None = None
    se_m2: float | None = None
    df: float | None = None
    interval95_m2: tuple[float, float] | None = None
    found: float | None = None
    interval95: tuple[float, float] | None = None
    verdict: str
    against_zero: str | None = None
    probability: float | None = None
    further_laps: int | None = None


@dataclass(frozen=True, kw_only=True)
class YawBin:
    """Share of the weight that the laps gave to yaw between two angles."""

    low_deg: float
    high_deg: float
    share: float


@dataclass(frozen=True, kw_only=True)
class TunnelResult:
    """Field against tunnel: a setup's drag area, or where ``versus`` is named a difference of two.

    Attributes
    ----------
    field_m2, field_se_m2, field_expanded_m2
        From the laps, its standard error, and half its 95 % interval.
    tunnel_m2, tunnel_se_m2
        From the sweep, weighted with the yaw that the laps rode.
    gap_m2, interval95_m2
        Field minus tunnel.
    normalised_error, agrees
        En, and whether it is within one: the two then agree within what either states.
    beyond_share
        Share of the riding time at yaw beyond the sweep, where its end value is taken.
    yaw_rms_deg
        Root mean square of the yaw ridden, weighted as the sweep is.
    sweep_yaw_deg, sweep_cda_m2, sweep_sd_m2
        The sweep's points as given; empty for a difference.
    yaw_ridden
        The weights, in bins of two degrees; empty for a difference.
    remarks
        A sentence each: what was taken, and why there is no number.
    reasons
        What commonly explains a gap, where there is one; common practice, no source.
    """

    setup: str
    versus: str | None = None
    field_m2: float | None
    field_se_m2: float | None
    field_expanded_m2: float | None = None
    tunnel_m2: float | None = None
    tunnel_se_m2: float | None = None
    gap_m2: float | None = None
    interval95_m2: tuple[float, float] | None = None
    normalised_error: float | None = None
    agrees: bool | None = None
    beyond_share: float | None = None
    yaw_rms_deg: float | None = None
    mirrored: bool
    file: str | None = None
    note: str = ""
    sweep_yaw_deg: tuple[float, ...] = ()
    sweep_cda_m2: tuple[float, ...] = ()
    sweep_sd_m2: tuple[float, ...] = ()
    yaw_ridden: tuple[YawBin, ...] = ()
    remarks: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class KnownDragResult:
    """A drag area that was known beforehand against what the laps recovered of it.

    Attributes
    ----------
    known_m2, known_sd_m2
        From the run sheet; the sd is None where it gives none, and then taken as zero.
    recovered_m2, se_m2, df, interval95_m2
        From the laps, for this comparison alone; None without laps, like all below.
    gap_m2
        Recovered minus known.
    normalised_error, agrees
        En, and whether it is within one.
    """

    setup: str
    versus: str
    known_m2: float
    known_sd_m2: float | None
    recovered_m2: float | None = None
    se_m2: float | None = None
    df: float | None = None
    interval95_m2: tuple[float, float] | None = None
    gap_m2: float | None = None
    normalised_error: float | None = None
    agrees: bool | None = None


@dataclass(frozen=True, kw_only=True)
class YawResult:
    """How drag area changes with yaw: CdA(yaw) = CdA(0) (1 + g yaw^2), one g for the whole session.

    Attributes
    ----------
    enough_spread
        Whether the yaw varied enough along the road to ask.
    yaw_rms_deg, yaw_spread_deg2
        Root mean square of yaw, and standard deviation of its square, over the road ridden.
    needed_spread_deg2
        Spread below which it is not asked.
    change_per_yaw_deg2, se_per_yaw_deg2, interval95_per_yaw_deg2
        g; None where the spread is too small or the likelihood has no maximum near.
    change_at_10_deg, interval95_change_at_10_deg
        The same as a bare fraction of CdA(0) at 10 degrees.
    """

    enough_spread: bool
    yaw_rms_deg: float | None
    yaw_spread_deg2: float | None
    needed_spread_deg2: float
    change_per_yaw_deg2: float | None = None
    se_per_yaw_deg2: float | None = None
    interval95_per_yaw_deg2: tuple[float, float] | None = None
    change_at_10_deg: float | None = None
    interval95_change_at_10_deg: tuple[float, float] | None = None


@dataclass(frozen=True, kw_only=True)
class RaceResult:
    """Seconds that a setup makes over a course; None where the interval holds impossible drag areas.

    Attributes
    ----------
    race
        Name of the course in the run sheet.
    power_w
        At the meter.
    versus_time_s
        Time with the setup that is compared with.
    delta_s, se_s, interval95_s
        Time made by the setup, negative is time saved; the interval holds for all comparisons together.
    assumed
        Conditions in words.
    """

    race: str
    setup: str
    versus: str
    distance_km: float
    ascent_m: float
    power_w: float
    versus_time_s: float | None
    delta_s: float | None
    se_s: float | None
    interval95_s: tuple[float, float] | None
    assumed: str
