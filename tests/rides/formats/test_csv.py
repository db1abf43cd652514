"""CSV: columns, delimiters, decimals, times and laps."""

from __future__ import annotations

import codecs
from datetime import UTC, datetime

import numpy as np
import pytest

from fieldaero.basics.errors import RideError
from fieldaero.rides import read_ride
from fieldaero.rides.ride import COLUMNS, LapMark, Pause
from tests.rides.formats.fit_files import written

PLAIN = "time_s,power_w,speed_m_s\n0,200.5,9.5\n1,201.5,9.75\n2,202.5,10\n"


def read(tmp_path, text):
    return read_ride(written(tmp_path, text if isinstance(text, bytes) else text.encode(), "ride.csv"))


def refused(tmp_path, text, words):
    with pytest.raises(RideError, match=words) as caught:
        read(tmp_path, text)
    assert str(caught.value).startswith("ride.csv")


def test_all_columns_of_the_contract(tmp_path):
    head = (
        "timestamp,power_w,speed_m_s,distance_m,altitude_m,latitude_deg,longitude_deg,temperature_c,cadence_rpm,lap,"
        "air_speed_m_s\n"
    )
    rows = [f"2030-05-05T15:00:0{k}.5+02:00,20{k},10.5,{10 * k},99.5,-28.5,-122.5,21,88,1,11.25\n" for k in range(3)]
    ride = read(tmp_path, head + "".join(rows))
    assert ride.start_time == datetime(2030, 5, 5, 13, 0, 0, 500_000, tzinfo=UTC)
    expected = [[k, 200 + k, 10.5, 10 * k, 99.5, -28.5, -122.5, 21, 88, 11.25] for k in range(3)]
    assert ride.table[list(COLUMNS)].to_numpy().tolist() == expected
    assert ride.source.format == "CSV"


@pytest.mark.parametrize(
    ("delimiter", "decimal"), [(",", "."), (";", ","), (";", "."), ("\t", ","), ("\t", "."), ("|", ",")]
)
def test_delimiter_and_decimal_sign_are_found_together(tmp_path, delimiter, decimal):
    text = PLAIN.replace(",", delimiter).replace(".", decimal)
    assert read(tmp_path, text).table.equals(read(tmp_path, PLAIN).table)


def test_quoted_decimal_commas_between_commas(tmp_path):
    text = 'time_s,power_w,speed_m_s\n0,"200,5","9,5"\n1,"201,5","9,75"\n2,"202,5",10\n'
    assert read(tmp_path, text).table.equals(read(tmp_path, PLAIN).table)


@pytest.mark.parametrize("mark", [codecs.BOM_UTF8, b"\r\n", b"# made by hand; 1,5\n"])
def test_marks_blank_lines_and_comments_are_skipped(tmp_path, mark):
    assert read(tmp_path, mark + PLAIN.replace("\n", "\r\n").encode()).table.equals(read(tmp_path, PLAIN).table)


def test_comments_may_stand_between_rows(tmp_path):
    assert read(tmp_path, PLAIN.replace("\n1,", "\n# a note\n\n1,")).table.equals(read(tmp_path, PLAIN).table)


def test_utf_16_as_spreadsheets_save_it(tmp_path):
    assert read(tmp_path, PLAIN.replace(",", "\t").encode("utf-16")).table.equals(read(tmp_path, PLAIN).table)


def test_speed_in_km_h_is_converted(tmp_path):
    ride = read(tmp_path, "time_s,power_w,speed_km_h\n0,200,36\n1,200,45\n")
    assert ride.column("speed_m_s") == pytest.approx([10.0, 12.5])
    assert ride.speed_from == "recorded"


def test_speed_from_distance_where_there_is_no_speed(tmp_path):
    ride = read(tmp_path, "time_s,power_w,distance_m\n0,200,0\n1,200,10\n2,200,22\n")
    assert ride.speed_from == "distance"
    assert ride.column("speed_m_s").tolist() == [10.0, 11.0, 12.0]


@pytest.mark.parametrize(
    ("header", "found"),
    [
        ("time_s,speed_m_s", "found are time_s, speed_m_s"),
        ("power_w,speed_m_s", "found are power_w, speed_m_s"),
        ("time_s,power_w", "needed are .*one of speed_m_s"),
        ("time_s,power_w,speed", "found are time_s, power_w, speed; needed are"),
        ("time_s,power_w,latitude_deg", "latitude_deg with longitude_deg"),
    ],
)
def test_missing_columns_are_named(tmp_path, header, found):
    refused(tmp_path, f"{header}\n0,1,2\n1,1,2\n", found)


def test_a_column_twice_is_refused(tmp_path):
    refused(tmp_path, "time_s,power_w,power_w,speed_m_s\n0,1,1,1\n", "power_w appears twice")


def test_two_units_of_one_quantity_are_refused(tmp_path):
    refused(tmp_path, "time_s,power_w,speed_m_s,speed_km_h\n0,1,1,1\n", "both speed_km_h and speed_m_s")


def test_unknown_columns_are_named_and_not_used(tmp_path):
    ride = read(tmp_path, "time_s,power_w,speed_m_s,mood\n0,200,9,good\n1,200,9,better\n")
    assert any("1 column not used: mood" in note for note in ride.notes)


@pytest.mark.parametrize("order", [("1", "1"), ("2", "1")])
def test_a_time_that_does_not_rise_names_its_line(tmp_path, order):
    refused(
        tmp_path, f"time_s,power_w,speed_m_s\n0,1,1\n{order[0]},1,1\n# note\n{order[1]},1,1\n", "line 5: time_s is 1"
    )


