"""The page of laps and setups: picking, giving, patterns, sources, setups, undo."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldaero.draft.draft import DraftLap
from fieldaero.rides import read_ride
from fieldaero.rides.csv_out import write_csv
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder
from tests.ui.pages import drawn, opened, words

RIDE = "morning.fit"


@pytest.fixture
def laps():
    return opened("laps")


def draft_of(at):
    return at.session_state["the_draft"]


def key_of(elements, start):
    return next(element.key for element in elements if (element.key or "").startswith(start))


def picked(at, *numbers):
    at.multiselect(key=key_of(at.multiselect, "picked")).set_value([DraftLap(ride=RIDE, lap=k) for k in numbers]).run()
    drawn(at)
    return at


def setups_of(at, *numbers):
    return [draft_of(at).setup_of(DraftLap(ride=RIDE, lap=k)) for k in numbers]


def test_without_a_ride_the_page_shows_the_way():
    at = opened("laps", sample=False)
    assert "There is no ride yet" in at.info[0].value
    at.button(key="load_sample").click().run()
    drawn(at)
    assert "Balance of the design" in [element.value for element in at.header]


def test_picked_laps_are_given_to_a_setup_and_it_can_be_taken_back(laps):
    at = picked(laps, 3, 4, 5)
    at.selectbox(key=key_of(at.selectbox, "give_to")).set_value("narrow extensions").run()
    at.button(key="give").click().run()
    assert setups_of(at, 3, 4, 5, 6) == ["narrow extensions"] * 4
    at.button(key="take_back").click().run()
    assert setups_of(at, 3, 4, 5) == ["road bar", "low extensions", "narrow extensions"]


def test_a_pattern_is_laid_over_the_picked_laps(laps):
    at = picked(laps, 3, 4, 5, 6)
    at.selectbox(key=key_of(at.selectbox, "pattern")).set_value("A B C").run()
    at.button(key="lay").click().run()
    assert setups_of(at, 3, 4, 5, 6) == ["road bar", "low extensions", "narrow extensions", "road bar"]


def test_whole_laps_without_a_flag_are_picked_in_one_click(laps):
    laps.button(key="pick_good").click().run()
    numbers = [lap.lap for lap in laps.multiselect(key=key_of(laps.multiselect, "picked")).value]
    assert 11 not in numbers
    assert set(numbers) <= set(range(2, 16))
    assert len(numbers) >= 10


def test_the_balance_follows_the_choice(laps):
    assert "Order ridden: A B C C B A A B C B A" in words(laps)
    at = picked(laps, 4)
    at.selectbox(key=key_of(at.selectbox, "give_to")).set_value("-").run()
    at.button(key="give").click().run()
    assert "Order ridden: A C C B A A B C B A" in words(at)


def test_a_lap_alone_is_told(laps):
    at = picked(laps, 5, 6)
    at.selectbox(key=key_of(at.selectbox, "give_to")).set_value("-").run()
    at.button(key="give").click().run()
    assert "One lap only: narrow extensions" in words(at)


def test_laps_found_in_another_way_are_given_anew(laps):
    at = laps
    at.radio(key=key_of(at.radio, "lap_source")).set_value("repeat").run()
    drawn(at)
    assert draft_of(at).rides[0].lap_source == "repeat"
    assert set(draft_of(at).rides[0].setups) == {"-"}


def test_a_start_line_is_set_from_the_start_of_a_lap(laps):
    at = laps
    at.radio(key=key_of(at.radio, "lap_source")).set_value("line").run()
    at.selectbox(key=key_of(at.selectbox, "line_at")).set_value("the start of lap 5").run()
    at.button(key=f"cut_{RIDE}").click().run()
    drawn(at)
    assert draft_of(at).rides[0].start_line is not None
    assert len(draft_of(at).laps) >= 12


def test_a_line_beside_the_road_says_what_to_do_and_the_step_can_be_taken_back(laps):
    at = laps
    at.radio(key=key_of(at.radio, "lap_source")).set_value("line").run()
    next(field for field in at.number_input if field.label == "Latitude [°]").set_value(0.0)
    next(button for button in at.button if button.label == "Cut the laps at this line").click().run()
    drawn(at)
    assert any("The ride passes the start line never" in error.value for error in at.error)
    at.button(key="take_back").click().run()
    assert not at.error


@pytest.mark.parametrize("what", ["speed", "power", "recorded elevation", "virtual elevation"])
def test_every_trace_can_be_shown(laps, what):
    laps.radio(key="trace").set_value(what).run()
    drawn(laps)
    assert not laps.error
    assert ("not the result" in words(laps)) == (what == "virtual elevation")


def test_setups_are_added_renamed_and_removed(laps):
    at = laps
    at.button(key="add_setup").click().run()
    assert draft_of(at).setups[-1] == "setup 4"
    at.text_input(key=key_of(at.text_input, "setup_name_3")).set_value("bare hands").run()
    assert draft_of(at).setups[-1] == "bare hands"
    at.button(key="setup_gone_3").click().run()
    assert draft_of(at).setups == ("road bar", "low extensions", "narrow extensions")


def test_a_name_that_is_taken_is_refused_with_a_sentence_and_changes_nothing(laps):
    laps.text_input(key=key_of(laps.text_input, "setup_name_1")).set_value("road bar").run()
    assert any("cannot name a setup" in error.value for error in laps.error)
    assert draft_of(laps).setups[1] == "low extensions"
    assert laps.text_input(key=key_of(laps.text_input, "setup_name_1")).value == "low extensions"


def test_the_baseline_is_chosen(laps):
    laps.selectbox(key=key_of(laps.selectbox, "baseline")).set_value("low extensions").run()
    assert draft_of(laps).baseline == "low extensions"


def test_flags_open_with_their_evidence(laps):
    assert "Stood or crept below 1 m/s" in words(laps)


def test_what_is_given_outlives_a_page_switch(laps):
    at = picked(laps, 3)
    at.selectbox(key=key_of(at.selectbox, "give_to")).set_value("low extensions").run()
    at.button(key="give").click().run()
    at.switch_page("screens/rides.py").run()
    at.switch_page("screens/laps.py").run()
    assert setups_of(at, 3) == ["low extensions"]
    assert [lap.lap for lap in at.multiselect(key=key_of(at.multiselect, "picked")).value] == [3]


def csv_of(rows):
    return "\n".join(["time_s,speed_m_s,power_w", *rows]).encode()


def with_file(name, content):
    at = opened("rides", sample=False)
    at.file_uploader(key="drop_0").set_value([(name, content, "text/csv")]).run()
    at.switch_page("screens/laps.py").run()
    drawn(at)
    return at


def test_a_ride_in_which_no_lap_was_found_says_why_and_shows_its_trace():
    at = with_file("straight.csv", csv_of(f"{t},10.0,{200 + t % 7}" for t in range(600)))
    assert any("No laps found" in error.value for error in at.error)
    assert at.button(key="pick_good").disabled
    assert "Lap by lap" not in [element.value for element in at.header]


def test_a_trace_that_the_ride_does_not_hold_is_told():
    at = with_file("straight.csv", csv_of(f"{t},10.0,{200 + t % 7}" for t in range(600)))
    at.radio(key="trace").set_value("recorded elevation").run()
    assert any("holds no elevation" in info.value for info in at.info)
    at.radio(key="trace").set_value("virtual elevation").run()
    assert any("no lap with power" in info.value for info in at.info)


def halves():
    """The sample's ride as if the device had been stopped in the middle, as two files."""
    ride = read_ride(sample_folder() / RIDE)
    for name, low, high in (("first.csv", 0.0, 1700.0), ("second.csv", 1700.0, 4000.0)):
        table = ride.table[(ride.table["time_s"] >= low) & (ride.table["time_s"] < high)].reset_index(drop=True)
        marks = tuple(m for m in ride.lap_marks if m.start_s >= low and m.end_s <= high)
        yield name, replace(ride, table=table, lap_marks=marks)


