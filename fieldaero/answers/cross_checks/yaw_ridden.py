"""The yaw that laps rode, with the weight it has in their drag area.

A lap's drag area is the one constant that does the work which the true one, changing
with yaw, does along the road: the work against the air over a way dx is
1/2 rho CdA(yaw) V^2 dx, so that the constant equals the mean of CdA(yaw) weighted with
V^2 dx, dynamic pressure times distance.  That is what a sweep has to be weighted with to be compared with laps;
weights of time would count the slow, sheltered stretches for more than they do to a rider.

The wind is the joint fit's, which holds mean and slow change; gusts of a few seconds
are not in it, so that true yaw scatters more about it by some degrees, up and down alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldaero.answers.rows import YawBin
from fieldaero.basics.quantities import Floats
from fieldaero.compare.session_comparison import Estimates

__all__ = ["RiddenYaw", "ridden_yaw", "segment_yaw_deg", "yaw_bins"]

BIN_DEG = 2.0


@dataclass(frozen=True, kw_only=True)
class RiddenYaw:
    """Yaw of pieces of road, each with its weight and the time it took; all of shape (n,), weights of sum 1."""

    yaw_deg: Floats
    weights: Floats
    time_s: Floats

    @property
    def rms_deg(self) -> float:
        """Root mean square of the yaw."""
        return float(np.sqrt(self.weights @ self.yaw_deg**2))

    @property
    def spread_deg2(self) -> float:
        """Standard deviation of the square of the yaw."""
        square = self.yaw_deg**2
        return float(np.sqrt(self.weights @ (square - self.weights @ square) ** 2))


def segment_yaw_deg(estimates: Estimates) -> Floats:
    """Yaw of the air flow in each segment [deg], from the rider's right positive, shape (K, n); NaN without heading."""
    s, wind = estimates.fit.segments, estimates.fit.wind_m_s
    along = np.sum(wind * s.heading, axis=2)
    across = wind[:, :, 1] * s.heading[:, :, 0] - wind[:, :, 0] * s.heading[:, :, 1]
    known = (np.linalg.norm(s.heading, axis=2) > 0.5) & estimates.headings_known
    return np.where(known, np.degrees(np.arctan2(across, s.speed_m_s - along)), np.nan)


def ridden_yaw(estimates: Estimates, *, setup: str | None = None) -> RiddenYaw | None:
    """Return the yaw ridden in a setup, or in all laps.

    One entry per segment whose heading and energy balance are known; None where there is none.
    """
    segments, wind = estimates.fit.segments, estimates.fit.wind_m_s
    yaw = segment_yaw_deg(estimates)
    flow = segments.speed_m_s[:, :, None] * segments.heading - wind
    weight = np.sum(flow**2, axis=2) * segments.speed_m_s * segments.duration_s
    own = np.array([setup is None or lap.setup == setup for lap in estimates.laps])
    known = own[:, None] & np.isfinite(yaw) & (segments.unknown_s <= 0.0) & (weight > 0.0)
    if not known.any():
        return None
    return RiddenYaw(
        yaw_deg=yaw[known], weights=weight[known] / np.sum(weight[known]), time_s=segments.duration_s[known]
    )


def yaw_bins(yaw: RiddenYaw) -> tuple[YawBin, ...]:
    """Return the weights in bins of two degrees, from the least yaw to the largest."""
    low = math.floor(float(yaw.yaw_deg.min()) / BIN_DEG)
    count = math.floor(float(yaw.yaw_deg.max()) / BIN_DEG) - low + 1
    edges = BIN_DEG * (low + np.arange(count + 1))
    share, _ = np.histogram(yaw.yaw_deg, bins=edges, weights=yaw.weights)
    return tuple(
        YawBin(low_deg=float(a), high_deg=float(b), share=float(s))
        for a, b, s in zip(edges[:-1], edges[1:], share, strict=True)
    )
