"""Which source of laps is taken when nobody says, and why."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from fieldaero.basics.errors import CannotAnswerError
from fieldaero.laps.lap_list import laps_as_found, list_laps
from fieldaero.physics.system import System
from fieldaero.rides import read_ride
from fieldaero.rides.ride import LapMark, Pause
from tests.cli.command_line import ride_csv


@pytest.fixture(scope="module")
def ride(tmp_path_factory):
    return read_ride(ride_csv(tmp_path_factory.mktemp("rides") / "ride.csv", laps=5))


def test_presses_that_give_repeated_laps_are_taken(ride):
    listing = list_laps(ride)
    assert listing.lap_source == "button"
    assert listing.complete == {1, 2, 3, 4, 5}
    assert "pressed 5 times" in listing.why


def test_marks_of_the_device_itself_are_no_presses(ride):
    marks = tuple(LapMark(start_s=100.0 * k, end_s=100.0 * (k + 1), trigger="distance") for k in range(6))
    listing = list_laps(replace(ride, lap_marks=marks))
    assert listing.lap_source == "repeat"
    assert listing.why.startswith("no lap was marked by hand")


def test_presses_at_odd_places_give_way_to_the_road(ride):
    edges = [0.0, 31.0, 200.0, 577.0, ride.duration_s]
    marks = tuple(LapMark(start_s=a, end_s=b, trigger="manual") for a, b in itertools.pairwise(edges))
    listing = list_laps(replace(ride, lap_marks=marks))
    assert listing.lap_source == "repeat"
    assert "pressed 3 times on the way, and that gives no repeated laps" in listing.why
    assert len(listing.complete) >= 4


def test_without_marks_and_positions_nothing_can_be_found(ride):
    table = ride.table.assign(latitude_deg=np.nan, longitude_deg=np.nan)
    with pytest.raises(CannotAnswerError, match=r"has no lap marks, and without positions"):
        list_laps(replace(ride, table=table, lap_marks=()))


def test_marks_as_they_are_can_be_had_where_nothing_repeats(ride):
    short = replace(ride, table=ride.table[ride.table["time_s"] < 140.0], pauses=())
    marks = (LapMark(start_s=0.0, end_s=60.0, trigger="manual"), LapMark(start_s=60.0, end_s=139.0, trigger="manual"))
    marked = replace(short, lap_marks=marks)
    with pytest.raises(CannotAnswerError, match='lap_source = "button"'):
        list_laps(marked)
    listing = list_laps(marked, lap_source="button")
    assert len(listing.laps) == 2


def test_power_that_a_flag_calls_false_is_left_out_of_the_mean(ride):
    frozen = ride.time_s % 400.0 < 10.0
    spoilt = list_laps(replace(ride, table=ride.table.assign(power_w=np.where(frozen, 900.0, ride.column("power_w")))))
    lost = list_laps(replace(ride, table=ride.table.assign(power_w=np.where(frozen, np.nan, ride.column("power_w")))))
    flagged = [lap for lap in spoilt.laps if "power_dropout" in lap.flag_names]
    assert flagged
    assert [spoilt.power_w(lap) for lap in flagged] == pytest.approx([lost.power_w(lap) for lap in flagged], rel=0.002)


def test_a_ride_without_power_is_listed_with_dashes(ride):
    bare = replace(ride, table=ride.table.assign(power_w=np.nan))
    listing = list_laps(bare)
    assert all(lap["power_w"] is None for lap in listing.to_dict()["laps"])
    row = next(line for line in listing.summary().splitlines() if line.startswith("  1  "))
    assert "—" in row


def test_a_ride_without_a_clock_is_told_by_its_own_time(ride):
    listing = list_laps(replace(ride, start_time=None))
    assert "start [into the ride]" in listing.summary()
    assert listing.to_dict()["laps"][0]["start"] is None


def test_what_the_reader_noted_is_passed_on(ride):
    noted = replace(
        ride, notes=("3 samples\x1b[2J left out",), pauses=(Pause(start_s=20.0, end_s=25.0, cause="timer"),)
    )
    text = list_laps(noted).summary()
    assert "About the file:\n  3 samples[2J left out" in text
    assert "lap 1: The timer was paused for 5 s" in text


def test_flagged_again_for_the_same_rider_and_air_it_is_the_same_listing_and_for_others_another(ride):
    found = laps_as_found(ride)
    usual, heavy = System(mass_kg=84.0), System(mass_kg=104.0)
    first = found.flagged(system=usual)
    assert found.flagged(system=usual) is first
    assert found.flagged(system=heavy) is not first
    assert found.flagged(system=usual, air_density_kg_m3=1.0) is not found.flagged(system=usual)
    assert found.flagged(system=usual) == first
