"""Files of any kind are added, one that cannot be used does not stop the others; a run sheet reaches no others."""

from __future__ import annotations

import gzip
from dataclasses import replace
from datetime import timedelta

import pytest

from fieldaero.basics.errors import FieldaeroError, RideError, RunSheetError
from fieldaero.draft.draft import empty_draft
from fieldaero.draft.open_files import add_files, named_files, open_draft, open_sheet
from fieldaero.rides import read_ride_bytes
from fieldaero.rides.csv_out import write_csv
from fieldaero.simulator.sample_folder import SAMPLE_SHEET
from tests.draft.sample_draft import RIDE, ride_bytes, sample_draft, sheet_text

STATION = b"time,temperature_c,pressure_hpa,dew_point_c\n2026-05-03T07:00Z,15,1009,10\n"


@pytest.fixture
def content() -> bytes:
    return ride_bytes()


@pytest.fixture
def text() -> str:
    return sheet_text()


def opened(text, **files):
    return open_draft(text, name="sheet.toml", files=files)


def test_what_is_saved_can_be_opened_again(text, content):
    first = open_draft(text, name=SAMPLE_SHEET, files={RIDE: content})
    again = open_draft(first.sheet_text(), name="again.toml", files={RIDE: content})
    assert again.sheet_text() == first.sheet_text()
    assert [again.setup_of(lap) for lap in again.laps] == [first.setup_of(lap) for lap in first.laps]


def test_what_stood_in_a_sheet_stays_when_a_value_is_changed_and_saved(text, content):
    first = open_draft(text, name=SAMPLE_SHEET, files={RIDE: content})
    assert first.sheet_text() == text
    heavier = first.with_table("system", {**first.tables.system, "mass_kg": 90.5})
    assert heavier.sheet_text() == text.replace("mass_kg = 83.5", "mass_kg = 90.5")
    assert heavier.sheet_text().count("#") == text.count("#") >= 10


def test_laps_and_rows_change_in_their_places(text, content):
    first = open_draft(text, name=SAMPLE_SHEET, files={RIDE: content})
    draft = first.assigned(first.laps[2:3], "-").with_setup_renamed("low extensions", "low bar")
    draft = draft.with_table("weather", [*draft.tables.weather, {"temperature_c": 17.0}])
    saved = draft.sheet_text()
    assert saved.count("#") == text.count("#")
    assert 'laps = ["-", "-", "-", "low bar",' in saved
    assert len(saved.splitlines()) == len(text.splitlines()) + 3  # a reading with its heading and an empty line
    assert opened(saved, **{RIDE: content}).tables == draft.tables


def test_a_sheet_without_mass_weather_and_rides_can_be_saved_and_opened():
    draft = empty_draft().with_table("title", "Begun")
    again = opened(draft.sheet_text())
    assert again.sheet_text() == draft.sheet_text()
    assert "mass_kg" not in again.tables.system


def test_a_weather_row_begun_is_kept():
    draft = empty_draft().with_table("weather", [{"wind_speed_m_s": 2.0}])
    assert opened(draft.sheet_text()).tables.weather == [{"wind_speed_m_s": 2.0}]


def test_an_unfinished_sheet_is_still_checked():
    with pytest.raises(RunSheetError, match="colour"):
        opened('schema = 1\ncolour = "red"\n')
    with pytest.raises(RunSheetError, match="mass_kg"):
        opened("schema = 1\n[system]\nmass_kg = 8000.0\n")
    with pytest.raises(RunSheetError, match="not valid TOML"):
        opened("schema = ")


@pytest.mark.parametrize("broken", ["system = 3", "weather = 3", "rides = 4", "weather = [3]", "setups = 'a'"])
def test_tables_of_the_wrong_kind_get_a_sentence(broken):
    with pytest.raises(RunSheetError):
        opened("schema = 1\n" + broken)


@pytest.mark.parametrize("file", ["../../etc/passwd", "/etc/passwd", "C:\\secret.csv"])
def test_a_path_out_of_the_dropped_files_is_not_followed(file):
    with pytest.raises(RideError, match=r"named by sheet\.toml, but not given; add that file"):
        opened(f"schema = 1\n[[weather]]\nfile = '{file}'\n", **{"station.csv": b""})


def test_a_weather_file_becomes_rows_of_the_table():
    station = (
        b"time,temperature_c,pressure_hpa,dew_point_c\n2026-05-03T09:00Z,18.2,968.4,9.5\n2026-05-03T10:00Z,19,968,9\n"
    )
    draft = opened('schema = 1\n[[weather]]\nfile = "air/station.csv"\n', **{"station.csv": station})
    assert [row["temperature_c"] for row in draft.tables.weather] == [18.2, 19.0]
    assert "file" not in draft.sheet_text()


def test_a_sweep_in_a_file_becomes_numbers_of_the_table():
    sheet = 'schema = 1\n[[tunnel]]\nsetup = "baseline"\nfile = "sweep.csv"\nsd_m2 = 0.001\n'
    sweep = b"yaw_deg,cda_m2\n-10,0.25\n0,0.26\n10,0.25\n"
    (row,) = opened(sheet, **{"sweep.csv": sweep}).tables.tunnel
    assert row == {
        "setup": "baseline",
        "yaw_deg": [-10.0, 0.0, 10.0],
        "cda_m2": [0.25, 0.26, 0.25],
        "sd_m2": [0.001] * 3,
    }


