"""The page of rides and weather: files of all kinds, fields, weather, what is still missing."""

from __future__ import annotations

import pytest

from fieldaero.run_sheet.schema import SystemTable, explained
from fieldaero.run_sheet.template import planned_run_sheet
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder
from tests.ui.pages import drawn, opened, words

RIDE = ("morning.fit", (sample_folder() / "morning.fit").read_bytes(), "application/octet-stream")
SHEET = (SAMPLE_SHEET, (sample_folder() / SAMPLE_SHEET).read_bytes(), "application/toml")
NOISE = ("holiday.jpg", b"\xff\xd8\xff\xe0" + bytes(range(256)), "image/jpeg")
NO_POWER = ("slow.csv", "\n".join(["time_s,speed_m_s", *(f"{t},10.0" for t in range(60))]).encode(), "text/csv")


def dropped(*files):
    at = opened("rides", sample=False)
    at.file_uploader(key="drop_0").set_value(list(files)).run()
    drawn(at)
    return at


def draft_of(at):
    return at.session_state["the_draft"]


def test_the_first_visit_offers_the_sample_in_one_click():
    at = opened("rides", sample=False)
    at.button(key="load_sample").click().run()
    drawn(at)
    assert len(draft_of(at).laps) == 16
    assert "Nothing is missing" in [element.value for element in at.header]


def test_an_empty_draft_says_what_is_missing_and_where():
    said = words(opened("rides", sample=False))
    assert "**Needed** (rides, above): There is no ride yet" in said
    assert "**Needed** (rider and bike, above): The mass is not given" in said
    assert "**Needed** (weather, above): No weather yet" in said


def test_each_refused_file_gets_its_sentence_and_the_others_are_read():
    at = dropped(NOISE, RIDE, NO_POWER)
    assert [ride.name for ride in draft_of(at).rides] == ["morning.fit"]
    assert len(at.error) == 2
    assert any("holiday.jpg" in error.value for error in at.error)
    assert any("slow.csv: " in error.value for error in at.error)
    at.button(key="understood").click().run()
    assert not at.error


def test_a_run_sheet_dropped_with_its_ride_opens():
    at = dropped(RIDE, SHEET)
    assert draft_of(at).baseline == "road bar"
    assert not at.error


def test_a_ride_can_be_removed_and_taken_back():
    at = dropped(RIDE)
    at.button(key="remove_morning.fit").click().run()
    assert draft_of(at).rides == ()
    at.button(key="take_back").click().run()
    assert len(draft_of(at).rides) == 1


def key_of(elements, start):
    return next(element.key for element in elements if (element.key or "").startswith(start))


def test_a_field_changes_the_run_sheet_and_undo_fills_it_again():
    at = opened("rides")
    at.number_input(key=key_of(at.number_input, "system_mass_kg")).set_value(79.2).run()
    assert draft_of(at).tables.system["mass_kg"] == 79.2
    at.button(key="take_back").click().run()
    assert at.number_input(key=key_of(at.number_input, "system_mass_kg")).value == 83.5


@pytest.mark.parametrize("place", ["pedal", "hub"])
def test_where_power_is_measured_is_chosen(place):
    at = opened("rides")
    at.selectbox(key=key_of(at.selectbox, "system_power_at")).set_value(place).run()
    assert draft_of(at).tables.system["power_at"] == place


def test_reports_need_the_elevation_and_then_give_a_density():
    at = dropped(RIDE)
    report = "METAR XXXX 030720Z 24005KT 9999 18/10 Q1021="
    at.text_area(key=key_of(at.text_area, "metar")).set_value(report).run()
    assert any("elevation" in info.value for info in at.info)
    at.number_input(key=key_of(at.number_input, "elevation")).set_value(120.0).run()
    drawn(at)
    assert "Air density over the ride" in words(at)
    assert draft_of(at).tables.weather == [{"metar": report}]


def test_reports_that_cannot_be_read_stay_and_are_told():
    at = dropped(RIDE)
    at.text_area(key=key_of(at.text_area, "metar")).set_value("sunny and warm").run()
    assert any("no report found" in info.value for info in at.info)
    assert draft_of(at).tables.weather == [{"metar": "sunny and warm"}]


def test_every_label_of_a_number_has_its_unit():
    at = opened("rides")
    assert all(field.label.endswith("]") for field in at.number_input)


def test_a_field_is_explained_in_the_words_of_the_run_sheet():
    at = opened("rides")
    helps = {field.key.removeprefix("system_").rpartition("_")[0]: field.help for field in at.number_input}
    helps["power_at"] = at.selectbox(key=key_of(at.selectbox, "system_power_at")).help
    told = {key: said for key, said in helps.items() if key in SystemTable.model_fields}
    assert len(told) == 8
    sheet = planned_run_sheet(["a", "b"], ["a", "b"], smallest_difference_m2=0.003)
    for key in told:
        said = explained(SystemTable, key)
        assert told[key] == f"{said[0].upper()}{said[1:]}."
        assert f"{said}\n" in sheet
