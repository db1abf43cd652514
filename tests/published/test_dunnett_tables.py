"""Two-sided tables of Dunnett: several treatments against one control, correlation 0.5."""

import numpy as np
import pytest

from fieldaero.statistics.simultaneous_intervals import (
    equicoordinate_quantile,
    probability_within,
    simultaneous_intervals,
)
from tests.published.published_value import PublishedValue, each

TABLE = {
    5.0: (2.57, 3.03, 3.29, 3.48, 3.62, 3.73),
    10.0: (2.23, 2.57, 2.76, 2.89, 2.99, 3.07),
    20.0: (2.09, 2.38, 2.54, 2.65, 2.73, 2.80),
    60.0: (2.00, 2.27, 2.41, 2.51, 2.58, 2.64),
    np.inf: (1.96, 2.21, 2.35, 2.44, 2.51, 2.57),
}


def control(m):
    return np.full((m, m), 0.5) + 0.5 * np.eye(m)


EXACT = [
    PublishedValue(
        value=q,
        absolute=0.005,
        source="Dunnett, Biometrics 20 (1964) 482",
        locator="two-sided 5 %",
        provenance="from memory",
        inputs={"df": df, "treatments": m},
    )
    for df, row in TABLE.items()
    for m, q in enumerate(row, start=1)
]


@each(EXACT)
def test_bounds(published):
    m = int(published.inputs["treatments"])
    published.check(equicoordinate_quantile(control(m), df=published.inputs["df"]))


FIRST = [(1, 10, 2.23, 0.05), (3, 10, 2.81, 0.05), (2, 30, 2.32, 0.05), (3, 20, 2.57, 0.05), (4, 12, 3.76, 0.01)]
FIRST += [(7, 12, 4.08, 0.01), (2, 60, 2.90, 0.01), (4, 60, 3.14, 0.01), (4, 60, 2.55, 0.05)]


@pytest.mark.parametrize(("m", "df", "bound", "error_rate"), FIRST)
def test_first_table_to_its_own_accuracy(m, df, bound, error_rate):
    # Dunnett, J. Am. Stat. Assoc. 50 (1955), tables 2a and 2b, read in the tests of scipy: an
    # approximation that its author replaced in 1964, so compared to 0.005 in probability as scipy does.
    assert 1.0 - probability_within(control(m), df)(bound) == pytest.approx(error_rate, abs=5e-3)


BLOOD = [[7.40, 8.50, 7.20, 8.24, 9.84, 8.32], [9.76, 8.80, 7.68, 9.36], [12.80, 9.68, 12.16, 9.20, 10.55]]
BLOOD_VALUES = [
    PublishedValue(
        value=v,
        absolute=tol,
        source="Dunnett 1955, blood counts, by R multcomp",
        locator=name,
        provenance="read in the tests of scipy",
        inputs={"row": row},
    )
    for name, tol, pair in [
        ("p_adjusted", 1e-4, (0.6201020, 0.0058254)),
        ("low", 1e-3, (-1.2564116462124, 0.8396273539789)),
        ("high", 1e-3, (2.5564116462124, 4.4163726460211)),
    ]
    for row, v in enumerate(pair)
]


@each(BLOOD_VALUES)
def test_blood_counts(published):
    groups = [np.array(g) for g in BLOOD]
    df = sum(map(len, groups)) - 3
    variance = sum(np.sum((g - g.mean()) ** 2) for g in groups) / df
    covariance = variance * (1.0 / len(groups[0]) + np.diag([1.0 / len(g) for g in groups[1:]]))
    found = simultaneous_intervals([g.mean() - groups[0].mean() for g in groups[1:]], covariance=covariance, df=df)
    # multcomp integrates by chance, hence the tolerances.
    published.check(getattr(found, published.locator)[int(published.inputs["row"])])
