"""A ride's card tells what it has, what was repaired, and what its gaps mean."""

from __future__ import annotations

import pytest

from fieldaero.draft.ride_card import ride_card
from fieldaero.laps.lap_list import list_laps
from fieldaero.rides import read_ride, read_ride_bytes
from fieldaero.simulator.sample_folder import sample_folder


@pytest.fixture(scope="module")
def sample():
    ride = read_ride(sample_folder() / "morning.fit")
    return ride_card(ride, listing=list_laps(ride))


def bare_ride(columns="time_s,speed_m_s,power_w", row="{t},10.0,200"):
    text = "\n".join([columns, *(row.format(t=t) for t in range(120))])
    return read_ride_bytes(text.encode(), name="bare.csv")


def test_the_sample_has_all_that_a_test_wants(sample):
    assert {"power", "speed", "positions"} <= set(sample.sensors)
    assert sample.missing == ()
    assert sample.laps.startswith("16 laps by the lap button.")


def test_each_lack_says_what_it_means():
    card = ride_card(bare_ride(), listing=None, problem="no laps found")
    assert [lack.what for lack in card.missing] == ["positions", "time of day", "lap marks", "altitude"]
    assert all(lack.means.endswith(".") for lack in card.missing)
    assert card.laps == "no laps found"


def test_speed_worked_out_from_distance_is_no_sensor():
    ride = bare_ride("time_s,distance_m,power_w", "{t},{t}0,200")
    card = ride_card(ride, listing=None)
    assert "speed" not in card.sensors
    assert "recorded speed" in [lack.what for lack in card.missing]


def test_a_ride_at_ten_metres_a_second_is_as_long_as_that():
    assert ride_card(bare_ride(), listing=None).distance_m == pytest.approx(1190.0)


def test_what_the_reader_repaired_is_told():
    lines = ["time_s,speed_m_s,power_w", *(f"{t},10.0,{'' if t == 50 else 200 + t}" for t in range(120))]
    card = ride_card(read_ride_bytes("\n".join(lines).encode(), name="gap.csv"), listing=None)
    assert any("power is missing in 1 " in note for note in card.notes)
