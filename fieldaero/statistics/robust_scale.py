"""The spread of normal values that a few strange ones do not spoil: from the median of the distances to the median."""

from __future__ import annotations

__all__ = ["NORMAL_SD_PER_MEDIAN_DEVIATION"]

NORMAL_SD_PER_MEDIAN_DEVIATION = 1.4826  # 1 / z(0.75): half of a normal sample lies within 0.6745 sd of its median
