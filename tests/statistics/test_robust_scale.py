"""The factor between the median deviation and the standard deviation of normal values."""

from __future__ import annotations

import pytest
from scipy.stats import norm

from fieldaero.statistics.robust_scale import NORMAL_SD_PER_MEDIAN_DEVIATION


def test_half_of_normal_values_lie_within_the_median_deviation():
    assert norm.cdf(1.0 / NORMAL_SD_PER_MEDIAN_DEVIATION) == pytest.approx(0.75, abs=1e-5)
