"""How a lap is cut, and what the pieces hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.estimate.cut_laps import fittable_laps
from fieldaero.estimate.joint_fit.segments import road_cells
from fieldaero.simulator import Sensors
from tests.estimate.joint_fit.fitted_sessions import BREEZE, plain_session, segments_of, simulated
from tests.simulator.sessions import LOOP, OUT_AND_BACK

lengths = st.floats(200.0, 20_000.0)
counts = st.integers(1, 240)
shares = st.floats(0.0, 0.999)


@given(lengths, counts)
def test_a_loop_is_cut_into_equal_pieces(length, count):
    cells = road_cells(length_m=length, segments=count)
    assert cells.count == count
    assert cells.twins is None
    assert cells.edge_m[0] == 0.0
    assert cells.edge_m[-1] == length
    assert np.diff(cells.edge_m) == pytest.approx(np.full(count, length / count))


@given(lengths, counts, shares)
def test_a_road_there_and_back_is_cut_from_start_to_finish(length, count, turn):
    cells = road_cells(length_m=length, segments=count, turn_position_m=turn * length)
    assert cells.edge_m[0] == 0.0
    assert cells.edge_m[-1] == length
    assert np.all(np.diff(cells.edge_m) > 0.0)
    assert count <= cells.count <= max(count, 2) + 2


@given(lengths, counts, shares)
def test_every_cell_of_a_road_there_and_back_lies_on_one_stretch(length, count, turn):
    cells = road_cells(length_m=length, segments=count, turn_position_m=turn * length)
    assert np.array_equal(cells.twins.sum(axis=0), np.ones(cells.count))


@given(lengths, counts, shares)
def test_a_stretch_is_as_long_there_as_back(length, count, turn):
    at = turn * length
    cells = road_cells(length_m=length, segments=count, turn_position_m=at)
    # With the road's far end at the turn, half the lap is ridden towards it and half away from it.
    away = (cells.middle_m - at) % length < length / 2.0
    lasting = np.diff(cells.edge_m)
    there, back = cells.twins @ (lasting * ~away), cells.twins @ (lasting * away)
    assert there == pytest.approx(back, rel=1e-4, abs=1e-4)
    assert there == pytest.approx(np.full(len(there), length / len(cells.twins) / 2.0), rel=1e-4, abs=1e-4)


@given(lengths, counts, shares)
def test_the_place_across_the_road_lies_on_the_same_stretch(length, count, turn):
    at = turn * length
    cells = road_cells(length_m=length, segments=count, turn_position_m=at)
    across = (2.0 * at - cells.middle_m) % length
    other = np.clip(np.searchsorted(cells.edge_m, across, side="right") - 1, 0, cells.count - 1)
    assert np.array_equal(np.argmax(cells.twins, axis=0), np.argmax(cells.twins, axis=0)[other])


def test_one_segment_is_the_least():
    assert road_cells(length_m=500.0, segments=0).count == 1
    assert road_cells(length_m=500.0, segments=0, turn_position_m=250.0).count == 2


# Segments of a simulated session.

COURSES = [LOOP, OUT_AND_BACK]
WINDY = {"wind": BREEZE, "sensors": Sensors(air_speed=True)}


def at_edges(seed, column, **changes):
    """A true quantity of the motion at the edges of all segments, shape (laps, segments + 1)."""
    made, segments = simulated(seed, **changes), segments_of(seed, **changes)
    edge = np.concatenate([segments.start_s[:, None], segments.start_s[:, None] + segments.duration_s.cumsum(1)], 1)
    # The ride's clock starts with its first sample, a second of the motion's or more after that.
    begun = made.motion.lap_start_s[0] - made.truth.lap_start_s[0]
    return np.interp(edge + begun, made.motion.time_s, getattr(made.motion, column))


def unbraked(segments):
    """Cells where nobody brakes, shape (n,); the second in which brakes go on or off may lie beside a braked one."""
    free = ~np.any(segments.braked_s > 0.0, axis=0)
    return free & np.roll(free, -1) & np.roll(free, 1)


@pytest.mark.parametrize("course", COURSES)
def test_segments_of_a_lap_hold_all_of_it(course):
    segments, session = segments_of(1, course=course, **WINDY), plain_session(1, course=course, **WINDY)
    balance = session.rides[0].balance
    for k, lap in enumerate(fittable_laps(session)):
        start, end = lap.lap.start_s, lap.lap.end_s
        assert segments.duration_s[k].sum() == pytest.approx(end - start)
        assert segments.base_m[k].sum() == pytest.approx(balance.total(balance.base_m, start, end), abs=1e-9)
        assert segments.roll_m[k].sum() == pytest.approx(balance.total(balance.distance_m, start, end))
        assert segments.start_s[k] == start
        assert segments.end_s[k] == pytest.approx(end)


@pytest.mark.parametrize("course", COURSES)
def test_kinetic_energy_of_a_segment_is_what_the_speeds_at_its_ends_differ_by(course):
    segments, session = segments_of(1, course=course), plain_session(1, course=course)
    system, v = session.run_sheet.system, at_edges(1, "speed_m_s", course=course)
    inert = (system.mass_kg + system.rotating_mass_kg) / (system.mass_kg * session.gravity_m_s2)
    gained = 0.5 * inert * np.diff(v**2, axis=1)
    assert np.ptp(gained) > 0.5
    # Speed is taken for a straight line between samples, which it is not where brakes go on and off.
    free = unbraked(segments)
    assert segments.kinetic_m[:, free] == pytest.approx(gained[:, free], abs=0.02)
    assert segments.work_m - segments.kinetic_m == pytest.approx(segments.base_m, abs=1e-9)


@pytest.mark.parametrize("course", COURSES)
def test_a_cell_is_the_same_piece_of_road_in_every_lap(course):
    segments = segments_of(1, course=course)
    position = at_edges(1, "position_m", course=course)
    position = position - np.round(position[:, :1] / course.length_m) * course.length_m
    assert np.ptp(position, axis=0).max() < 0.5
    # The line found by position lies within some 3 m of where the simulation has it.
    assert position == pytest.approx(np.broadcast_to(segments.cells.edge_m, position.shape), abs=3.0)


@pytest.mark.parametrize("course", COURSES)
def test_laps_agree_on_the_height_of_every_cell(course):
    segments, truth = segments_of(1, course=course), simulated(1, course=course).truth
    cda = np.array(truth.lap_cda_m2)[:, None]
    free = unbraked(segments)
    rise = segments.base_m - cda * segments.still_air_m_per_m2 - truth.crr * segments.roll_m
    assert np.ptp(rise, axis=0)[free].max() < 0.05
    edges = np.interp(segments.cells.edge_m, truth.profile_position_m, truth.profile_height_m)
    assert np.median(rise, axis=0)[free] == pytest.approx(np.diff(edges)[free], abs=0.05)


def test_twins_gain_opposite_heights():
    segments, truth = segments_of(1, course=OUT_AND_BACK), simulated(1, course=OUT_AND_BACK).truth
    edges = np.interp(segments.cells.edge_m, truth.profile_position_m, truth.profile_height_m)
    rise = np.diff(edges)
    assert np.abs(rise).max() > 0.3
    assert segments.cells.twins @ rise == pytest.approx(np.zeros(len(segments.cells.twins)), abs=0.15)


def test_only_a_road_there_and_back_has_twins():
    assert segments_of(1, course=LOOP).cells.twins is None


def test_there_and_back_are_ridden_in_opposite_directions():
    segments = segments_of(1, course=OUT_AND_BACK)
    heading = segments.heading[0]
    for row in segments.cells.twins[1:-1]:
        there, back = np.flatnonzero(row)[[0, -1]]
        assert heading[there] @ heading[back] < -0.95
    assert np.linalg.norm(segments.heading, axis=2) == pytest.approx(np.ones((4, segments.per_lap)))


def test_recorded_air_speed_is_averaged_over_each_segment():
    segments = segments_of(1, **WINDY)
    assert segments.has_air_speed
    assert not segments_of(1).has_air_speed
    made = simulated(1, **WINDY)
    begun = made.motion.lap_start_s[0] - made.truth.lap_start_s[0]
    t, air = made.motion.time_s, made.motion.air_speed_m_s
    for j in (0, 11, 30):
        middle, half = segments.middle_s[1, j] + begun, segments.duration_s[1, j] / 2.0
        inside = (t > middle - half) & (t <= middle + half)
        assert segments.air_speed_m_s[1, j] == pytest.approx(air[inside].mean(), rel=0.03)


def test_brakes_are_kept_with_the_place_where_they_were_used():
    segments = segments_of(2, braked_laps=(3,))
    assert segments.braked_s[[0, 1, 3]].sum() == 0.0
    assert 1.0 < segments.braked_s[2].sum() < 12.0
    assert np.count_nonzero(segments.braked_s[2]) <= 3
    assert np.array_equal(segments.braked_m > 0.0, segments.braked_s > 0.0)
