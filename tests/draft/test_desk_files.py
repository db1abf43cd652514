"""Files of any kind are sorted into the draft; one that cannot be used does not stop the others."""

from __future__ import annotations

import gzip
from dataclasses import replace
from datetime import timedelta

import pytest

from fieldaero.draft.draft import empty_draft
from fieldaero.draft.open_files import add_files
from fieldaero.rides import read_ride_bytes
from fieldaero.rides.csv_out import write_csv
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder

RIDE, SHEET = "morning.fit", SAMPLE_SHEET
STATION = b"time,temperature_c,pressure_hpa,dew_point_c\n2026-05-03T07:00Z,15,1009,10\n"


@pytest.fixture(scope="module")
def ride() -> bytes:
    return (sample_folder() / RIDE).read_bytes()


@pytest.fixture(scope="module")
def sheet() -> bytes:
    return (sample_folder() / SHEET).read_bytes()


def test_ride_weather_and_nonsense_at_once(ride):
    steps = []
    added = add_files(
        empty_draft(),
        [("holiday.jpg", b"\xff\xd8\xff\xe0" + bytes(range(256))), (RIDE, ride), ("station.csv", STATION)],
        progress=lambda done, name: steps.append((done, name)),
    )
    assert added.taken == (RIDE, "station.csv")
    assert len(added.draft.laps) == 16
    assert added.draft.tables.weather[0]["temperature_c"] == 15.0
    assert len(added.refused) == 1
    assert added.refused[0].startswith("holiday.jpg: ")
    assert steps == [(0, "holiday.jpg"), (1, RIDE), (2, "station.csv")]


def test_a_sheet_is_opened_with_the_ride_dropped_beside_it(ride, sheet):
    added = add_files(empty_draft(), [(RIDE, ride), (SHEET, sheet)])
    assert (added.taken, added.refused) == ((SHEET, RIDE), ())
    assert added.draft.baseline == "road bar"


def test_a_sheet_finds_the_ride_that_lies_there_already(ride, sheet):
    begun = add_files(empty_draft(), [(RIDE, ride)]).draft
    assert add_files(begun, [(SHEET, sheet)]).draft.baseline == "road bar"


def test_a_sheet_without_its_ride_leaves_the_draft_and_says_what_is_missing(sheet):
    before = empty_draft()
    added = add_files(before, [(SHEET, sheet)])
    assert added.draft == before
    assert "morning.fit: named by bar-test.toml, but not given; add that file" in added.refused[0]


def test_two_sheets_at_once_are_one_too_many(ride, sheet):
    added = add_files(empty_draft(), [(SHEET, sheet), (RIDE, ride), ("other.toml", sheet)])
    assert added.refused == ("other.toml: a second run sheet; open one at a time",)


def test_a_packed_ride_is_read_and_the_same_ride_twice_is_told(ride):
    added = add_files(empty_draft(), [("morning.fit.gz", gzip.compress(ride, mtime=0)), (RIDE, ride), (RIDE, ride)])
    assert added.taken == ("morning.fit.gz", RIDE)
    assert "the same ride" in added.refused[0]


def test_rides_lie_in_the_order_in_which_they_were_ridden(ride, tmp_path):
    early = read_ride_bytes(ride, name=RIDE)
    half = early.table[early.table["time_s"] < 1200.0]
    later = replace(early, table=half, start_time=early.start_time + timedelta(hours=2), lap_marks=())
    write_csv(later, tmp_path / "later.csv")
    added = add_files(empty_draft(), [("later.csv", (tmp_path / "later.csv").read_bytes()), (RIDE, ride)])
    assert added.refused == ()
    assert [r.name for r in added.draft.rides] == [RIDE, "later.csv"]


def test_a_sheet_that_is_no_text_is_told():
    added = add_files(empty_draft(), [("sheet.toml", b"\xff\xfe\x00")])
    assert added.refused == ("sheet.toml: is not UTF-8 text; a run sheet is a TOML file, saved as UTF-8",)
