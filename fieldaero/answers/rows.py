"""The rows of a result that hold it against numbers from outside: claims, tunnel, known drag, yaw.

Differences are setup minus versus: negative means less drag.  A saving has the opposite
sign.  A number that could not be worked out is None.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ClaimResult", "KnownDragResult", "TunnelResult", "YawBin", "YawResult"]


@dataclass(frozen=True, kw_only=True)
class ClaimResult:
    """A published saving against what the laps say.

    Attributes
    ----------
    setup, versus, saves, unit, note
        As in the run sheet; a negative saving is a claim to cost no more than that.
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
    filled_in: tuple[str, ...]
    claimed_delta_cda_m2: float | None
    delta_cda_m2: float | None
    se_m2: float | None
    df: float | None
    interval95_m2: tuple[float, float] | None
    found: float | None
    interval95: tuple[float, float] | None
    verdict: str
    against_zero: str | None
    probability: float | None
    further_laps: int | None


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
    setup, versus
        Names; ``versus`` None for the drag area of one setup.
    field_m2, field_se_m2, field_expanded_m2
        From the laps, its standard error, and half its 95 % interval.
    tunnel_m2, tunnel_se_m2
        From the sweep, weighted with the yaw that the laps rode.
    gap_m2, interval95_m2
        Field minus tunnel.
    normalised_error
        En; within one, the two agree within what either states.
    agrees
        Whether it is.
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
    versus: str | None
    field_m2: float | None
    field_se_m2: float | None
    field_expanded_m2: float | None
    tunnel_m2: float | None
    tunnel_se_m2: float | None
    gap_m2: float | None
    interval95_m2: tuple[float, float] | None
    normalised_error: float | None
    agrees: bool | None
    beyond_share: float | None
    yaw_rms_deg: float | None
    mirrored: bool
    file: str | None
    note: str
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
    setup, versus
        Setup with the known addition, and the baseline.
    known_m2, known_sd_m2
        From the run sheet; the sd is None where it gives none, and then taken as zero.
    recovered_m2, se_m2, df, interval95_m2
        From the laps, for this comparison alone.
    gap_m2
        Recovered minus known.
    normalised_error, agrees
        En, and whether it is within one; None without laps.
    """

    setup: str
    versus: str
    known_m2: float
    known_sd_m2: float | None
    recovered_m2: float | None
    se_m2: float | None
    df: float | None
    interval95_m2: tuple[float, float] | None
    gap_m2: float | None
    normalised_error: float | None
    agrees: bool | None


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
    change_per_yaw_deg2: float | None
    se_per_yaw_deg2: float | None
    interval95_per_yaw_deg2: tuple[float, float] | None
    change_at_10_deg: float | None
    interval95_change_at_10_deg: tuple[float, float] | None
