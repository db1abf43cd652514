"""Random-effects pooling against the R package metafor and PyMARE."""

import numpy as np
import pytest

from fieldaero.statistics.random_effects import pool_random_effects
from tests.published.published_value import PublishedValue

# Kacker, Metrologia 41 (2004) 132: nine results with variances, read in the tests of statsmodels.
Y = np.array([61.0, 61.4, 62.21, 62.3, 62.34, 62.6, 62.7, 62.84, 65.9])
VARIANCE = np.array([0.2025, 1.2100, 0.0900, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225])
# BCG vaccine trials, Colditz et al. 1994: cases and others, vaccinated then not; from memory.
BCG = [
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619), (33, 5036, 47, 5761),
    (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232), (17, 1699, 65, 1600),
    (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
]  # fmt: skip
METAFOR = "read in the tests of statsmodels, computed with metafor"
PYMARE = "computed with PyMARE 0.0.13"
MEMORY = "from memory, documentation of metafor; the remembered data reproduce it"

KACKER_VALUES = [
    ("Q", 24.801897741835, 1e-8, METAFOR, lambda p: p.q),
    ("p of Q", 0.00167935146372742, 1e-9, METAFOR, lambda p: p.q_p_value),
    ("I2", 0.67744403741711, 1e-9, METAFOR, lambda p: p.i_squared),
    ("tau2, REML", 0.29434289, 5e-8, PYMARE, lambda p: p.between_variance),
    ("mean, REML", 62.39006527, 5e-9, PYMARE, lambda p: p.effect.estimate),
    ("Hartung-Knapp standard error", 0.29572669, 5e-9, PYMARE, lambda p: p.effect.standard_error),
    ("low", 61.7081183, 5e-8, PYMARE, lambda p: p.interval()[0]),
    ("high", 63.07201225, 1e-8, PYMARE, lambda p: p.interval()[1]),
]
BCG_VALUES = [
    ("mean", -0.7145, 5e-5, MEMORY, lambda p: p.effect.estimate),
    ("tau2", 0.3132, 5e-5, MEMORY, lambda p: p.between_variance),
    ("Q", 152.2330, 5e-5, MEMORY, lambda p: p.q),
    ("Hartung-Knapp standard error", 0.1808, 5e-5, MEMORY, lambda p: p.effect.standard_error),
    ("low", -1.1084, 5e-5, MEMORY, lambda p: p.interval()[0]),
    ("high", -0.3206, 5e-5, MEMORY, lambda p: p.interval()[1]),
]


@pytest.mark.parametrize(("locator", "value", "absolute", "provenance", "read_off"), KACKER_VALUES)
def test_key_comparison(locator, value, absolute, provenance, read_off):
    pooled = pool_random_effects(Y, standard_errors=np.sqrt(VARIANCE))
    source = "Kacker, Metrologia 41 (2004) 132, example 1"
    PublishedValue(value=value, absolute=absolute, source=source, locator=locator, provenance=provenance).check(
        read_off(pooled)
    )


@pytest.mark.parametrize(("locator", "value", "absolute", "provenance", "read_off"), BCG_VALUES)
def test_vaccine_trials(locator, value, absolute, provenance, read_off):
    a, b, c, d = np.array(BCG, dtype=float).T
    log_ratio = np.log(a / (a + b)) - np.log(c / (c + d))
    variance = 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)
    pooled = pool_random_effects(log_ratio, standard_errors=np.sqrt(variance))
    PublishedValue(
        value=value, absolute=absolute, source="BCG vaccine trials, metafor", locator=locator, provenance=provenance
    ).check(read_off(pooled))
