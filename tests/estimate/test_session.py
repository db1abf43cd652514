"""A run sheet and its rides brought together: what is found, what is refused, what is warned of."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from fieldaero.basics.errors import CannotAnswerError, RideError, RunSheetError
from fieldaero.estimate.session import open_session
from fieldaero.laps.track import wheel_distance_m
from fieldaero.rides import write_csv
from fieldaero.run_sheet.sheet import read_run_sheet
from fieldaero.simulator import CourseShape, Sensors
from tests.cli.command_line import nothing_changes
from tests.simulator.sessions import ORDER, session, start_line
from tests.whole_sessions import (
    AIR,
    LAPS,
    START,
    SYSTEM,
    brought_together,
    cut,
    sheet_text,
    usual,
    with_columns,
    without,
)

LATE = {"laps": ("-", "bare", "-")}  # a ride cut within the third of the four laps
PARTED_S = 542.0


def parted(**later):
    """The usual ride as two files, the first with a lap of either setup and the second with the last lap."""
    ride = usual()[0].ride
    return (
        (cut(ride, 0.0, PARTED_S), cut(ride, PARTED_S, 1e5)),
        {"rides": ({"laps": ("-", "bare", "faired", "-")}, LATE | later)},
    )


def wind(hours: float, speed_m_s: float, from_deg: float) -> dict:
    """An observation with wind at 10 m."""
    seen = {"wind_speed_m_s": speed_m_s, "wind_from_deg": from_deg, "wind_height_m": 10.0}
    return AIR | seen | {"time": START + timedelta(hours=hours)}


# what is found


def test_rides_lie_relative_to_the_run_sheet_wherever_one_works(tmp_path, monkeypatch):
    (tmp_path / "test" / "rides").mkdir(parents=True)
    (tmp_path / "elsewhere").mkdir()
    write_csv(usual()[0].ride, tmp_path / "test" / "rides" / "morning.csv")
    page = tmp_path / "test" / "test.toml"
    page.write_text(sheet_text(rides=({"file": "rides/morning.csv"},)), encoding="utf-8")
    monkeypatch.chdir(tmp_path / "elsewhere")
    said: list[str] = []
    with nothing_changes(tmp_path):
        found = open_session(read_run_sheet(page), progress=said.append)
    assert [lap.setup for lap in found.laps if lap.used] == list(ORDER)
    assert said[0] == "reading rides/morning.csv"


def test_the_track_of_each_ride_is_worked_out_once(monkeypatch):
    worked_out = []

    def counted(ride):
        worked_out.append(id(ride))
        return wheel_distance_m(ride)

    monkeypatch.setattr("fieldaero.laps.track.wheel_distance_m", counted)
    rides, how = parted()
    assert [id(ride.ride) for ride in brought_together(*rides, **how).rides] == worked_out


def test_each_lap_gets_its_setup_and_begins_where_the_rider_crossed_the_line():
    made, found = usual()
    assert tuple(lap.setup for lap in found.laps) == LAPS
    assert [lap.used for lap in found.laps] == [False, True, True, True, True, False]
    assert [lap.whole for lap in found.laps] == [False, True, True, True, True, False]
    starts = [lap.lap.start_s for lap in found.laps[1:]]
    assert starts == pytest.approx(made.truth.crossing_s, abs=0.2)


def test_a_ride_by_perfect_sensors_in_known_air_is_without_warnings():
    assert usual()[1].warnings == ()


def test_a_start_line_of_the_run_sheet_is_where_laps_begin():
    # Half a lap on: what the button marked is then no lap boundary.
    made = usual()[0]
    middle_s = made.truth.lap_start_s[0] + 110.0
    beyond = replace(made, truth=replace(made.truth, crossing_s=(middle_s,)))
    line = start_line(beyond)
    entry = {
        "lap_source": "line",
        "laps": ("bare", "faired", "faired"),
        "start_line": {
            "latitude_deg": line.latitude_deg,
            "longitude_deg": line.longitude_deg,
            "heading_deg": line.heading_deg,
        },
    }
    found = brought_together(made.ride, rides=(entry,))
    assert found.laps[0].lap.start_s == pytest.approx(middle_s, abs=0.2)
    assert found.rides[0].position_m[round(middle_s)] == pytest.approx(0.0, abs=6.0)


@pytest.mark.parametrize("later", [{}, {"lap_source": "line", "laps": ("bare",)}], ids=["button", "line"])
def test_rides_of_one_session_share_the_course_and_positions_on_it(later):
    (first_ride, second), changes = parted(**later)
    if later:  # nobody pressed the button: only the first ride knows where the line is
        second = replace(second, lap_marks=())
    together = brought_together(first_ride, second, **changes)
    at_once = usual()[1]
    first = round(PARTED_S)
    last_lap = at_once.laps[4].lap
    inside = slice(math.ceil(last_lap.start_s) + 1, math.floor(last_lap.end_s) - 1)
    later_position = together.rides[1].position_m[inside.start - first : inside.stop - first]
    assert later_position == pytest.approx(at_once.rides[0].position_m[inside], abs=1.5)
    assert [lap.ride for lap in together.laps if lap.used] == [0, 0, 1]


def test_the_air_thins_upwards_along_the_course():
    # In air of one temperature density falls with exp(-rho g h / p).
    made = session(course=CourseShape(length_m=2400.0, height_m=60.0))
    found = brought_together(made.ride)
    ridden = found.rides[0]
    inside = np.isfinite(ridden.position_m)
    height, density = made.ride.column("altitude_m")[inside], ridden.air_density_kg_m3[inside]
    top, bottom = np.argmax(height), np.argmin(height)
    climb = height[top] - height[bottom]
    expected = math.exp(-density[bottom] * found.gravity_m_s2 * climb / 101200.0)
    assert climb > 55.0
    assert density[top] / density[bottom] - 1.0 == pytest.approx(expected - 1.0, rel=0.03)


def test_the_wind_is_brought_to_the_rider_and_goes_where_it_does_not_come_from():
    # Log law from 10 m to 1 m over a roughness of 0.03 m; a wind from the west goes east.
    found = brought_together(usual()[0].ride, weather=(wind(0.0, 3.0, 270.0),))
    assert found.wind_east_m_s == pytest.approx(3.0 * math.log(1.0 / 0.03) / math.log(10.0 / 0.03), rel=1e-9)
    assert found.wind_north_m_s == pytest.approx(0.0, abs=1e-9)


def test_only_the_wind_of_used_laps_counts():
    # A wind that rises evenly from calm: its mean over a lap is what it was in the middle of the lap.
    ride = usual()[0].ride
    rising = (wind(0.0, 0.0, 180.0), wind(1.0, 6.0, 180.0))
    to_rider = math.log(1.0 / 0.03) / math.log(10.0 / 0.03)
    for k in (1, 4):
        laps = ["-"] * 6
        laps[k] = "bare"
        found = brought_together(ride, weather=rising, rides=({"laps": laps},))
        lap = found.laps[k].lap
        middle_h = (lap.start_s + lap.end_s) / 2.0 / 3600.0
        assert found.wind_north_m_s == pytest.approx(6.0 * middle_h * to_rider, rel=0.01)


def test_without_an_observed_wind_there_is_none_and_the_balance_is_in_still_air():
    found = usual()[1]
    balance = found.rides[0].balance
    assert found.wind_east_m_s is None
    assert balance.per_cda_m_per_m2 == pytest.approx(balance.still_air_m_per_m2, rel=1e-12)


def test_a_setup_that_weighs_more_does_so_in_its_laps_only():
    found = brought_together(usual()[0].ride, setups=[{"name": "bare"}, {"name": "faired", "mass_change_kg": 2.5}])
    balance, gravity = found.rides[0].balance, found.gravity_m_s2
    begins = balance.time_s[:-1]
    heavy = np.zeros(len(begins), dtype=bool)
    for lap in found.laps:
        heavy |= (lap.setup == "faired") & (begins >= lap.lap.start_s) & (begins < lap.lap.end_s)
    assert heavy.any()
    assert balance.weight_n[heavy] == pytest.approx(86.5 * gravity)
    assert balance.weight_n[~heavy] == pytest.approx(84.0 * gravity)


def test_gravity_is_that_of_the_course():
    # WGS 84 (NGA.STND.0036, table 3.5): 9.7803253359 m/s2 at the equator, the simulator's own at 12 degrees.
    made, found = usual()
    assert found.gravity_m_s2 == pytest.approx(made.truth.gravity_m_s2, abs=2e-4)
    stated = brought_together(made.ride, course={"latitude_deg": 0.0, "elevation_m": 0.0})
    assert stated.gravity_m_s2 == pytest.approx(9.7803253359, abs=5e-11)


def test_without_positions_and_altitude_gravity_is_that_of_the_middle_latitude():
    # Normal gravity at 45 degrees on the WGS 84 ellipsoid is 9.8062 m/s2.
    lost = dict.fromkeys(("latitude_deg", "longitude_deg", "altitude_m"), math.nan)
    found = brought_together(with_columns(usual()[0].ride, **lost))
    assert found.gravity_m_s2 == pytest.approx(9.8062, abs=5e-5)
    assert found.course.start_line is None
    assert all(lap.whole for lap in found.laps if lap.used)


# what is refused


@pytest.mark.parametrize("laps", [LAPS[:-1], (*LAPS, "bare")])
def test_a_lap_list_of_the_wrong_length_is_named_with_what_is_there(laps):
    with pytest.raises(RunSheetError) as refused:
        brought_together(usual()[0].ride, rides=({"laps": laps},))
    said = str(refused.value)
    for part in ("test.toml", "[[rides]] no. 1", f"laps names {len(laps)} laps", "ride1.csv has 6", '"-" for one'):
        assert part in said


def test_a_ride_that_is_not_there_is_named(tmp_path):
    page = tmp_path / "test.toml"
    page.write_text(sheet_text(), encoding="utf-8")
    with pytest.raises(RideError, match=r"test\.toml: \[\[rides\]\] no\. 1, ride1\.csv: no such file"):
        open_session(read_run_sheet(page))


def test_a_file_that_stands_under_two_rides_is_refused_for_its_laps_would_count_twice():
    ride = usual()[0].ride
    once = replace(ride, source=replace(ride.source, sha256="ab" * 32))
    with pytest.raises(RunSheetError, match=r"\[\[rides\]\] no\. 2, ride2\.csv is the same file as no\. 1, ride1\.csv"):
        brought_together(once, once)
    other = replace(ride, source=replace(ride.source, sha256="cd" * 32))
    assert len(brought_together(once, other).rides) == 2


@pytest.mark.parametrize(("column", "about"), [("power_w", "no usable power"), ("speed_m_s", "no usable speed")])
def test_a_ride_without_power_or_speed_is_refused_by_its_name(column, about):
    with pytest.raises(RideError, match=rf"ride1\.csv: {about}"):
        brought_together(with_columns(usual()[0].ride, **{column: math.nan}))


def test_rides_of_laps_of_another_length_are_no_session():
    shorter = session(course=CourseShape(length_m=2000.0))
    with pytest.raises(
        CannotAnswerError,
        match=r"ride2\.csv: its laps are (1999|2000|2001) m long, unlike those of ride1\.csv \(",
    ):
        brought_together(usual()[0].ride, shorter.ride)


def test_rides_of_another_road_of_the_same_length_are_no_session():
    (first, later), changes = parted()
    moved = with_columns(later, latitude_deg=later.column("latitude_deg") + 0.02)
    with pytest.raises(CannotAnswerError, match=r"ride2\.csv: its laps run more than 50 m beside those of ride1\.csv"):
        brought_together(first, moved, **changes)


def test_a_ride_the_other_way_round_is_no_lap_of_the_course():
    # The oval lies with its middle at 12 degrees north: mirrored there it is the same road, ridden backwards.
    (first, later), changes = parted()
    mirrored = with_columns(later, latitude_deg=24.0 - later.column("latitude_deg"))
    with pytest.raises(CannotAnswerError, match=r"ride2\.csv: its laps go another way round"):
        brought_together(first, mirrored, **changes)


# what is warned of


@pytest.mark.parametrize(
    ("hours", "sentence"),
    [(-0.7, None), (-2.0, "The ride ends 2 h 16 min after"), (0.9, None), (1.2, "The ride starts 1 h 12 min before")],
)
def test_weather_more_than_an_hour_away_is_warned_of(hours, sentence):
    # The ride goes on for 15 min 40 s from START.
    warnings = brought_together(usual()[0].ride, weather=(AIR | {"time": START + timedelta(hours=hours)},)).warnings
    assert [w[: len(sentence or "")] for w in warnings] == ([sentence] if sentence else [])


def test_defaults_that_matter_are_told():
    bare = {key: SYSTEM[key] for key in ("mass_kg", "power_at")}
    found = brought_together(usual()[0].ride, system=bare)
    assert any(sentence.startswith("crr is not given") for sentence in found.warnings)
    assert any(sentence.startswith("wheel_circumference_m is not given") for sentence in found.warnings)


def test_what_a_reader_repaired_is_told_with_the_file():
    found = brought_together(replace(usual()[0].ride, notes=("two samples were out of order.",)))
    assert found.warnings == ("ride1.csv: two samples were out of order.",)


def test_speed_worked_out_from_something_else_is_told():
    (sentence,) = brought_together(replace(usual()[0].ride, speed_from="position")).warnings
    assert sentence.startswith("ride1.csv: speed was worked out from position")


def test_power_that_comes_late_is_found_told_and_taken_out():
    restless = {"power_wander_w": 60.0}
    late = session(sensors=replace(Sensors.perfect(), power_lag_s=2.0), **restless)
    found = brought_together(late.ride)
    assert found.rides[0].power_lag_s == pytest.approx(2.0, abs=0.2)
    assert any("s behind the speed; this was corrected" in sentence for sentence in found.warnings)
    punctual, lap = brought_together(session(**restless).ride), found.laps[2].lap
    balances, middle = (found.rides[0].balance, punctual.rides[0].balance), int(lap.start_s) + 40
    worked_j = [(b.work_m * b.weight_n)[middle - 20 : middle + 20] for b in balances]
    assert worked_j[0] == pytest.approx(worked_j[1], abs=2.0)


@pytest.mark.parametrize(("share", "warned"), [(1.01, False), (1.02, True), (0.98, True)])
def test_a_distance_that_does_not_fit_the_speed_is_told(share, warned):
    ride = usual()[0].ride
    found = brought_together(with_columns(ride, distance_m=share * ride.column("distance_m")))
    assert any(f"disagree by {share - 1.0:+.1%}" in sentence for sentence in found.warnings) == warned


def test_what_holds_for_two_rides_is_told_once():
    (first, later), changes = parted()
    early = {"weather": (AIR | {"time": START - timedelta(hours=3)},)}
    bare = {"system": {key: SYSTEM[key] for key in ("mass_kg", "power_at")}}
    found = brought_together(first, later, **changes, **early, **bare)
    assert len(found.warnings) == len(set(found.warnings))
    assert sum("crr is not given" in sentence for sentence in found.warnings) == 1


def test_a_gap_in_the_recording_has_no_balance():
    made = usual()[0]
    found = brought_together(without(made.ride, 300.0, 360.0))
    assert found.rides[0].balance.unknown_s(0.0, 1e4) == pytest.approx(60.0)
