"""Impossible values become missing, and nothing else."""

from __future__ import annotations

import pytest

from fieldaero.rides.repair.repair import LIMITS, without_absurd_values
from fieldaero.rides.ride import COLUMNS
from tests.rides.repair.samples import NAN, samples


@pytest.mark.parametrize("name", LIMITS)
def test_the_limits_themselves_are_possible_and_beyond_is_missing(name):
    low, high = LIMITS[name]
    place = {"latitude_deg": [10.0] * 4, "longitude_deg": [10.0] * 4}
    table = samples(range(4), **{**place, name: [low, high, low - 1.0, high + 1.0]})
    clean, notes = without_absurd_values(table)
    assert clean[name].isna().tolist() == [False, False, True, True]
    assert any(f"{name}: 2 values outside" in note for note in notes)


def test_half_a_position_is_none():
    clean, _ = without_absurd_values(samples(range(2), latitude_deg=[1.0, 1.0], longitude_deg=[NAN, 5.0]))
    assert clean["latitude_deg"].isna().tolist() == [True, False]


def test_the_given_samples_are_not_changed():
    table = samples(range(2), power_w=[9999.0, 1.0])
    without_absurd_values(table)
    assert table["power_w"].tolist() == [9999.0, 1.0]


def test_the_table_of_a_recording_has_all_columns_of_a_ride():
    assert tuple(samples([0.0])) == COLUMNS
