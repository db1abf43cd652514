from __future__ import annotations

import numpy as np
import pytest

from fieldaero.basics.errors import RunSheetError
from fieldaero.laps.start_line import StartLine, line_from_presses, passes_of_line
from fieldaero.laps.track import track_of
from tests.synthetic_rides import (
    Noise,
    Rider,
    loop,
    path_length_m,
    recorded,
    ridden,
    straight_from,
    straight_to,
    there_and_back,
    when_at_s,
)


def straight_track(noise: Noise, *, stops: list[tuple[float, float]] | None = None):
    xy = straight_from(np.array([[0.0, 0.0], [0.0, 10.0]]), 2000.0)
    run = ridden(1980.0, Rider(stops=stops or []))
    return track_of(recorded(xy, run, noise=noise)), run


def line_at(track, distance_m: float, heading_deg: float) -> StartLine:
    latitude, longitude = track.frame.to_degrees(*track.position_at(distance_m))
    return StartLine(latitude_deg=float(latitude), longitude_deg=float(longitude), heading_deg=heading_deg)


def test_a_crossing_is_interpolated_between_samples():
    track, _ = straight_track(Noise())
    assert passes_of_line(track, line_at(track, 1003.3, 0.0)).first_m == pytest.approx([1003.3], abs=0.01)


def test_a_line_crossed_askew_counts_and_one_crossed_backwards_does_not():
    track, _ = straight_track(Noise())
    assert len(passes_of_line(track, line_at(track, 1000.0, 50.0)).first_m) == 1
    assert len(passes_of_line(track, line_at(track, 1000.0, 180.0)).first_m) == 0


def test_a_road_beside_the_line_is_not_the_line():
    track, _ = straight_track(Noise())
    line = line_at(track, 1000.0, 0.0)
    beside = StartLine(latitude_deg=line.latitude_deg, longitude_deg=line.longitude_deg + 6e-4, heading_deg=0.0)
    assert len(passes_of_line(track, beside).first_m) == 0


@pytest.mark.parametrize("seed", range(6))
def test_standing_on_the_line_is_one_pass(seed):
    noise = Noise(seed=seed, position_m=2.5, position_time_s=8.0)
    track, _ = straight_track(noise, stops=[(1000.0, 120.0)])
    passed = passes_of_line(track, line_at(straight_track(Noise())[0], 1000.0, 0.0))
    assert len(passed.first_m) == 1
    assert passed.first_m[0] == pytest.approx(1000.0, abs=9.0)


def test_the_line_lies_where_most_presses_agree():
    one = loop(1500.0)
    xy = np.vstack([straight_to(one, 400.0), *[one] * 6, straight_from(one, 300.0)])
    run = ridden(400.0 + 6 * 1500.0 + 250.0, Rider())
    track = track_of(recorded(xy, run))
    late = np.array([0.9, -0.8, 0.3, -0.5, 0.7, -0.6, 0.1])
    presses = when_at_s(run, 400.0 + 1500.0 * np.arange(7)) + late
    elsewhere = when_at_s(run, [150.0, 2500.0, 4420.0])
    line, ahead_m = line_from_presses(track, [*presses, *elsewhere])
    assert (line, 0.0) == line_from_presses(track, list(presses))
    assert ahead_m == 0.0
    there = passes_of_line(track, line).first_m
    assert len(there) == 7
    assert there[0] == pytest.approx(400.0, abs=4.0)


def test_presses_in_a_turn_find_a_line_up_or_down_the_road():
    one = there_and_back(900.0)
    length = path_length_m(one)
    run = ridden(5 * length - 2.0, Rider())
    track = track_of(recorded(np.vstack([one] * 5), run))
    presses = when_at_s(run, length * np.arange(1, 5)) + np.array([0.8, -0.7, 0.2, -0.4])
    line, ahead_m = line_from_presses(track, list(presses))
    assert abs(ahead_m) == 40.0
    passed = passes_of_line(track, line).first_m - ahead_m
    assert passed[-4:] == pytest.approx(length * np.arange(1, 5), abs=6.0)


def test_presses_that_never_agree_make_no_line():
    track, run = straight_track(Noise())
    assert line_from_presses(track, list(when_at_s(run, [200.0, 700.0, 1500.0]))) is None


@pytest.mark.parametrize("wrong", [{"latitude_deg": 95.0}, {"longitude_deg": 181.0}, {"heading_deg": -10.0}])
def test_an_impossible_line_is_refused_with_the_range(wrong):
    with pytest.raises(RunSheetError, match=rf"{next(iter(wrong))}.*allowed is"):
        StartLine(**({"latitude_deg": 0.0, "longitude_deg": 0.0, "heading_deg": 0.0} | wrong))
