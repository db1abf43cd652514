"""Least squares against ISO/TS 28037, GUM H.3 and H.5, and the certified values of NIST."""

from pathlib import Path

import numpy as np
import pytest
import scipy
import statsmodels.api as sm

from fieldaero.statistics.mixed_model import VarianceComponent, fit_linear_mixed
from tests.published.published_value import PublishedValue, each

ISO = "ISO/TS 28037:2010"
QUOTED = "read in the documentation of the GTC library, which quotes the standard"
X6 = np.arange(1.0, 7.0)
ISO_CASES = {
    "equal weights": (
        [3.3, 5.6, 7.1, 9.3, 10.7, 12.1],
        [0.5] * 6,
        (1.86666667, 0.46547467, 1.75714286, 0.11952286, -0.05, 1.664762),
    ),
    "unequal weights": (
        [3.2, 4.3, 7.6, 8.6, 11.7, 12.8],
        [0.5, 0.5, 0.5, 1.0, 1.0, 1.0],
        (0.88523207, 0.52970814, 2.05696203, 0.17789202, -0.08227848, 4.130802),
    ),
    "unknown equal weights": (
        [3.014, 5.225, 7.004, 9.061, 11.201, 12.762],
        None,
        (1.172, 0.158875093, 1.963571429, 0.040795358, -0.005824914, 0.116498286),
    ),
}
QUANTITIES = ("intercept", "its u", "slope", "its u", "covariance", "chi2 or residual sum of squares")
ISO_VALUES = [
    PublishedValue(
        value=number,
        absolute=1e-6 if index == 5 else 1e-8 if case != "unknown equal weights" else 1e-9,
        source=ISO,
        locator=f"{case}: {QUANTITIES[index]}",
        provenance=QUOTED,
        inputs={"case": float(list(ISO_CASES).index(case)), "index": float(index)},
    )
    for case, (_, _, numbers) in ISO_CASES.items()
    for index, number in enumerate(numbers)
]


def line(x, y, u=None):
    n = len(y)
    settings = (
        {"components": [VarianceComponent(name="residual", structure=np.eye(n))]}
        if u is None
        else {"known_covariance": np.diag(np.asarray(u) ** 2)}
    )
    return fit_linear_mixed(y, design=np.column_stack([np.ones(n), x]), **settings)


@each(ISO_VALUES)
def test_straight_line(published):
    y, u, _ = list(ISO_CASES.values())[int(published.inputs["case"])]
    fit = line(X6, y, u)
    (a, b), C = fit.coefficients, fit.covariance
    chi2 = np.sum(((np.array(y) - a - b * X6) / (1.0 if u is None else np.array(u))) ** 2)
    found = [a, C[0, 0] ** 0.5, b, C[1, 1] ** 0.5, C[0, 1], chi2]
    published.check(found[int(published.inputs["index"])])


H3_T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
H3_B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
H3 = [
    PublishedValue(
        value=v,
        absolute=tol,
        source="JCGM 100:2008",
        locator=f"H.3 {name}",
        provenance="read in the examples of the GTC library",
        inputs={"index": float(i)},
    )
    for i, (name, v, tol) in enumerate(
        [
            ("y1", -0.1712, 5e-5),
            ("u(y1)", 0.0029, 5e-5),
            ("y2", 0.00218, 5e-6),
            ("u(y2)", 0.00067, 5e-6),
            ("r", -0.930, 5.1e-4),
            ("s", 0.0035, 5e-5),
            ("b(30)", -0.1494, 5e-5),
            ("u(b(30))", 0.0041, 5e-5),
            ("df", 9.0, 1e-6),
        ]
    )
]


@each(H3)
def test_thermometer_calibration(published):
    fit = line(np.array(H3_T) - 20.0, H3_B)
    C, at_30 = fit.covariance, fit.contrast([1.0, 10.0])
    u1, u2 = np.sqrt(np.diag(C))
    found = [fit.coefficients[0], u1, fit.coefficients[1], u2, C[0, 1] / (u1 * u2), fit.theta[0] ** 0.5]
    found += [at_30.estimate, at_30.standard_error, at_30.df]
    published.check(found[int(published.inputs["index"])])


