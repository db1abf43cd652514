"""How a lap is cut, and what the pieces hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.joint_fit import road_cells

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
