import numpy as np
import pytest

from fieldaero.basics.errors import FieldaeroError, OutOfRangeError
from fieldaero.basics.quantities import within


def test_a_missing_value_passes():
    assert np.isnan(within([1.0, np.nan], quantity="grade", low=-1.0, high=1.0)[1])


def test_both_ends_are_allowed():
    assert within([-1.0, 1.0], quantity="grade", low=-1.0, high=1.0).tolist() == [-1.0, 1.0]


def test_the_message_names_quantity_worst_value_range_and_hint():
    with pytest.raises(OutOfRangeError, match=r"^grade is 7; allowed is -1 to 1 \(5 % is 0.05\)$"):
        within([0.0, 2.0, 7.0, np.nan], quantity="grade", low=-1.0, high=1.0, hint="5 % is 0.05")


@pytest.mark.parametrize("value", [np.inf, -np.inf])
def test_infinity_is_out_of_every_range(value):
    with pytest.raises(OutOfRangeError, match="inf"):
        within(value, quantity="power_w", low=-1e9, high=1e9)


def test_no_values_are_no_error():
    assert within([], quantity="power_w", low=0.0, high=1.0).shape == (0,)


def test_it_is_an_error_of_the_family_and_a_value_error():
    with pytest.raises(FieldaeroError):
        within(2.0, quantity="x", low=0.0, high=1.0)
    assert issubclass(OutOfRangeError, ValueError)
