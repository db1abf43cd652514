"""Uncertainty budgets: identities of the law of propagation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.statistics.gum_budget import UncertaintyInput, uncertainty_budget


def inputs(*rows):
    return [
        UncertaintyInput(name=f"x{i}", value=0.0, standard_uncertainty=u, sensitivity=c, df=df)
        for i, (u, c, df) in enumerate(rows)
    ]


@given(st.integers(0, 2**32 - 1), st.integers(1, 6))
def test_shares_sum_to_one_and_variance_is_the_quadratic_form(seed, n):
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(n, n + 2))
    C = root @ root.T
    u, c = np.sqrt(np.diag(C)), rng.normal(size=n)
    budget = uncertainty_budget(inputs(*zip(u, c, [np.inf] * n, strict=True)), correlation=C / np.outer(u, u))
    assert np.sum(budget.shares) == pytest.approx(1.0, abs=1e-9)
    assert budget.standard_uncertainty == pytest.approx(np.sqrt(c @ C @ c), rel=1e-6)


def test_common_error_cancels_in_a_difference():
    budget = uncertainty_budget(inputs((0.5, 1.0, np.inf), (0.5, -1.0, np.inf)), correlation=np.ones((2, 2)))
    assert budget.standard_uncertainty == 0.0
    assert np.isnan(budget.shares).all()


def test_input_that_cancels_others_has_a_negative_share():
    budget = uncertainty_budget(inputs((1.0, 1.0, np.inf), (0.5, -1.0, np.inf)), correlation=[[1, 0.9], [0.9, 1]])
    assert budget.shares[1] < 0.0 < budget.shares[0]


def test_degrees_of_freedom_of_one_input_are_its_own():
    budget = uncertainty_budget(inputs((0.3, 2.0, 7.0), (0.0, 1.0, 2.0)))
    assert budget.df == pytest.approx(7.0)
    assert budget.expanded_uncertainty() == pytest.approx(2.3646 * 0.6, abs=1e-4)  # t table, 7 df


def test_known_uncertainties_alone_have_no_limit():
    assert uncertainty_budget(inputs((0.3, 2.0, np.inf))).df == np.inf


@pytest.mark.parametrize("R", [[[1, 0.5], [0.4, 1]], [[1, 1.2], [1.2, 1]], [[2, 0], [0, 1]]])
def test_impossible_correlation_is_refused(R):
    with pytest.raises(OutOfRangeError, match="correlation matrix"):
        uncertainty_budget(inputs((1.0, 1.0, np.inf), (1.0, 1.0, np.inf)), correlation=R)


def test_negative_uncertainty_names_the_input():
    with pytest.raises(OutOfRangeError, match="mass"):
        uncertainty_budget([UncertaintyInput(name="mass", value=84.0, standard_uncertainty=-0.5)])
