"""What goes wrong ends in a sentence with what to do next, never in a traceback or a dead end."""

from __future__ import annotations

import pytest

from fieldaero.rides import read_ride, write_csv
from fieldaero.rides.ride import Ride
from tests.browser.steps import PAGES, expect

JPEG = bytes.fromhex("ffd8ffe000104a46494600010100000100010000") + bytes(400) + bytes.fromhex("ffd9")


@pytest.fixture
def visitor(window):
    opened = window().opens()
    yield opened
    shown = opened.page.content()
    assert "Traceback" not in shown
    assert "fault of the program" not in shown
    expect(opened.page.get_by_test_id("stException")).to_have_count(0)


def test_a_photograph_named_like_a_ride_is_refused_and_the_sample_still_loads(visitor, tmp_path):
    wrong = tmp_path / "holiday.fit"
    wrong.write_bytes(JPEG)
    visitor.drops(wrong).sees("Understood").idle()
    assert "FIT" in visitor.alerts()
    visitor.presses("Understood").idle()
    expect(visitor.page.get_by_text("holiday.fit")).to_have_count(0)
    visitor.loads_sample()


def test_a_ride_without_power_says_what_that_means_and_what_to_do(visitor, simulated, tmp_path):
    whole = read_ride(simulated / "ride.fit")
    table = whole.table.assign(power_w=float("nan"))
    ride = Ride(table=table, source=whole.source, lap_marks=whole.lap_marks, start_time=whole.start_time)
    write_csv(ride, tmp_path / "easy.csv")
    visitor.drops(tmp_path / "easy.csv").sees("Understood").idle()
    assert "no usable power in this file" in visitor.alerts()
    assert "Check that the meter was paired" in visitor.alerts()
    visitor.presses("Understood").idle()
    visitor.goes_to(PAGES[3]).presses("Load the sample session").sees_verdict()


def test_without_weather_the_result_says_which_numbers_to_give_and_where(visitor, simulated):
    visitor.drops(simulated / "ride.fit").sees("laps by the lap button").idle()
    visitor.types("Mass, all together [kg]", "84").idle()
    visitor.goes_to(PAGES[2]).presses("Pick all").idle()
    visitor.gives().sees("Order ridden").idle()
    visitor.goes_to(PAGES[3])
    told = visitor.alerts()
    assert "temperature, pressure and humidity" in told
    assert "[[" not in told
    visitor.click(visitor.page.get_by_role("link", name="Correct it in 2 Rides and weather"))
    visitor.sees_page(PAGES[1]).sees("Still missing")


def test_one_lap_alone_says_that_there_is_nothing_to_compare(visitor, simulated):
    visitor.drops(simulated / "ride.fit", simulated / "runsheet.toml").sees("Nothing is missing").idle()
    visitor.goes_to(PAGES[2]).presses("Pick all").idle()
    visitor.chooses("Give them to", 2).idle()
    visitor.gives().sees("No lap is given to a setup yet").idle()
    visitor.brushes(0.14, 0.26).sees("Give 1 lap").idle()
    visitor.chooses("Give them to", 0).idle()
    visitor.gives().sees("The scatter of a single lap is unknown").idle()
    visitor.goes_to(PAGES[3])
    shown = visitor.page.get_by_test_id("stMain").inner_text().lower()
    assert "nothing to compare" in shown or "two laps" in shown
    expect(visitor.page.get_by_role("link", name="3 Laps and setups").first).to_be_visible()
