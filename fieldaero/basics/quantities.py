"""Quantities are coerced to float64 once and checked against their range.

NaN passes, so that a missing sample stays missing in the result instead of stopping a ride.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldaero.basics.errors import OutOfRangeError

__all__ = ["Floats", "number_within", "within"]

Floats = NDArray[np.float64]
"""Array of float64 of any shape; scalars count as shape ()."""


def within(value: ArrayLike, *, quantity: str, low: float, high: float, hint: str = "") -> Floats:
    """Return the value as float64 after checking that it lies in [low, high]; NaN passes.

    The error names the quantity (the caller's parameter, with its unit), the value furthest
    outside, the range, and a hint: a likely slip of the unit, or where to look.

    Examples
    --------
    >>> within([0.3, 0.25], quantity="cda_m2", low=0.0, high=5.0).tolist()
    [0.3, 0.25]
    >>> within(90.0, quantity="relative_humidity", low=0.0, high=1.0, hint="90 % is 0.9")
    Traceback (most recent call last):
        ...
    fieldaero.basics.errors.OutOfRangeError: relative_humidity is 90; allowed is 0 to 1 (90 % is 0.9)
    """
    array = np.asarray(value, dtype=np.float64)
    if array.size == 0:
        return array
    excess = np.maximum(low - array, array - high)
    if np.any(excess > 0.0):
        worst = np.ravel(array)[int(np.nanargmax(np.ravel(excess)))]
        raise OutOfRangeError(
            f"{quantity} is {worst:.10g}; allowed is {low:.10g} to {high:.10g}" + (f" ({hint})" if hint else "")
        )
    return array


def number_within(value: float, *, quantity: str, low: float, high: float, hint: str = "") -> float:
    """Return one number after the check of :func:`within`; NaN is an error.

    Examples
    --------
    >>> number_within(float("nan"), quantity="speed_km_h", low=15.0, high=80.0)
    Traceback (most recent call last):
        ...
    fieldaero.basics.errors.OutOfRangeError: speed_km_h is not a number; allowed is 15 to 80
    """
    if math.isnan(value):
        raise OutOfRangeError(f"{quantity} is not a number; allowed is {low:g} to {high:g}")
    return float(within(value, quantity=quantity, low=low, high=high, hint=hint))
