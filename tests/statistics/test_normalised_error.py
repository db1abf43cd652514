"""Normalised error: sign, symmetry, the edge."""

import numpy as np
import pytest

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.statistics.normalised_error import normalised_error


def en(x, X, U, U_ref):
    return normalised_error(value=x, reference=X, expanded_uncertainty=U, reference_expanded_uncertainty=U_ref)


def test_one_where_the_difference_is_the_combined_uncertainty():
    assert en(5.0, 0.0, 3.0, 4.0) == pytest.approx(1.0)


def test_exchanging_the_two_turns_the_sign():
    assert en(0.25, 0.24, 0.004, 0.003) == pytest.approx(-en(0.24, 0.25, 0.003, 0.004))


def test_missing_value_stays_missing():
    assert np.isnan(en([0.25, np.nan], 0.24, 0.004, 0.003)).tolist() == [False, True]


@pytest.mark.parametrize(("U", "U_ref"), [(0.0, 0.0), (-1.0, 1.0), (1.0, -1.0)])
def test_impossible_uncertainties_are_refused(U, U_ref):
    with pytest.raises(OutOfRangeError, match="expanded"):
        en(1.0, 0.0, U, U_ref)