def test_a_time_stamp_that_does_not_rise_names_its_line(tmp_path):
    rows = ["2030-05-05T13:00:01Z,1,1", "2030-05-05T13:00:00Z,1,1"]
    refused(tmp_path, "timestamp,power_w,speed_m_s\n" + "\n".join(rows), "line 3: timestamp")


@pytest.mark.parametrize("cell", ["", "05/03/2030 13:00", "1904216400"])
def test_a_time_stamp_that_is_none_names_its_line(tmp_path, cell):
    refused(tmp_path, f"timestamp,power_w,speed_m_s\n2030-05-05T13:00:00Z,1,1\n{cell},1,1\nx,1,1\n", "line 3.*ISO 8601")


def test_a_time_stamp_without_a_zone_is_taken_as_utc_and_said(tmp_path):
    rows = [f"2030-05-05T13:00:0{k},200,9" for k in range(3)]
    ride = read(tmp_path, "timestamp,power_w,speed_m_s\n" + "\n".join(rows))
    assert ride.start_time == datetime(2030, 5, 5, 13, 0, tzinfo=UTC)
    assert any("3 time stamps without a time zone" in note for note in ride.notes)


@pytest.mark.parametrize("cell", ["", "nan", "NaN", "n/a", "-"])
def test_an_empty_cell_is_missing_and_no_fault(tmp_path, cell):
    ride = read(tmp_path, PLAIN.replace("201.5", cell))
    assert np.isnan(ride.column("power_w")).tolist() == [False, True, False]
    assert not any("not a number" in note for note in ride.notes)


def test_a_cell_that_is_no_number_is_missing_and_said(tmp_path):
    ride = read(tmp_path, PLAIN.replace("201.5", "lots"))
    assert np.isnan(ride.column("power_w")).tolist() == [False, True, False]
    assert any("power_w: 1 value not a number" in note and "'lots' in line 3" in note for note in ride.notes)


@pytest.mark.parametrize(
    ("cell", "column"), [("9999", "power_w"), ("-5", "power_w"), ("inf", "power_w"), ("1e300", "power_w")]
)
def test_an_absurd_value_is_missing_and_counted(tmp_path, cell, column):
    ride = read(tmp_path, PLAIN.replace("201.5", cell))
    assert np.isnan(ride.column(column)).tolist() == [False, True, False]
    assert any(f"{column}: 1 value outside" in note for note in ride.notes)


def test_decimal_commas_between_commas_are_explained(tmp_path):
    refused(tmp_path, "time_s,power_w,speed_m_s\n0,0,200,5,9,5\n1,0,200,5,9,5\n", "line 2: 6 cells for 3.*semicolons")


def test_mixed_decimal_signs_are_refused(tmp_path):
    refused(tmp_path, "time_s;power_w;speed_m_s\n0;200,5;9,5\n1;200.5;9,5\n", "mixed.*line 2.*line 3")


def test_thousands_separators_are_refused(tmp_path):
    refused(tmp_path, "time_s;power_w;distance_m\n0;200,5;1.234,5\n", "thousands separators")


def test_a_last_line_that_breaks_off_is_left_out_with_a_note(tmp_path):
    ride = read(tmp_path, PLAIN + "3,20")
    assert len(ride.table) == 3
    assert any("last line (5) breaks off" in note for note in ride.notes)


def test_a_short_line_in_the_middle_is_refused(tmp_path):
    refused(tmp_path, "time_s,power_w,speed_m_s\n0,200,9\n1,200\n2,200,9\n", "line 3: 2 cells")


def test_a_header_without_rows_is_refused(tmp_path):
    refused(tmp_path, "time_s,power_w,speed_m_s\n", "0 usable samples")


def test_comments_alone_are_refused(tmp_path):
    refused(tmp_path, "# nothing\n# here\n", "nothing but comments")


def test_laps_change_with_the_lap_column(tmp_path):
    rows = [f"{k},200,9,{lap}" for k, lap in enumerate(["1", "1", "1", "2", "2", "", "", "4", "4"])]
    ride = read(tmp_path, "time_s,power_w,speed_m_s,lap\n" + "\n".join(rows))
    assert ride.lap_marks == (
        LapMark(start_s=0.0, end_s=3.0, trigger="button"),
        LapMark(start_s=3.0, end_s=5.0, trigger="button"),
        LapMark(start_s=7.0, end_s=8.0, trigger="button"),
    )


def test_without_a_lap_column_there_are_no_laps(tmp_path):
    assert read(tmp_path, PLAIN).lap_marks == ()


def test_a_gap_is_a_pause(tmp_path):
    ride = read(tmp_path, "time_s,power_w,speed_m_s\n0,1,1\n1,1,1\n2,1,1\n30,1,1\n31,1,1\n")
    assert ride.pauses == (Pause(start_s=2.0, end_s=30.0, cause="gap"),)


def test_seconds_stay_as_they_were_written(tmp_path):
    ride = read(tmp_path, "time_s,power_w,speed_m_s,lap\n100.25,1,1,1\n101.5,1,1,2\n102.75,1,1,2\n")
    assert ride.time_s.tolist() == [100.25, 101.5, 102.75]
    assert ride.start_time is None
    assert ride.lap_marks[1] == LapMark(start_s=101.5, end_s=102.75, trigger="button")


def test_quotes_that_never_close_are_a_ride_error(tmp_path):
    refused(tmp_path, 'time_s,power_w,speed_m_s\n0,"200,9\n1,200,9\n' + "2,200,9\n" * 30_000, "ride.csv")
