"""Solving with a chain of laps and a shared border: the same as with the dense matrix, at a cost that grows evenly."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldaero.estimate.joint_fit.block_tridiagonal import factor
from fieldaero.estimate.joint_fit.likelihood import estimate
from fieldaero.estimate.joint_fit.problem import Problem
from tests.estimate.joint_fit.small_sessions import noise_parameters, plain_prior, random_segments

systems = st.tuples(st.integers(1, 6), st.integers(2, 4), st.integers(1, 5), st.integers(0, 10_000))


def a_system(laps, nodes, border, seed):
    """Pieces of a positive definite H, and H itself, laid out as blocks of (nodes east, nodes north, drag area)."""
    rng = np.random.default_rng(seed)
    p = 2 * nodes + 1
    root = rng.normal(size=(laps, p, p + 3))
    blocks = root @ np.swapaxes(root, 1, 2) / p + 2.0 * np.eye(p)
    link = rng.uniform(0.1, 0.9, laps - 1)
    first, last = np.array([0, nodes]), np.array([nodes - 1, 2 * nodes - 1])
    coupling = rng.normal(size=(laps, p, border))
    T = np.zeros((laps * p, laps * p))
    for k in range(laps):
        T[k * p : (k + 1) * p, k * p : (k + 1) * p] = blocks[k]
    for k in range(laps - 1):
        for end, begin in zip(last, first, strict=True):
            T[k * p + end, (k + 1) * p + begin] = T[(k + 1) * p + begin, k * p + end] = -link[k]
    U = coupling.reshape(laps * p, border)
    S = U.T @ np.linalg.solve(T, U) + np.diag(rng.uniform(0.5, 2.0, border))
    pieces = {"blocks": blocks, "link": link, "first": first, "last": last, "coupling": coupling, "border": S}
    return pieces, T, np.block([[T, U], [U.T, S]])


@settings(max_examples=40)
@given(systems)
def test_solution_is_that_of_the_dense_matrix(size):
    pieces, _, H = a_system(*size)
    laps, p, b = pieces["coupling"].shape
    rng = np.random.default_rng(1)
    local, shared = rng.normal(size=(laps, p, 2)), rng.normal(size=(b, 2))
    x, z = factor(**pieces).solve(local, shared)
    dense = np.linalg.solve(H, np.vstack([local.reshape(laps * p, 2), shared]))
    assert x.reshape(laps * p, 2) == pytest.approx(dense[: laps * p], rel=1e-8, abs=1e-9)
    assert z == pytest.approx(dense[laps * p :], rel=1e-8, abs=1e-9)


@settings(max_examples=40)
@given(systems)
def test_solution_of_the_chain_alone_leaves_the_border_out(size):
    pieces, T, _ = a_system(*size)
    laps, p, b = pieces["coupling"].shape
    factors = factor(**pieces)
    right = np.random.default_rng(2).normal(size=(laps, p, 3))
    dense = np.linalg.solve(T, right.reshape(laps * p, 3))
    assert factors.solve_blocks(right).reshape(laps * p, 3) == pytest.approx(dense, rel=1e-8, abs=1e-9)
    across = np.linalg.solve(T, pieces["coupling"].reshape(laps * p, b))
    assert factors.across.reshape(laps * p, b) == pytest.approx(across, rel=1e-8, abs=1e-9)


@settings(max_examples=40)
@given(systems)
def test_log_determinant_is_that_of_the_dense_matrix(size):
    pieces, _, H = a_system(*size)
    sign, dense = np.linalg.slogdet(H)
    assert sign == 1.0
    assert factor(**pieces).log_determinant == pytest.approx(dense, rel=1e-9, abs=1e-9)


@settings(max_examples=40)
@given(systems)
def test_covariance_of_what_laps_share_is_the_corner_of_the_dense_inverse(size):
    pieces, T, H = a_system(*size)
    corner = np.linalg.inv(H)[len(T) :, len(T) :]
    assert factor(**pieces).border == pytest.approx(corner, rel=1e-7, abs=1e-9)


@settings(max_examples=40)
@given(systems)
def test_selected_covariances_are_those_of_the_dense_inverse(size):
    pieces, T, _ = a_system(*size)
    laps, p, _ = pieces["coupling"].shape
    dense = np.linalg.inv(T).reshape(laps, p, laps, p)
    diagonal, links = factor(**pieces).selected_inverse()
    assert links.shape == (laps - 1, 2, 2)
    for k in range(laps):
        assert diagonal[k] == pytest.approx(dense[k, :, k], rel=1e-8, abs=1e-10)
    for k in range(laps - 1):
        expected = dense[k][np.ix_(pieces["last"], [k + 1], pieces["first"])][:, 0]
        assert links[k] == pytest.approx(expected, rel=1e-8, abs=1e-10)


def test_the_pieces_handed_in_stay_as_they_are():
    pieces, _, _ = a_system(4, 3, 2, 7)
    before = {name: value.copy() for name, value in pieces.items()}
    factors = factor(**pieces)
    right = np.ones((4, 7, 1))
    factors.solve(right, np.ones((2, 1)))
    factors.selected_inverse()
    assert all(np.array_equal(pieces[name], before[name]) for name in pieces)
    assert np.array_equal(right, np.ones((4, 7, 1)))


@pytest.mark.parametrize("where", ["first block", "link", "border"])
def test_a_matrix_that_is_not_positive_definite_is_refused(where):
    pieces, _, _ = a_system(3, 2, 2, 3)
    if where == "first block":
        pieces["blocks"][0] -= 50.0 * np.eye(5)
    elif where == "link":
        pieces["link"] = pieces["link"] + 50.0
    else:
        pieces["border"] = pieces["border"] - 50.0 * np.eye(2)
    with pytest.raises(np.linalg.LinAlgError):
        factor(**pieces)


def _arrays(factors):
    return sum(getattr(factors, name).nbytes for name in ("inverse", "link", "across", "border"))


def test_size_of_the_factors_grows_with_the_number_of_laps():
    few, twice, thrice = (_arrays(factor(**a_system(laps, 3, 4, 5)[0])) for laps in (10, 20, 30))
    assert thrice - twice == twice - few
    assert twice < 2.0 * few


def _peak_bytes(laps):
    segments = random_segments(np.random.default_rng(3), laps=laps, per_lap=20)
    cda, wind = np.full(laps, 0.26), segments.expected_wind_m_s
    tracemalloc.start()
    try:
        problem = Problem.about(segments, plain_prior(20), cda_m2=cda, wind_m_s=wind)
        estimate(noise_parameters(), problem, gradient=True)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_memory_of_one_solution_grows_with_the_number_of_laps():
    _peak_bytes(5)  # what is allocated once and for all
    few, many = _peak_bytes(60), _peak_bytes(120)
    # With anything of the size of the session squared, twice the laps would take nearly four times the memory.
    assert 1.5 * few < many < 2.1 * few