def certified(name, value, digits):
    return PublishedValue(
        value=value, relative=10.0**-digits, source="NIST StRD", locator=name, provenance="read in the certified file"
    )


def test_norris_to_the_digits_of_double_precision():
    file = Path(scipy.__file__).parent / "stats/tests/data/nist_linregress/Norris.dat"
    if not file.exists():
        pytest.skip("this build of scipy leaves out its test data")
    y, x = np.array([row.split() for row in file.read_text().splitlines()[60:96]], dtype=float).T
    fit = line(x, y)
    certified("Norris B0", -0.262323073774029, 11).check(fit.coefficients[0])
    certified("Norris B1", 1.00211681802045, 13).check(fit.coefficients[1])
    certified("Norris sd of B0", 0.232818234301152, 11).check(fit.covariance[0, 0] ** 0.5)
    certified("Norris sd of B1", 0.429796848199937e-3, 11).check(fit.covariance[1, 1] ** 0.5)
    certified("Norris residual sd", 0.884796396144373, 11).check(fit.theta[0] ** 0.5)


LONGLEY = {
    "GNPDEFL": (15.0618722713733, 84.9149257747669),
    "GNP": (-0.0358191792925910, 0.0334910077722432),
    "UNEMP": (-2.02022980381683, 0.488399681651699),
    "ARMED": (-1.03322686717359, 0.214274163161675),
    "POP": (-0.0511041056535807, 0.226073200069370),
    "YEAR": (1829.15146461355, 455.478499142212),
    "const": (-3482258.63459582, 890420.383607373),
}


@pytest.mark.parametrize("name", LONGLEY)
def test_longley_to_nine_digits(name):
    # Condition number 5e9: double precision leaves some nine of the digits.
    data = sm.datasets.longley.load_pandas()
    X = data.exog[[c for c in LONGLEY if c != "const"]].assign(const=1.0)
    fit = fit_linear_mixed(
        data.endog.to_numpy(float),
        design=X.to_numpy(float),
        components=[VarianceComponent(name="residual", structure=np.eye(len(X)))],
        columns=list(X.columns),
    )
    j = list(X.columns).index(name)
    value, sd = LONGLEY[name]
    certified(f"Longley {name}", value, 9).check(fit.coefficients[j])
    certified(f"Longley sd of {name}", sd, 9).check(fit.covariance[j, j] ** 0.5)
    certified("Longley residual variance", 92936.0061673238, 9).check(fit.theta[0])


def test_days_and_readings_of_the_guide():
    # H.5: ten days of five readings; readings with the printed means and standard deviations of each day.
    means = np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41], dtype=float)
    sds = np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86], dtype=float)
    pattern = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) / np.sqrt(2.5)
    y, day = (means[:, None] + sds[:, None] * pattern).ravel(), np.repeat(np.arange(10), 5)
    fit = fit_linear_mixed(
        y,
        design=np.ones((50, 1)),
        components=[
            VarianceComponent(name="day", structure=(day[:, None] == day).astype(float)),
            VarianceComponent(name="reading", structure=np.eye(50)),
        ],
    )
    mean = fit.contrast([1.0])
    for locator, value, found in [
        ("H.5 mean, uV above 10 V", 97.0, mean.estimate),
        ("H.5 standard deviation between days", 43.0, fit.theta[0] ** 0.5),
        ("H.5 standard uncertainty of the mean", 18.0, mean.standard_error),
        ("H.5 pooled standard deviation within days", 85.0, fit.theta[1] ** 0.5),
    ]:
        PublishedValue(
            value=value, absolute=0.5, source="JCGM 100:2008", locator=locator, provenance="read in the tests of suncal"
        ).check(found)
    assert mean.df == pytest.approx(9.0, rel=1e-6)  # ten days
