"""Restricted likelihood and its estimate against dense algebra: all unknowns with priors are in the covariance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldaero.estimate.joint_fit.equations import CELLS
from fieldaero.estimate.joint_fit.likelihood import estimate
from fieldaero.estimate.joint_fit.noise import PARAMETERS, lap_covariance, prior_penalty
from fieldaero.estimate.joint_fit.noise_search import (
    active_parameters,
    cda_covariance,
    most_likely_noise,
    noise_uncertainty,
)
from fieldaero.estimate.joint_fit.problem import Problem
from tests.estimate.joint_fit.small_sessions import noise_parameters, plain_prior, random_segments

KINDS = [
    {"laps": 3},
    {"laps": 1},
    {"laps": 4, "braked": True},
    {"laps": 3, "air_speed": True},
    {"laps": 3, "air_speed": True, "braked": True, "unknown": True},
]


def small_problem(**what) -> Problem:
    """A small session with everything that ``estimate`` needs."""
    segments = random_segments(np.random.default_rng(31), **what)
    return Problem.about(
        segments,
        plain_prior(segments.per_lap),
        cda_m2=np.linspace(0.24, 0.28, segments.laps),
        wind_m_s=segments.expected_wind_m_s + np.array([0.2, 0.5]),
    )


def slow_wind_covariance(problem, theta):
    """Of the nodes of all laps in turn: exponential in the time between them."""
    nodes, segments = problem.nodes, problem.segments
    t, at = 0.0, []
    for k in range(segments.laps):
        at += [t + i * nodes.step_s[k] for i in range(nodes.count)]
        t = at[-1] + (nodes.gap_s[k] if k < segments.laps - 1 else 0.0)
    at = np.array(at)
    sd, tau = (np.exp(theta[[p.name for p in PARAMETERS].index(name)]) for name in ("slow_wind_sd_m_s", "slow_wind_s"))
    return sd**2 * np.exp(-np.abs(at[:, None] - at[None, :]) / tau)


def dense(problem, theta):
    """Minus the restricted log likelihood up to a constant, with the drag areas and their covariance."""
    e, prior, m = problem.equations, problem.prior, problem.nodes.count
    K, rows, _ = e.local.shape
    R = lap_covariance(theta, problem.segments, e, derivatives=False)[0]
    V, X, Z = np.zeros((K * rows, K * rows)), np.zeros((K * rows, K)), np.zeros((K * rows, K * 2 * m))
    for k in range(K):
        here = slice(k * rows, (k + 1) * rows)
        V[here, here] = R[k]
        X[here, k] = e.local[k, :, -1]
        Z[here, k * m : (k + 1) * m] = e.local[k, :, :m]
        Z[here, (K + k) * m : (K + k + 1) * m] = e.local[k, :, m : 2 * m]
    slow = slow_wind_covariance(problem, theta)
    V += Z @ np.kron(np.eye(2), slow) @ Z.T
    shared = e.shared.reshape(K * rows, -1)
    places = shared.shape[1] - CELLS - len(prior.height_information)
    spread = np.zeros((shared.shape[1],) * 2)
    spread[:CELLS, :CELLS] = np.diag(prior.sd**2)
    beyond = CELLS + len(prior.height_information)
    spread[CELLS:beyond, CELLS:beyond] = np.linalg.inv(prior.height_precision)
    spread[beyond:, beyond:] = prior.braking_sd_m_per_m**2 * np.eye(places)
    centre = np.concatenate(
        [
            prior.mean,
            np.linalg.solve(prior.height_precision, prior.height_information),
            np.full(places, prior.braking_mean_m_per_m),
        ]
    )
    V += shared @ spread @ shared.T
    y = e.right.ravel() - shared @ centre
    V_inv = np.linalg.inv(V)
    information = X.T @ V_inv @ X
    cda = np.linalg.solve(information, X.T @ V_inv @ y)
    left = y - X @ cda
    objective = 0.5 * (np.linalg.slogdet(V)[1] + np.linalg.slogdet(information)[1] + left @ V_inv @ left)
    wind = np.kron(np.eye(2), slow) @ Z.T @ V_inv @ left
    common = centre + spread @ shared.T @ V_inv @ left
    return objective + prior_penalty(theta)[0], cda, np.linalg.inv(information), wind.reshape(2, K, m), common


@pytest.mark.parametrize("what", KINDS)
def test_restricted_likelihood_is_that_of_the_dense_covariance_but_for_a_constant(what):
    problem = small_problem(**what)
    rng = np.random.default_rng(32)
    thetas = [noise_parameters(), *(noise_parameters() + 0.5 * rng.normal(size=(4, len(PARAMETERS))))]
    ours = np.array([estimate(t, problem).objective for t in thetas])
    expected = np.array([dense(problem, t)[0] for t in thetas])
    assert np.ptp(expected) > 1.0
    assert ours - ours[0] == pytest.approx(expected - expected[0], abs=1e-6)


@pytest.mark.parametrize("what", KINDS)
def test_estimates_are_the_dense_ones(what):
    problem = small_problem(**what)
    _, cda, covariance, wind, shared = dense(problem, noise_parameters())
    found, m = estimate(noise_parameters(), problem), problem.nodes.count
    assert found.local[:, -1] == pytest.approx(cda, abs=1e-8)
    assert cda_covariance(found)[0] == pytest.approx(covariance, rel=1e-6, abs=1e-12)
    assert found.local[:, :m] == pytest.approx(wind[0], abs=1e-7)
    assert found.local[:, m : 2 * m] == pytest.approx(wind[1], abs=1e-7)
    assert found.shared == pytest.approx(shared, abs=1e-7)


def test_likelihood_tells_winds_that_are_expected_from_winds_that_are_not():
    # The mean wind's prior counts in the likelihood: means tried one after the other are weighed by it.
    problem = small_problem(laps=3)
    near, far = estimate(noise_parameters(), problem).objective, []
    dense_near = dense(problem, noise_parameters())[0]
    for east in (3.0, -4.0):
        problem = replace(problem, prior=replace(problem.prior, mean=np.array([east, *problem.prior.mean[1:]])))
        far.append(estimate(noise_parameters(), problem).objective - near)
        assert far[-1] == pytest.approx(dense(problem, noise_parameters())[0] - dense_near, abs=1e-6)
    assert max(far) > 0.5


@pytest.mark.parametrize("what", KINDS)
def test_gradient_is_the_slope_of_the_likelihood(what):
    problem = small_problem(**what)
    theta, h = noise_parameters(gust_sd_m_s=0.2, slow_wind_sd_m_s=0.9), 1e-4
    found = estimate(theta, problem, gradient=True)
    numeric = np.array(
        [
            (estimate(theta + h * e, problem).objective - estimate(theta - h * e, problem).objective) / (2.0 * h)
            for e in np.eye(len(PARAMETERS))
        ]
    )
    assert found.gradient == pytest.approx(numeric, rel=2e-5, abs=2e-5)


def test_weighted_residual_is_what_is_left_over_its_variance():
    problem = small_problem(laps=3, braked=True)
    found, e = estimate(noise_parameters(), problem), problem.equations
    left = e.right - (e.local @ found.local[:, :, None])[:, :, 0] - e.shared @ found.shared
    R = lap_covariance(noise_parameters(), problem.segments, e, derivatives=False)[0]
    assert (R @ found.weighted_residual[:, :, None])[:, :, 0] == pytest.approx(left, abs=1e-9)


def test_parameters_of_causes_that_play_no_part_are_not_searched():
    def names(**what):
        return {PARAMETERS[i].name for i in active_parameters(random_segments(np.random.default_rng(1), **what))}

    every = {p.name for p in PARAMETERS}
    assert names() == every - {"brake_sd_m_per_sqrt_s", "air_speed_sd_m_s"}
    assert names(braked=True) == every - {"air_speed_sd_m_s"}
    assert names(braked=True, air_speed=True) == every


def test_the_search_ends_where_the_slope_is_zero():
    problem = small_problem(laps=4, braked=True)
    free = active_parameters(problem.segments)
    begin = noise_parameters()
    theta = most_likely_noise(begin, problem, steps=100)
    found = estimate(theta, problem, gradient=True)
    low, high = (np.log([getattr(p, end) for p in PARAMETERS]) for end in ("low", "high"))
    inside = np.array([i for i in free if low[i] < theta[i] < high[i]])
    assert found.objective < estimate(begin, problem).objective - 1.0
    assert found.gradient[inside] == pytest.approx(np.zeros(len(inside)), abs=0.05)
    idle = np.setdiff1d(np.arange(len(PARAMETERS)), free)
    assert np.array_equal(theta[idle], begin[idle])


def test_uncertainty_of_the_noise_is_the_inverse_curvature_of_the_likelihood():
    problem = small_problem(laps=5)
    free = active_parameters(problem.segments)
    theta = most_likely_noise(noise_parameters(), problem, steps=100)
    covariance, slopes = noise_uncertainty(theta, problem)
    h, unit = 0.02, np.eye(len(PARAMETERS))
    curvature = np.array(
        [
            [
                (
                    estimate(theta + h * (unit[i] + unit[j]), problem).objective
                    - estimate(theta + h * (unit[i] - unit[j]), problem).objective
                    - estimate(theta - h * (unit[i] - unit[j]), problem).objective
                    + estimate(theta - h * (unit[i] + unit[j]), problem).objective
                )
                / (4.0 * h * h)
                for j in free
            ]
            for i in free
        ]
    )
    assert np.linalg.eigvalsh(curvature).min() > 1.0 / max(p.log_sd for p in PARAMETERS) ** 2
    assert covariance[np.ix_(free, free)] == pytest.approx(np.linalg.inv(curvature), rel=0.02, abs=0.002)
    for i in free:
        ahead, behind = (dense(problem, theta + s * unit[i])[2] for s in (0.05, -0.05))
        assert slopes[i] == pytest.approx((ahead - behind) / 0.1, rel=1e-4, abs=1e-10)
    idle = np.setdiff1d(np.arange(len(PARAMETERS)), free)
    assert not covariance[idle].any()
    assert not slopes[idle].any()
