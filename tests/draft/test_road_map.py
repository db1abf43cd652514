"""The map is in metres, and a start line set on it cuts the laps where it lies."""

from __future__ import annotations

import numpy as np
import pytest

from fieldaero.basics.errors import RideError
from fieldaero.draft.road_map import start_line_at, track_map
from fieldaero.laps.lap_list import list_laps
from fieldaero.rides import read_ride, read_ride_bytes
from fieldaero.simulator.sample_folder import sample_folder


@pytest.fixture(scope="module")
def ride():
    return read_ride(sample_folder() / "morning.fit")


@pytest.fixture(scope="module")
def listing(ride):
    return list_laps(ride)


def test_the_map_is_as_large_as_the_course(ride, listing):
    found = track_map(ride, listing.laps)
    length = listing.course.length_m
    extent = max(np.ptp(found.east_m), np.ptp(found.north_m))
    # The way to the line and back belongs to the map as well.
    assert 0.2 * length < extent < 2.0 * length
    assert set(found.lap) >= {lap.number for lap in listing.laps[2:14]}


def test_a_moment_is_found_on_the_map(ride, listing):
    found = track_map(ride, listing.laps)
    assert abs(found.time_s[found.index_at(1000.4)] - 1000.4) < 5.0


def test_the_line_is_drawn_across_the_road(ride, listing):
    line = start_line_at(ride, listing.laps[4].start_s)
    found = track_map(ride, listing.laps, start_line=line)
    east, north = np.diff(found.line_east_m)[0], np.diff(found.line_north_m)[0]
    assert np.hypot(east, north) == pytest.approx(50.0)
    ahead = np.radians(line.heading_deg)
    assert east * np.sin(ahead) + north * np.cos(ahead) == pytest.approx(0.0, abs=1e-9)


def test_laps_cut_at_a_lap_s_start_are_the_laps_of_the_button(ride, listing):
    line = start_line_at(ride, listing.laps[4].start_s)
    again = list_laps(ride, lap_source="line", start_line=line)
    by_button = np.array([lap.start_s for lap in listing.laps if lap.number in listing.complete])
    by_line = np.array([lap.start_s for lap in again.laps])
    nearest = np.abs(by_button[:, None] - by_line).min(axis=1)
    assert np.median(nearest) < 1.0


def test_a_ride_without_positions_has_neither_map_nor_line():
    rows = "\n".join(f"{t},10.0,200" for t in range(60))
    bare = read_ride_bytes(f"time_s,speed_m_s,power_w\n{rows}".encode(), name="bare.csv")
    assert track_map(bare, ()) is None
    with pytest.raises(RideError, match="choose another place for the start line"):
        start_line_at(bare, 30.0)