def test_two_rides_are_shown_one_at_a_time_and_listed_together(tmp_path):
    files = []
    for name, ride in halves():
        write_csv(ride, tmp_path / name)
        files.append((name, (tmp_path / name).read_bytes(), "text/csv"))
    at = opened("rides", sample=False)
    at.file_uploader(key="drop_0").set_value(files).run()
    assert not at.error
    at.switch_page("screens/laps.py").run()
    drawn(at)
    assert [ride.name for ride in draft_of(at).rides] == ["first.csv", "second.csv"]
    options = at.multiselect(key=key_of(at.multiselect, "picked")).options
    assert any(option.startswith("second.csv lap 1") for option in options)
    at.selectbox(key="ride_shown").set_value("second.csv").run()
    drawn(at)
    assert key_of(at.radio, "lap_source").startswith("lap_source_second.csv")
    at.button(key="pick_good").click().run()
    at.button(key="give").click().run()
    assert all("baseline" in ride.setups for ride in draft_of(at).rides)


def test_the_run_sheet_can_be_saved_from_this_page_and_holds_what_was_chosen(laps):
    at = picked(laps, 3)
    at.selectbox(key=key_of(at.selectbox, "give_to")).set_value("-").run()
    at.button(key="give").click().run()
    assert at.get("download_button")[0].proto.label == "Save the run sheet"
    assert (
        draft_of(at).sheet_text().count('"road bar"')
        == opened("laps").session_state["the_draft"].sheet_text().count('"road bar"') - 1
    )


def test_a_run_sheet_is_opened_from_any_page():
    at = opened("laps", sample=False)
    names = (RIDE, SAMPLE_SHEET)
    files = [(name, (sample_folder() / name).read_bytes(), "application/octet-stream") for name in names]
    at.file_uploader(key="open_sheet_0").set_value(files).run()
    drawn(at)
    assert draft_of(at).baseline == "road bar"