def test_a_course_in_a_file_becomes_numbers_of_the_table():
    points = "".join(f'<trkpt lat="{50 + k / 2000}" lon="8"><ele>{100 + k % 3}</ele></trkpt>' for k in range(60))
    gpx = f'<gpx xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'
    sheet = 'schema = 1\n[[races]]\nname = "hills"\nfile = "roads/hills.gpx"\npower_w = 240.0\n'
    (row,) = opened(sheet, **{"hills.gpx": gpx.encode()}).tables.races
    assert "file" not in row
    assert (row["name"], row["power_w"], row["distance_m"][0]) == ("hills", 240.0, 0.0)
    assert row["distance_m"][-1] == pytest.approx(59 / 2000 * 111_230, rel=0.01)


def test_a_ride_in_a_folder_is_found_by_its_name_alone(text, content):
    draft = opened(text.replace(RIDE, f"../far/{RIDE}"), **{RIDE: content})
    assert [ride.name for ride in draft.rides] == [RIDE]


def test_a_ride_that_is_not_given_is_named(text):
    with pytest.raises(RideError, match=r"morning\.fit: named by sheet\.toml, but not given"):
        opened(text)


def test_a_lap_list_of_the_wrong_length_is_told(text, content):
    with pytest.raises(RunSheetError, match="has 16 laps and 15 are listed"):
        opened(text.replace('laps = ["-", ', "laps = ["), **{RIDE: content})


def test_a_sheet_on_ones_own_disk_is_opened_with_the_files_beside_it(text):
    assert named_files(text, name=SAMPLE_SHEET) == (RIDE,)
    assert sample_draft().rides[0].content == ride_bytes()


def test_a_sheet_that_is_no_text_or_not_there_is_told(tmp_path):
    path = tmp_path / "sheet.toml"
    with pytest.raises(RunSheetError, match=r"sheet\.toml: cannot be read"):
        open_sheet(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RunSheetError, match=r"sheet\.toml: cannot be read"):
        open_sheet(path)


def test_no_text_raises_anything_but_an_error_for_people():
    for text in ("[[rides]]\n", "[[setups]]\n", "[[weather]]\ntime = 2026-05-03\n", "schema = 2\n", "baseline = 1\n"):
        with pytest.raises(FieldaeroError):
            opened(text)


def test_ride_weather_and_nonsense_at_once(content):
    steps = []
    added = add_files(
        empty_draft(),
        [("holiday.jpg", b"\xff\xd8\xff\xe0" + bytes(range(256))), (RIDE, content), ("station.csv", STATION)],
        progress=lambda done, name: steps.append((done, name)),
    )
    assert added.taken == (RIDE, "station.csv")
    assert len(added.draft.laps) == 16
    assert added.draft.tables.weather[0]["temperature_c"] == 15.0
    assert len(added.refused) == 1
    assert added.refused[0].startswith("holiday.jpg: ")
    assert steps == [(0, "holiday.jpg"), (1, RIDE), (2, "station.csv")]


def test_a_sheet_is_opened_with_the_ride_dropped_beside_it(content, text):
    added = add_files(empty_draft(), [(RIDE, content), (SAMPLE_SHEET, text.encode())])
    assert (added.taken, added.refused) == ((SAMPLE_SHEET, RIDE), ())
    assert added.draft.baseline == "road bar"


def test_a_sheet_finds_the_ride_that_lies_there_already(content, text):
    begun = add_files(empty_draft(), [(RIDE, content)]).draft
    assert add_files(begun, [(SAMPLE_SHEET, text.encode())]).draft.baseline == "road bar"


def test_a_sheet_without_its_ride_leaves_the_draft_and_says_what_is_missing(text):
    before = empty_draft()
    added = add_files(before, [(SAMPLE_SHEET, text.encode())])
    assert added.draft == before
    assert "morning.fit: named by bar-test.toml, but not given; add that file" in added.refused[0]


def test_a_sheet_without_a_baseline_takes_its_first_setup():
    sheet = 'schema = 1\n[[setups]]\nname = "A"\n[[setups]]\nname = "B"\n'
    draft = opened(sheet)
    assert draft.baseline == "A"
    assert 'baseline = "A"' in draft.sheet_text()
    with pytest.raises(RunSheetError, match='baseline is "C"'):
        opened('baseline = "C"\n' + sheet)


def test_two_sheets_at_once_are_one_too_many(content, text):
    added = add_files(empty_draft(), [(SAMPLE_SHEET, text.encode()), (RIDE, content), ("other.toml", text.encode())])
    assert added.refused == ("other.toml: a second run sheet; open one at a time",)


def test_a_packed_ride_is_read_and_the_same_ride_twice_is_told(content):
    added = add_files(
        empty_draft(), [("morning.fit.gz", gzip.compress(content, mtime=0)), (RIDE, content), (RIDE, content)]
    )
    assert added.taken == ("morning.fit.gz", RIDE)
    assert "the same ride" in added.refused[0]


def test_rides_lie_in_the_order_in_which_they_were_ridden(content, tmp_path):
    early = read_ride_bytes(content, name=RIDE)
    half = early.table[early.table["time_s"] < 1200.0]
    later = replace(early, table=half, start_time=early.start_time + timedelta(hours=2), lap_marks=())
    write_csv(later, tmp_path / "later.csv")
    added = add_files(empty_draft(), [("later.csv", (tmp_path / "later.csv").read_bytes()), (RIDE, content)])
    assert added.refused == ()
    assert [r.name for r in added.draft.rides] == [RIDE, "later.csv"]


def test_a_sheet_that_is_no_text_is_told():
    added = add_files(empty_draft(), [("sheet.toml", b"\xff\xfe\x00")])
    assert added.refused == ("sheet.toml: is not UTF-8 text; a run sheet is a TOML file, saved as UTF-8",)
