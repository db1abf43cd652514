"""Laps of several setups as an analysis of variance, against the certified values of NIST StRD."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import scipy

from fieldaero.statistics.mixed_model import VarianceComponent, fit_linear_mixed
from tests.published.published_value import PublishedValue

FOLDER = Path(scipy.__file__).parent / "stats/tests/data/nist_anova"


def observations(name):
    file = FOLDER / f"{name}.dat"
    if not file.exists():
        pytest.skip("this build of scipy leaves out its test data")
    group, y = np.array([row.split() for row in file.read_text().splitlines()[60:]], dtype=float).T
    return group.astype(int) - 1, y


READ = "read in the certified file"


def certified(name, what, value, digits, provenance=READ):
    return PublishedValue(
        value=value,
        relative=10.0**-digits,
        source="NIST StRD, analysis of variance",
        locator=f"{name}: {what}",
        provenance=provenance,
    )


def scatter(n):
    return VarianceComponent(name="residual", structure=np.eye(n))


def test_silver_of_two_instruments_has_the_certified_f():
    # Seven leading digits are the same in all values, so that double precision leaves nine of the difference.
    group, y = observations("AtmWtAg")
    fit = fit_linear_mixed(y, design=np.eye(2)[group], components=[scatter(len(y))])
    difference = fit.contrast([-1.0, 1.0])
    certified("AtmWtAg", "F", 15.9467335677930, 7).check((difference.estimate / difference.standard_error) ** 2)
    certified("AtmWtAg", "residual standard deviation", 1.51048314446410e-05, 7).check(fit.theta[0] ** 0.5)
    assert difference.df == pytest.approx(46.0, rel=1e-6)


def test_resistivity_of_silicon_between_and_within_instruments():
    group, y = observations("SiRstv")
    between, within = 1.27865654e-02, 1.08318280e-02
    fit = fit_linear_mixed(
        y,
        design=np.ones((len(y), 1)),
        components=[
            VarianceComponent(name="instrument", structure=(group[:, None] == group).astype(float)),
            scatter(len(y)),
        ],
    )
    mean, derived = fit.contrast([1.0]), "from the certified mean squares"
    certified("SiRstv", "mean square within", within, 7).check(fit.theta[1])
    # Balanced, so that restricted likelihood is the analysis of variance: five readings of each of five instruments.
    certified("SiRstv", "(between - within) / 5", (between - within) / 5.0, 6, derived).check(fit.theta[0])
    certified("SiRstv", "sqrt(between / 25)", (between / 25.0) ** 0.5, 7, derived).check(mean.standard_error)
    assert mean.df == pytest.approx(4.0, rel=1e-6)


def test_resistivity_of_silicon_as_setups():
    group, y = observations("SiRstv")
    fit = fit_linear_mixed(y, design=np.eye(5)[group], components=[scatter(len(y))])
    certified("SiRstv", "residual standard deviation", 1.04076068334656e-01, 10).check(fit.theta[0] ** 0.5)
    # F: the four contrasts against the first, weighed with their covariance.
    C = np.column_stack([-np.ones(4), np.eye(4)])
    estimate, covariance = C @ fit.coefficients, C @ fit.covariance_kenward_roger @ C.T
    certified("SiRstv", "F", 1.18046237440255, 9).check(estimate @ np.linalg.solve(covariance, estimate) / 4.0)
    assert [fit.contrast(c).df for c in C] == pytest.approx(np.full(4, 20.0), rel=1e-6)
