"""How likely a test resolves a difference, from its standard error and number of laps.

With se the expected standard error of the difference and delta its true size, the interval
of the analysis leaves out zero on the right side with the probability

    power = P(T > q),   T noncentral t with nc = delta / se,

q being the bound that holds for all comparisons of the session together (95 %).  The
degrees of freedom are twice the number of laps, and the analysis reports 1.03 times the
expected error, because it has to estimate its noise parameters: both as seen in simulated
sessions of 8 and 9 laps (10 to 22 degrees of freedom in calm air, 35 to 60 in a breeze).

A power of 0.8 is called enough: J. Cohen, Statistical Power Analysis for the Behavioral
Sciences (2nd ed. 1988), section 2.4, from memory.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from fieldaero.statistics.simultaneous_intervals import equicoordinate_quantile

__all__ = ["ENOUGH", "resolvable_m2", "resolving_power"]

ENOUGH = 0.8
REPORTED = 1.03
DF_PER_LAP = 2.0
LARGEST_NC = 30.0  # beyond it the power is 1 to all digits


def resolving_power(
    difference_m2: float, *, se_m2: float, setup_laps: int, baseline_laps: int, setups: int
) -> tuple[float, float]:
    """Return the probability of resolving a true difference, and half the width of its interval [m2].

    ``setups`` is their number, the baseline among them.

    Examples
    --------
    >>> power, half = resolving_power(0.004, se_m2=0.001, setup_laps=4, baseline_laps=4, setups=2)
    >>> round(power, 2), round(half, 4)
    (0.96, 0.0022)
    """
    m = setups - 1
    df = DF_PER_LAP * (baseline_laps + m * setup_laps)
    shared = (1.0 / baseline_laps) / (1.0 / baseline_laps + 1.0 / setup_laps)
    bound = REPORTED * equicoordinate_quantile(shared + (1.0 - shared) * np.eye(m), df=df)
    nc = min(abs(difference_m2) / se_m2, LARGEST_NC)
    return float(np.clip(stats.nct.sf(bound, df, nc), 0.0, 1.0)), bound * se_m2


def resolvable_m2(*, se_m2: float, setup_laps: int, baseline_laps: int, setups: int) -> float:
    """Return the difference [m2] that is resolved with the power called enough.

    Examples
    --------
    >>> round(resolvable_m2(se_m2=0.001, setup_laps=4, baseline_laps=4, setups=2), 4)
    0.0031
    """
    laps = {"setup_laps": setup_laps, "baseline_laps": baseline_laps, "setups": setups}
    low, high = 0.0, LARGEST_NC * se_m2
    for _ in range(40):
        middle = (low + high) / 2.0
        power, _ = resolving_power(middle, se_m2=se_m2, **laps)
        low, high = (middle, high) if power < ENOUGH else (low, middle)
    return high
