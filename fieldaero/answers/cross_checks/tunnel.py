"""The field held against a tunnel: each swept setup's drag area, and the differences between swept setups.

The sweep is weighted with the yaw that the setup's own laps rode
(:mod:`fieldaero.answers.cross_checks.yaw_ridden`), and the field's value compared with it by the normalised error
En, ISO/IEC 17043 (:func:`fieldaero.statistics.normalised_error.normalised_error`).  The expanded
uncertainty of the field is half its 95 % interval, a little more than two standard errors
where laps are few (JCGM 100:2008, G.3); that of the tunnel is twice the uncertainty that the
sweep's points give the mean.  What all points of a sweep have in common (balance, blockage,
who sat on the bike) is not in a stated precision; it falls out of a difference between two
sweeps of one tunnel, which is therefore the better test.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from fieldaero.answers.cross_checks.tunnel_sweep import Sweep, SweepMean
from fieldaero.answers.cross_checks.yaw_ridden import RiddenYaw, ridden_yaw, yaw_bins
from fieldaero.answers.rows import ComparisonResult, SetupResult, TunnelResult
from fieldaero.basics.formatting import percent
from fieldaero.compare.session_comparison import Estimates
from fieldaero.statistics.normalised_error import normalised_error

__all__ = ["ABSOLUTE_REASONS", "DIFFERENCE_REASONS", "tunnel_results"]

ABSOLUTE_REASONS = (
    "no rider, a dummy or another rider in the tunnel: most of the drag area is the rider",
    "wheels that stand still in the tunnel, or only the front one turning",
    "a fixed floor or the bike's mounts in the tunnel, blockage and its correction",
    "another position, clothing, helmet or bottles than on the road",
    "wind tunnels are smooth: the air beside a road is not, and its gusts add yaw that no sweep shows",
    "an error of the power meter, of the mass or of Crr, which moves all drag areas of the field alike",
)
"""What commonly explains a gap between drag areas; common practice, no source."""

DIFFERENCE_REASONS = (
    "the change was tried on another rider or bike in the tunnel, or without a rider: parts act on each other",
    "the position moved along with the part, on the road or in the tunnel",
    "other speed or turbulence: what depends on where the flow separates may change",
    "other yaw than the sweep covers, or a yaw taken from the wrong side",
)
"""What commonly explains a gap between differences; common practice, no source."""


def tunnel_results(
    sweeps: Sequence[Sweep],
    *,
    estimates: Estimates,
    setups: Sequence[SetupResult],
    comparisons: Sequence[ComparisonResult],
) -> tuple[TunnelResult, ...]:
    """Return one row per sweep, then one per compared pair of swept setups.

    Sweeps are in the run sheet's order; the first ones of two setups are compared, the second ones, and so on.
    """
    means = {}
    rows = []
    for k, sweep in enumerate(sweeps):
        yaw = ridden_yaw(estimates, setup=sweep.setup)
        mean = None if yaw is None else sweep.mean(yaw_deg=yaw.yaw_deg, weights=yaw.weights, time_s=yaw.time_s)
        place = sum(earlier.setup == sweep.setup for earlier in sweeps[:k])
        if mean is not None:
            means[sweep.setup, place] = mean
        rows.append(_absolute(sweep, yaw, mean, setups))
    for place in sorted({place for _, place in means}):
        for pair in comparisons:
            one, other = means.get((pair.setup, place)), means.get((pair.versus, place))
            if one is not None and other is not None:
                rows.append(_difference(pair, one, other))
    return tuple(rows)


def _absolute(
    sweep: Sweep, yaw: RiddenYaw | None, mean: SweepMean | None, setups: Sequence[SetupResult]
) -> TunnelResult:
    remarks = []
    if sweep.mirrored:
        remarks.append("The sweep covers one side only; the other is assumed to be the same.")
    if not sweep.sd_stated:
        remarks.append("The sweep states no precision, so its uncertainty counts as zero and En is too large.")
    field = next((row for row in setups if row.setup == sweep.setup and row.laps), None)
    if field is None:
        remarks.append("The setup has no usable lap.")
    elif mean is None:
        remarks.append("The laps have no headings, so their yaw is not known.")
    elif mean.beyond_share > 0.0:
        remarks.append(
            f"For {percent(mean.beyond_share)} of the time yaw was beyond the sweep, where its end value is used."
        )
    row = TunnelResult(
        setup=sweep.setup,
        field_m2=None if field is None else field.cda_m2,
        field_se_m2=None if field is None else field.se_m2,
        yaw_rms_deg=None if yaw is None else yaw.rms_deg,
        mirrored=sweep.mirrored,
        file=sweep.file,
        note=sweep.note,
        sweep_yaw_deg=tuple(sweep.yaw_deg.tolist()),
        sweep_cda_m2=tuple(sweep.cda_m2.tolist()),
        sweep_sd_m2=tuple(sweep.sd_m2.tolist()),
        yaw_ridden=() if yaw is None else yaw_bins(yaw),
        remarks=tuple(remarks),
    )
    return _compared(row, None if field is None else field.interval95_m2, mean, ABSOLUTE_REASONS)


def _difference(pair: ComparisonResult, one: SweepMean, other: SweepMean) -> TunnelResult:
    between = SweepMean(
        cda_m2=one.cda_m2 - other.cda_m2,
        se_m2=math.hypot(one.se_m2, other.se_m2),
        beyond_share=max(one.beyond_share, other.beyond_share),
    )
    row = TunnelResult(
        setup=pair.setup, versus=pair.versus, field_m2=pair.delta_cda_m2, field_se_m2=pair.se_m2, mirrored=False
    )
    return _compared(row, pair.interval95_alone_m2, between, DIFFERENCE_REASONS)


def _compared(
    row: TunnelResult, interval: tuple[float, float] | None, mean: SweepMean | None, reasons: tuple[str, ...]
) -> TunnelResult:
    """Hold the field's value and 95 % interval against the tunnel's mean, as far as both are known."""
    half = None if interval is None else (interval[1] - interval[0]) / 2.0
    row = replace(row, field_expanded_m2=half)
    if mean is None:
        return row
    row = replace(row, tunnel_m2=mean.cda_m2, tunnel_se_m2=mean.se_m2, beyond_share=mean.beyond_share)
    if row.field_m2 is None or half is None:
        return row
    gap, both = row.field_m2 - mean.cda_m2, math.hypot(half, 2.0 * mean.se_m2)
    error = float(
        normalised_error(
            value=row.field_m2,
            reference=mean.cda_m2,
            expanded_uncertainty=half,
            reference_expanded_uncertainty=2.0 * mean.se_m2,
        )
    )
    agrees = abs(error) <= 1.0
    return replace(
        row,
        gap_m2=gap,
        interval95_m2=(gap - both, gap + both),
        normalised_error=error,
        agrees=agrees,
        reasons=() if agrees else reasons,
    )
