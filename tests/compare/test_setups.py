"""Setups compared by their laps, against statsmodels, scipy and the likelihood written out again."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, stats

from fieldaero.basics.errors import CannotAnswerError
from fieldaero.compare import setups as compare
from fieldaero.compare.setups import LapTable, compare_setups
from fieldaero.compare.verdict import NOT_RESOLVED, further_laps, verdict
from fieldaero.statistics.mixed_model import FirstStageUncertainty

NOTHING = 1e-14  # a known variance that adds nothing [m4]
ABAB = ("A", "B") * 4


def laps(cda, setup, *, known=NOTHING, time_h=None, **more) -> LapTable:
    """A table of laps; ``known`` is one variance for all, or their covariance."""
    y = np.asarray(cda, dtype=float)
    return LapTable(
        cda_m2=y,
        covariance_m4=known * np.eye(len(y)) if np.ndim(known) == 0 else np.asarray(known),
        setup=tuple(setup),
        time_h=np.arange(len(y)) / 10.0 if time_h is None else np.asarray(time_h, dtype=float),
        **more,
    )


def some_covariance(n: int, rng: np.random.Generator, *, size: float) -> np.ndarray:
    root = rng.normal(size=(n, 2 * n))
    return size**2 * root @ root.T / (2 * n)


def columns(setup, names) -> np.ndarray:
    return np.array([[own == name for name in names] for own in setup], dtype=float)


def with_scatter(mean: float, sd: float, n: int) -> np.ndarray:
    """So many laps with exactly this mean and standard deviation."""
    steps = np.arange(n) - (n - 1) / 2.0
    return mean + sd * steps / np.std(steps, ddof=1)


@pytest.fixture
def without_prior(monkeypatch):
    """The laps alone tell how much they scatter."""
    monkeypatch.setattr(compare, "SCATTER_PRIOR_DF", 0.0)


@pytest.fixture
def known_scatter(monkeypatch):
    """A scatter held at 1 % of the mean drag area, as if known from countless laps."""
    monkeypatch.setattr(compare, "SCATTER_PRIOR_DF", 1e12)
    monkeypatch.setattr(compare, "SCATTER_PRIOR_SD", 0.01)
    return 0.01


# Generalised least squares


@pytest.mark.parametrize("seed", range(4))
def test_a_known_covariance_gives_what_statsmodels_gives(known_scatter, seed):
    rng = np.random.default_rng(seed)
    setup = rng.permutation(list("AAABBBBCCC"))
    y = 0.25 + 0.003 * rng.normal(size=10)
    known, hours = some_covariance(10, rng, size=0.003), np.sort(rng.uniform(0.0, 1.5, 10))
    found = compare_setups(
        laps(y, setup, known=known, time_h=hours), baseline="A", setups=["A", "B", "C"], drift_sd_per_h=0.02
    )
    t = hours - hours.mean()
    V = known + (0.02 * y.mean()) ** 2 * np.outer(t, t) + (known_scatter * y.mean()) ** 2 * np.eye(10)
    other = sm.GLS(y, columns(setup, "ABC"), sigma=V).fit()
    C = other.normalized_cov_params
    assert [m.cda_m2 for m in found.setups] == pytest.approx(other.params, rel=1e-9)
    assert [m.se_m2 for m in found.setups] == pytest.approx(np.sqrt(np.diag(C)), rel=1e-5)
    assert found.weights @ y == pytest.approx(other.params, rel=1e-9)
    for one, j in zip(found.contrasts, (1, 2), strict=True):
        assert one.delta_cda_m2 == pytest.approx(other.params[j] - other.params[0], rel=1e-7)
        assert one.se_m2 == pytest.approx(np.sqrt(C[0, 0] + C[j, j] - 2.0 * C[0, j]), rel=1e-5)


def restricted_deviance(tau2, y, X, V0, prior_scale):
    V = V0 + tau2 * np.eye(len(y))
    Vi = np.linalg.inv(V)
    XVX = X.T @ Vi @ X
    r = y - X @ np.linalg.solve(XVX, X.T @ Vi @ y)
    own = np.linalg.slogdet(V)[1] + np.linalg.slogdet(XVX)[1] + r @ Vi @ r
    return own + np.log(tau2) + prior_scale / tau2  # the prior is worth one degree of freedom


@pytest.mark.parametrize("seed", range(6))
def test_the_scatter_of_laps_is_the_most_likely_one(seed, monkeypatch):
    monkeypatch.setattr(compare, "SCATTER_PRIOR_DF", 1.0)
    monkeypatch.setattr(compare, "SCATTER_PRIOR_SD", 0.005)
    # Maximised anew by scipy over the restricted likelihood of Patterson and Thompson with the prior.
    rng = np.random.default_rng(seed)
    setup = [*"ABBAABBA", "C", "C"]
    known = some_covariance(10, rng, size=0.002)
    y = rng.multivariate_normal(np.full(10, 0.25), known + rng.choice([0.001, 0.004]) ** 2 * np.eye(10))
    found = compare_setups(laps(y, setup, known=known), baseline="A", setups=["A", "B", "C"], drift_sd_per_h=0.0)
    best = optimize.minimize_scalar(
        lambda log: restricted_deviance(np.exp(log), y, columns(setup, "ABC"), known, (0.005 * y.mean()) ** 2),
        bounds=np.log([1e-9, 1e-3]),
        method="bounded",
        options={"xatol": 1e-9},
    )
    assert found.lap_scatter_m2 == pytest.approx(np.exp(best.x / 2.0), rel=1e-5)


def test_scatter_and_error_agree_with_a_mixed_model_of_statsmodels(without_prior):
    # Four rides of three laps with each setup; the variance between rides that its REML finds is given here as known.
    rng = np.random.default_rng(3)
    ride, setup = np.repeat(np.arange(4), 6), "ABBAAB" * 4
    y = 0.25 + 0.004 * rng.normal(size=4)[ride] + 0.002 * rng.normal(size=24)
    X = columns(setup, "AB")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its optimiser's own
        # In hundredths of a square metre, so that its optimiser sees numbers near one.
        other = sm.MixedLM(100.0 * y, X, groups=ride).fit(reml=True, method="bfgs", gtol=1e-10)
    between = float(np.asarray(other.cov_re)[0, 0]) * 1e-4
    assert between > 0.0
    known = between * (ride[:, None] == ride) + NOTHING * np.eye(24)
    found = compare_setups(laps(y, setup, known=known), baseline="A", setups=["A", "B"], drift_sd_per_h=0.0)
    assert found.lap_scatter_m2 == pytest.approx(np.sqrt(other.scale) / 100.0, rel=1e-3)
    one = found.contrasts[0]
    C = np.asarray(other.cov_params())[:2, :2] * 1e-4
    assert one.delta_cda_m2 == pytest.approx(float(other.fe_params[1] - other.fe_params[0]) / 100.0, rel=1e-6)
    assert one.se_m2 == pytest.approx(np.sqrt(C[0, 0] + C[1, 1] - 2.0 * C[0, 1]), rel=1e-3)


def test_two_setups_of_equal_laps_give_students_t_test(without_prior):
    rng = np.random.default_rng(11)
    y = 0.25 + 0.002 * rng.normal(size=8)
    found = compare_setups(laps(y, ABAB), baseline="A", setups=["A", "B"], drift_sd_per_h=0.0)
    expected = stats.ttest_ind(y[1::2], y[0::2])
    one = found.contrasts[0]
    assert (one.df, one.p_value) == pytest.approx((6.0, expected.pvalue), rel=1e-4)
    assert one.interval95_m2 == pytest.approx(tuple(expected.confidence_interval(0.95)), rel=1e-4)
    assert one.interval95_m2 == pytest.approx(one.interval95_alone_m2, rel=1e-6)
    assert one.own_level == pytest.approx(0.95, abs=1e-6)


def test_several_setups_give_dunnetts_intervals(without_prior):
    rng = np.random.default_rng(12)
    own = {name: 0.25 + 0.002 * rng.normal(size=n) for name, n in zip("ABCD", (6, 4, 4, 5), strict=True)}
    setup = "".join(name * len(values) for name, values in own.items())
    found = compare_setups(
        laps(np.concatenate(list(own.values())), setup), baseline="A", setups=list("ABCD"), drift_sd_per_h=0.0
    )
    expected = stats.dunnett(*[own[n] for n in "BCD"], control=own["A"], rng=np.random.default_rng(0))
    interval = expected.confidence_interval(0.95)
    # scipy integrates by chance, to about 1e-3 of the bound.
    half = (interval.high - interval.low) / 2.0
    for k, one in enumerate(found.contrasts):
        assert one.p_value == pytest.approx(expected.pvalue[k], abs=2e-3)
        assert one.interval95_m2 == pytest.approx((interval.low[k], interval.high[k]), abs=5e-3 * half[k])
        alone = one.interval95_alone_m2
        assert one.interval95_m2[0] < alone[0] < alone[1] < one.interval95_m2[1]
        assert 0.95 < one.own_level < 1.0 - 0.05 / 3.0  # Bonferroni's is the widest that three can need


def test_an_uncertain_covariance_limits_the_degrees_of_freedom(known_scatter, monkeypatch):
    # The covariance goes with the exponential of a parameter of variance 2 / 7: as if from seven degrees of freedom.
    monkeypatch.setattr(compare, "SCATTER_PRIOR_SD", 1e-6)
    known = 1e-6 * np.eye(8)
    table = laps(
        with_scatter(0.25, 1e-3, 8),
        ABAB,
        known=known,
        first_stage=FirstStageUncertainty(derivatives=known[None], covariance=[[2.0 / 7.0]]),
    )
    sure = laps(table.cda_m2, ABAB, known=known)
    one, other = (
        compare_setups(t, baseline="A", setups=["A", "B"], drift_sd_per_h=0.0).contrasts[0] for t in (table, sure)
    )
    assert one.df == pytest.approx(7.0, rel=1e-3)
    assert other.df > 1e5


# Drift


def drifting(order, *, per_h=0.01, noise=0.0, seed=0):
    rng = np.random.default_rng(seed)
    hours = np.arange(len(order)) * 0.1
    true = np.where(np.array(list(order)) == "B", 0.24, 0.25)
    return laps(true + per_h * hours + noise * rng.normal(size=len(order)), order, known=1e-8, time_h=hours)


def compared(table, drift_sd_per_h=0.5):
    return compare_setups(table, baseline="A", setups=["A", "B"], drift_sd_per_h=drift_sd_per_h)


def test_a_steady_drift_is_taken_out_of_alternating_laps():
    found = compared(drifting("ABABABAB"))
    assert found.contrasts[0].delta_cda_m2 == pytest.approx(-0.01, abs=2e-5)
    assert found.drift_m2_per_h == pytest.approx(0.01, rel=0.01)
    # Taken as none, the drift stays in: B comes a tenth of an hour after A.
    assert compared(drifting("ABABABAB"), 0.0).contrasts[0].delta_cda_m2 == pytest.approx(-0.01 + 0.001, rel=1e-6)


def test_a_steady_drift_cancels_by_itself_in_mirrored_laps():
    assert compared(drifting("ABBAABBA"), 0.0).contrasts[0].delta_cda_m2 == pytest.approx(-0.01, rel=1e-6)


def test_a_wholly_unknown_drift_is_a_straight_line_through_the_laps():
    table = drifting("ABABABAB", noise=0.001, seed=4)
    X = np.column_stack([columns(table.setup, "AB"), table.time_h])
    line = np.linalg.lstsq(X, table.cda_m2, rcond=None)[0]
    found = compared(table, drift_sd_per_h=100.0)
    assert found.contrasts[0].delta_cda_m2 == pytest.approx(line[1] - line[0], rel=1e-4)
    assert found.drift_m2_per_h == pytest.approx(line[2], rel=1e-4)


def test_a_possible_drift_costs_more_where_the_setups_are_ridden_in_blocks(known_scatter):
    blocks, mixed, mirrored = (compared(drifting(o), 0.02).contrasts[0].se_m2 for o in ("AAAABBBB", ABAB, "ABBAABBA"))
    still = compared(drifting("AAAABBBB"), 0.0).contrasts[0].se_m2
    assert blocks > 1.2 * mixed > 1.2 * mirrored
    assert mirrored == pytest.approx(still, rel=1e-4)


@pytest.mark.parametrize("order", ["ABABABAB", "AAAABBBB"])
def test_the_slope_is_what_bayes_rule_makes_of_prior_and_laps(known_scatter, order):
    table = drifting(order, noise=0.002, seed=5)
    found = compared(table, 0.02)
    y, t = table.cda_m2, table.time_h - table.time_h.mean()
    prior, noise = (0.02 * y.mean()) ** 2, (known_scatter * y.mean()) ** 2 + 1e-8
    X = np.column_stack([columns(order, "AB"), t])
    precision = X.T @ X / noise + np.diag([0.0, 0.0, 1.0 / prior])
    expected = np.linalg.solve(precision, X.T @ y / noise)
    assert found.drift_m2_per_h == pytest.approx(expected[2], rel=1e-4)
    assert found.drift_se_m2_per_h == pytest.approx(np.sqrt(np.linalg.inv(precision)[2, 2]), rel=1e-4)


# Influence and outliers


def test_influence_of_a_lap_is_what_a_fit_without_it_gives(known_scatter, monkeypatch):
    rng = np.random.default_rng(6)
    setup, y = np.array(list("ABBACCABC")), 0.25 + 0.003 * rng.normal(size=9)
    known = some_covariance(9, rng, size=0.003)
    held = {"baseline": "A", "setups": ["A", "B", "C"], "drift_sd_per_h": 0.0}
    found = compare_setups(laps(y, setup, known=known), **held)
    before = np.array([c.delta_cda_m2 for c in found.contrasts])
    for k in range(9):
        keep = np.arange(9) != k
        monkeypatch.setattr(compare, "SCATTER_PRIOR_SD", known_scatter * y.mean() / y[keep].mean())
        left = compare_setups(laps(y[keep], setup[keep], known=known[np.ix_(keep, keep)]), **held)
        after = np.array([c.delta_cda_m2 for c in left.contrasts])
        assert found.influence.shift_m2[k] == pytest.approx(after - before, rel=1e-6, abs=1e-12)


def test_a_setups_only_lap_has_no_influence_to_tell():
    found = compare_setups(
        laps([0.25, 0.252, 0.24], "AAB"), baseline="A", setups=["A", "B"], drift_sd_per_h=0.0
    ).influence
    assert np.isnan(found.shift_m2).ravel().tolist() == [False, False, True]
    assert np.isnan(found.outlier_z).tolist() == [False, False, True]
    assert not found.outlier[2]


def test_a_lap_among_few_is_judged_by_the_others_mean(known_scatter):
    # Four laps, too few for a scale of their own: z = (y - mean of others) / (sd sqrt(1 + 1 / others)).
    y = np.array([0.250, 0.256, 0.247, 0.252])
    found = compare_setups(laps(y, "AAAA"), baseline="A", setups=["A"], drift_sd_per_h=0.0)
    others = (y.sum() - y) / 3.0
    expected = (y - others) / (known_scatter * y.mean() * np.sqrt(1.0 + 1.0 / 3.0))
    assert found.influence.outlier_z == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("k", [0, 3, 7])
def test_a_wild_lap_is_found_and_no_other(k):
    rng = np.random.default_rng(7)
    y = np.where(np.array(ABAB) == "B", 0.24, 0.25) + 0.002 * rng.normal(size=8)
    y[k] += 0.03
    found = compared(laps(y, ABAB, known=1e-6), 0.01).influence
    assert np.flatnonzero(found.outlier).tolist() == [k]
    assert found.outlier_z[k] > 0.0


def test_two_wild_laps_do_not_hide_each_other():
    rng = np.random.default_rng(9)
    y = np.where(np.array(ABAB + ABAB) == "B", 0.24, 0.25) + 0.002 * rng.normal(size=16)
    y[[3, 12]] += [0.03, -0.03]
    found = compared(laps(y, ABAB + ABAB, known=1e-6), 0.01).influence
    assert np.flatnonzero(found.outlier).tolist() == [3, 12]
    # Without them the others are judged by the scatter they have.
    assert np.std(np.delete(found.outlier_z, [3, 12])) == pytest.approx(1.0, abs=0.4)


def test_clean_sessions_rarely_show_an_outlier():
    # One per cent of sessions is promised, and four among 150 are already beyond that by chance.
    rng = np.random.default_rng(8)
    sessions = (0.25 + 0.002 * rng.normal(size=20) for _ in range(150))
    called = sum(compared(laps(y, ("A", "B") * 10, known=1e-7), 0.0).influence.outlier.any() for y in sessions)
    assert called <= 4


# What the answer rests on


def test_the_laps_that_are_asked_for_settle_the_question(without_prior):
    # The same difference and the same scatter, with so many laps more: resolved then, and not with two fewer.
    for delta, sd, n in [(-0.004, 0.004, 3), (0.002, 0.003, 4), (-0.003, 0.003, 5)]:

        def judged(per_setup, delta=delta, sd=sd):
            y = np.concatenate([with_scatter(0.25, sd, per_setup), with_scatter(0.25 + delta, sd, per_setup)])
            table = laps(y, "A" * per_setup + "B" * per_setup)
            one = compared(table, 0.0).contrasts[0]
            return one, verdict(one.interval95_m2)

        one, says = judged(n)
        assert says == NOT_RESOLVED
        more = further_laps(delta_cda_m2=one.delta_cda_m2, se_m2=one.se_m2, df=one.df, laps=2 * n, level=one.own_level)
        assert more is not None
        assert more % 2 == 0
        assert judged(n + more // 2)[1] != NOT_RESOLVED
        assert judged(n + more // 2 - 1)[1] == NOT_RESOLVED


def test_laps_asked_for_among_several_setups_settle_all_intervals_together(without_prior):
    def judged(per_setup):
        y = np.concatenate([with_scatter(0.25 + d, 0.003, per_setup) for d in (0.0, -0.003, 0.02, 0.03)])
        found = compare_setups(
            laps(y, "".join(s * per_setup for s in "ABCD")), baseline="A", setups=list("ABCD"), drift_sd_per_h=0.0
        )
        return found.contrasts[0], verdict(found.contrasts[0].interval95_m2)

    one, says = judged(4)
    assert says == NOT_RESOLVED
    more = further_laps(delta_cda_m2=one.delta_cda_m2, se_m2=one.se_m2, df=one.df, laps=8, level=one.own_level)
    assert more is not None
    assert judged(4 + more // 2)[1] != NOT_RESOLVED


def test_one_lap_per_setup_is_answered_with_its_scatter_called_unknown():
    found = compare_setups(laps([0.25, 0.24], "AB", known=1e-6), baseline="A", setups=["A", "B"])
    one = found.contrasts[0]
    assert one.scatter_unknown
    assert found.lap_scatter_m2 is None
    assert one.delta_cda_m2 == pytest.approx(-0.01, abs=1e-9)
    # Wider than the fit's own error alone would have it.
    assert one.se_m2 > np.sqrt(2.0) * 1e-3
    assert np.isfinite(one.interval95_m2).all()


def test_a_second_lap_of_one_setup_makes_the_scatter_known():
    found = compare_setups(laps([0.25, 0.24, 0.251], "ABA", known=1e-6), baseline="A", setups=["A", "B"])
    assert not found.contrasts[0].scatter_unknown
    assert found.lap_scatter_m2 is not None
    assert [m.laps for m in found.setups] == [2, 1]


def test_a_single_setup_leaves_nothing_to_compare():
    found = compare_setups(laps([0.25, 0.252, 0.251], "AAA"), baseline="A", setups=["A", "B"], drift_sd_per_h=0.0)
    assert found.contrasts == ()
    assert found.setups[0].cda_m2 == pytest.approx(0.251, abs=1e-9)


def test_setups_without_the_baseline_have_no_comparison():
    found = compare_setups(laps([0.25, 0.252], "BC", known=1e-6), baseline="A", setups=["A", "B", "C"])
    assert found.contrasts == ()
    assert [m.setup for m in found.setups] == ["B", "C"]


def test_pairs_may_be_asked_for():
    table = laps([0.25, 0.24, 0.23, 0.25, 0.24, 0.23], "ABCABC", known=1e-6)
    wanted = [("C", "B"), ("A", "A"), ("D", "A")]
    found = compare_setups(table, baseline="A", setups=["A", "B", "C", "D"], pairs=wanted, drift_sd_per_h=0.0)
    assert [(c.setup, c.versus) for c in found.contrasts] == [("C", "B")]
    assert found.contrasts[0].delta_cda_m2 == pytest.approx(-0.01, abs=1e-9)


def test_without_a_lap_there_is_no_answer():
    with pytest.raises(CannotAnswerError, match="no lap"):
        compare_setups(laps([], ""), baseline="A", setups=["A", "B"])


def test_a_setups_interval_is_students_for_the_level_asked_for(without_prior):
    y = np.array([0.250, 0.253, 0.249, 0.252, 0.251])
    mean = compare_setups(laps(y, "AAAAA"), baseline="A", setups=["A"], drift_sd_per_h=0.0).setups[0]
    for level in (0.8, 0.95):
        expected = stats.ttest_1samp(y, 0.0).confidence_interval(level)
        assert mean.interval(level=level) == pytest.approx(tuple(expected), rel=1e-5)


def stints(lasting_s, *, seed=3):
    """Eight stints of six laps whose drag areas move from stint to stint and hardly within one."""
    rng = np.random.default_rng(seed)
    setup = [name for name in ABAB for _ in range(6)]
    y = 0.25 + np.repeat(0.004 * rng.normal(size=8), 6) + 0.0005 * rng.normal(size=48)
    return laps(y, setup, time_h=np.arange(48) * lasting_s / 3600.0, lasting_s=np.full(48, lasting_s))


def test_short_laps_of_one_stint_do_not_pass_for_independent_ones():
    def found(lasting_s):
        return compare_setups(stints(lasting_s), baseline="A", setups=["A", "B"], drift_sd_per_h=0.0).contrasts[0]

    short, long = found(25.0), found(300.0)
    assert short.se_m2 > 2.0 * long.se_m2
    assert short.df < 10.0 < long.df


def test_a_stints_effect_agrees_with_a_mixed_model_of_statsmodels(without_prior):
    table = stints(25.0)
    y, stint = table.cda_m2, np.repeat(np.arange(8), 6)
    X = columns(table.setup, ["A", "B"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = sm.MixedLM(100.0 * y, X, groups=stint).fit(reml=True, method="bfgs", gtol=1e-10)
    found = compare_setups(table, baseline="A", setups=["A", "B"], drift_sd_per_h=0.0)
    assert found.contrasts[0].delta_cda_m2 == pytest.approx((other.params[1] - other.params[0]) / 100.0, rel=1e-4)
    assert found.lap_scatter_m2 == pytest.approx(np.sqrt(other.scale) / 100.0, rel=1e-3)
    c = np.array([-1.0, 1.0])
    other_se = float(np.sqrt(c @ other.cov_params()[:2, :2] @ c)) / 100.0
    assert found.contrasts[0].se_m2 == pytest.approx(other_se, rel=1e-3)  # balanced: Kenward and Roger add nothing


def test_a_stint_each_tells_nothing_of_stints():
    table = laps([0.25, 0.251, 0.249, 0.24, 0.241, 0.239], "AAABBB", lasting_s=np.full(6, 25.0))
    plain = laps(table.cda_m2, table.setup)
    one, other = (compare_setups(t, baseline="A", setups=["A", "B"]).contrasts[0] for t in (table, plain))
    assert one == other
