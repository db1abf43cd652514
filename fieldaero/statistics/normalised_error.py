"""Normalised error: whether two results agree within their stated uncertainties."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.quantities import Floats, within

__all__ = ["normalised_error"]


def normalised_error(
    *,
    value: ArrayLike,
    reference: ArrayLike,
    expanded_uncertainty: ArrayLike,
    reference_expanded_uncertainty: ArrayLike,
) -> Floats:
    """Return the En number of a result against a reference, broadcast over the inputs.

    En = (x - X) / sqrt(U_x^2 + U_X^2), for results that are independent of each other, with expanded
    uncertainties U at about 95 % (k = 2) in the unit of the results; a standard uncertainty put there makes En too
    large by a factor of two.  |En| <= 1: the two agree within their uncertainties; |En| > 1: they do
    not, and at least one uncertainty is stated too small.  NaN in gives NaN out.  ISO/IEC 17043:2010
    Annex B.3.1.3; equation and criterion given from memory.

    Raises
    ------
    OutOfRangeError
        For a negative uncertainty, or two of zero.

    Examples
    --------
    >>> float(normalised_error(value=8.0, reference=2.0, expanded_uncertainty=4.0,
    ...                        reference_expanded_uncertainty=3.0))
    1.2
    """
    U = within(expanded_uncertainty, quantity="expanded_uncertainty", low=0.0, high=np.inf)
    U_ref = within(reference_expanded_uncertainty, quantity="reference_expanded_uncertainty", low=0.0, high=np.inf)
    both = within(
        np.hypot(U, U_ref),
        quantity="root sum of squares of the two expanded uncertainties",
        low=float(np.nextafter(0.0, 1.0)),
        high=np.inf,
        hint="En needs at least one uncertainty above zero",
    )
    return np.asarray((np.asarray(value, dtype=np.float64) - np.asarray(reference, dtype=np.float64)) / both)
