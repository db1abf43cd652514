"""The linear equations against the full ones, which are written out here once more."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldaero.estimate.joint_fit.equations import (
    AIR_SCALE,
    CELLS,
    CRR,
    MEAN_EAST,
    MEAN_NORTH,
    NODE_S,
    linearise,
    wind_nodes,
)
from tests.estimate.joint_fit.small_sessions import random_segments


def a_session(**what):
    segments = random_segments(np.random.default_rng(21), **({"braked": True, "air_speed": True} | what))
    return segments, wind_nodes(segments)


def wind_of(segments, nodes, local, shared):
    """Wind of each segment: expected, mean and slow departure, the last read between its nodes."""
    m = nodes.count
    slow = np.empty((*segments.base_m.shape, 2))
    for k in range(segments.laps):
        at = segments.start_s[k] + nodes.step_s[k] * np.arange(m)
        for i in (0, 1):
            slow[k, :, i] = np.interp(segments.middle_s[k], at, local[k, i * m : (i + 1) * m])
    return segments.expected_wind_m_s + shared[[MEAN_EAST, MEAN_NORTH]] + slow


def energy_base(segments, nodes, local, shared):
    """What the energy balance says the base is, in full; nothing in it is linear in the wind."""
    w = wind_of(segments, nodes, local, shared)
    n = segments.per_lap
    drag = (
        segments.still_air_m_per_m2
        - 2.0 * np.sum(w * segments.wind_first, axis=2)
        + np.sum(w**2, axis=2) * segments.wind_second
    )
    lost = np.zeros(n)
    lost[np.any(segments.braked_s > 0.0, axis=0)] = shared[CELLS + n :]
    return local[:, -1:] * drag + shared[CRR] * segments.roll_m + lost * segments.braked_m + shared[CELLS : CELLS + n]


def air_speed(segments, nodes, local, shared):
    flow = segments.speed_m_s[:, :, None] * segments.heading - wind_of(segments, nodes, local, shared)
    return (1.0 + shared[AIR_SCALE]) * np.linalg.norm(flow, axis=2)


def unknowns(segments, nodes):
    rng = np.random.default_rng(22)
    m, n = nodes.count, segments.per_lap
    local = np.concatenate(
        [0.5 * rng.normal(size=(segments.laps, 2 * m)), rng.uniform(0.2, 0.3, (segments.laps, 1))], 1
    )
    places = int(np.sum(np.any(segments.braked_s > 0.0, axis=0)))
    shared = np.concatenate([[0.8, -0.4, 0.0045, 0.0], rng.normal(size=n), rng.uniform(0.0, 0.3, places)])
    return local, shared


def full_rows(segments, nodes, local, shared):
    rows = energy_base(segments, nodes, local, shared)
    if segments.has_air_speed:
        known = np.isfinite(segments.air_speed_m_s)
        rows = np.concatenate([rows, np.where(known, air_speed(segments, nodes, local, shared), 0.0)], axis=1)
    return rows


def linear_at(segments, nodes, local, shared):
    return linearise(segments, nodes, cda_m2=local[:, -1], wind_m_s=wind_of(segments, nodes, local, shared))


@pytest.mark.parametrize("with_air_speed", [False, True])
def test_columns_are_the_slopes_of_the_full_equations(with_air_speed):
    segments, nodes = a_session(air_speed=with_air_speed)
    local, shared = unknowns(segments, nodes)
    equations = linear_at(segments, nodes, local, shared)
    h = 1e-5

    def slope(d_local, d_shared):
        ahead = full_rows(segments, nodes, local + h * d_local, shared + h * d_shared)
        behind = full_rows(segments, nodes, local - h * d_local, shared - h * d_shared)
        return (ahead - behind) / (2.0 * h)

    for j in range(local.shape[1]):
        one = np.zeros_like(local)
        one[:, j] = 1.0
        expected = slope(one, np.zeros_like(shared))
        assert equations.local[:, :, j] == pytest.approx(expected, rel=1e-6, abs=1e-7)
    for j in range(len(shared)):
        if j == AIR_SCALE and not with_air_speed:
            continue
        expected = slope(np.zeros_like(local), np.eye(len(shared))[j])
        assert equations.shared[:, :, j] == pytest.approx(expected, rel=1e-6, abs=1e-7)


@pytest.mark.parametrize("with_air_speed", [False, True])
def test_the_point_of_linearisation_leaves_what_the_full_equations_leave(with_air_speed):
    segments, nodes = a_session(air_speed=with_air_speed)
    local, shared = unknowns(segments, nodes)
    equations = linear_at(segments, nodes, local, shared)
    left = equations.right - (equations.local @ local[:, :, None])[:, :, 0] - equations.shared @ shared
    measured = segments.base_m
    if with_air_speed:
        measured = np.concatenate([measured, np.nan_to_num(segments.air_speed_m_s)], axis=1)
    assert left == pytest.approx(measured - full_rows(segments, nodes, local, shared), abs=1e-10)


def test_in_still_air_the_drag_areas_column_is_that_of_still_air():
    segments, nodes = a_session()
    still = np.zeros_like(segments.expected_wind_m_s)
    equations = linearise(segments, nodes, cda_m2=np.full(segments.laps, 0.25), wind_m_s=still)
    assert np.array_equal(equations.local[:, : segments.per_lap, -1], segments.still_air_m_per_m2)


def test_a_head_wind_adds_to_the_drag_and_a_tail_wind_takes_from_it():
    segments, nodes = a_session()
    cda = np.full(segments.laps, 0.25)
    for along in (-2.0, 2.0):
        equations = linearise(segments, nodes, cda_m2=cda, wind_m_s=along * segments.heading)
        more = equations.local[:, : segments.per_lap, -1] > segments.still_air_m_per_m2
        assert np.all(more == (along < 0.0))


def test_sensitivity_is_the_change_per_metre_per_second_along_the_travel():
    segments, nodes = a_session()
    local, shared = unknowns(segments, nodes)
    equations = linear_at(segments, nodes, local, shared)
    h = 1e-5
    pushed = [
        full_rows(
            replace(segments, expected_wind_m_s=segments.expected_wind_m_s + s * segments.heading), nodes, local, shared
        )
        for s in (h, -h)
    ]
    slope = (pushed[0] - pushed[1]) / (2.0 * h)
    assert equations.wind_sensitivity == pytest.approx(slope, rel=1e-6, abs=1e-8)


def test_without_an_air_speed_there_are_rows_of_energy_alone():
    segments, nodes = a_session(air_speed=False)
    equations = linearise(segments, nodes, cda_m2=np.full(segments.laps, 0.25), wind_m_s=segments.expected_wind_m_s)
    assert equations.right.shape == (segments.laps, segments.per_lap)
    assert equations.air_speed_known is None


def test_an_air_speed_in_less_than_half_of_the_segments_is_left_alone():
    segments, _ = a_session()
    few = np.where(np.arange(segments.per_lap) < 2, segments.air_speed_m_s, np.nan)
    assert segments.has_air_speed
    assert not replace(segments, air_speed_m_s=few).has_air_speed


def test_each_braked_place_has_one_loss_that_all_laps_share():
    segments, nodes = a_session(air_speed=False)
    equations = linearise(segments, nodes, cda_m2=np.full(segments.laps, 0.25), wind_m_s=segments.expected_wind_m_s)
    places = np.flatnonzero(segments.braked_s.sum(axis=0))
    columns = equations.shared[:, :, CELLS + segments.per_lap :]
    assert columns.shape[2] == len(places) == 2
    for column, place in enumerate(places):
        assert np.array_equal(columns[:, place, column], segments.braked_m[:, place])
        assert np.all(np.delete(columns[:, :, column], place, axis=1) == 0.0)


def test_wind_that_changes_evenly_is_read_off_its_nodes_exactly():
    segments, nodes = a_session()
    at = segments.start_s[:, None] + nodes.step_s[:, None] * np.arange(nodes.count)
    line = 0.3 - 0.002 * at
    assert (nodes.weight @ line[:, :, None])[:, :, 0] == pytest.approx(0.3 - 0.002 * segments.middle_s)


def test_nodes_lie_no_further_apart_than_meant_and_span_every_lap():
    segments, nodes = a_session(laps=5)
    lasting = segments.end_s - segments.start_s
    assert nodes.step_s * (nodes.count - 1) == pytest.approx(lasting)
    assert np.median(nodes.step_s) <= NODE_S
    assert nodes.gap_s == pytest.approx(np.maximum(segments.start_s[1:] - segments.end_s[:-1], 1.0))


def test_laps_without_a_gap_keep_their_nodes_apart():
    segments, _ = a_session()
    touching = replace(segments, start_s=np.append(segments.start_s[0], segments.end_s[:-1]))
    assert np.all(wind_nodes(touching).gap_s >= 1.0)


def test_a_single_lap_has_no_gap():
    segments, nodes = a_session(laps=1)
    assert nodes.gap_s.shape == (0,)
    assert nodes.weight.shape[:2] == (1, segments.per_lap)


def test_the_change_of_grade_over_each_cell_is_read_off_the_laps():
    # Heights h(x) = sin(2 pi x / L) on a ring, ridden in equal steps: a cell's rise changes by h'' times its length.
    segments, _ = a_session(laps=5, per_lap=60)
    length = float(np.sum(segments.roll_m[0]))
    edge = np.linspace(0.0, length, 61)
    rise = np.diff(4.0 * np.sin(2.0 * np.pi * edge / length))
    even = np.full((5, 60), length / 60.0)
    segments = replace(segments, roll_m=even, base_m=0.25 * segments.still_air_m_per_m2 + 0.0045 * even + rise)
    found = linearise(
        segments, wind_nodes(segments), cda_m2=np.full(5, 0.25), wind_m_s=np.zeros((5, 60, 2))
    ).shift_sensitivity
    k = 2.0 * np.pi / length
    expected = np.diff(4.0 * k * np.cos(k * edge))
    assert found == pytest.approx(expected, abs=0.01 * np.max(np.abs(expected)))
    assert np.sum(found) == pytest.approx(0.0, abs=1e-12)


def test_a_place_that_no_lap_knows_has_no_part_in_a_shift():
    segments, _ = a_session(laps=3)
    unknown = segments.unknown_s.copy()
    unknown[:, 2] = 3.0
    found = linearise(
        replace(segments, unknown_s=unknown),
        wind_nodes(segments),
        cda_m2=np.full(3, 0.25),
        wind_m_s=np.zeros((*segments.base_m.shape, 2)),
    ).shift_sensitivity
    assert np.isfinite(found).all()
