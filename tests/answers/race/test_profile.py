"""Profiles of courses from planned lines, rides and fits; noise taken out of heights, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from fieldaero.answers.race.profile import (
    CourseProfile,
    flat_profile,
    gpx_profile,
    lap_profile,
    ride_profile,
    smoothed_height_m,
)
from fieldaero.basics.errors import OutOfRangeError, RideError
from fieldaero.compare.session_comparison import estimate_session
from fieldaero.physics.earth import LocalFrame
from fieldaero.rides.ride import COLUMNS, Ride, RideSource
from tests.whole_sessions import usual

PLACE = LocalFrame(12.0, -38.0)


@cache
def estimates():
    return estimate_session(usual()[1])


def planned(path, east, north, heights, *, kind="rte", point="rtept"):
    """A GPX file of points without times."""
    latitude, longitude = PLACE.to_degrees(east, north)
    points = "".join(
        f'<{point} lat="{lat:.8f}" lon="{lon:.8f}">' + ("" if h is None else f"<ele>{h:.3f}</ele>") + f"</{point}>"
        for lat, lon, h in zip(latitude, longitude, heights, strict=True)
    )
    inner = f"<trkseg>{points}</trkseg>" if kind == "trk" else points
    path.write_text(f'<?xml version="1.0"?><gpx><{kind}>{inner}</{kind}></gpx>')
    return path


def ridden(distance, height, **columns) -> Ride:
    n = len(distance)
    table = pd.DataFrame({name: np.full(n, np.nan) for name in COLUMNS})
    table["time_s"], table["distance_m"], table["altitude_m"] = np.arange(n) * 1.0, distance, height
    table["speed_m_s"] = np.gradient(distance)
    for name, values in columns.items():
        table[name] = values
    return Ride(table=table, source=RideSource(file="valley.csv", format="CSV", sha256=""))


@pytest.mark.parametrize(("kind", "point"), [("rte", "rtept"), ("trk", "trkpt")])
def test_a_planned_line_without_times_becomes_a_road(tmp_path, kind, point):
    # 2 km north at 6 %, then 1 km east on the level, of points 100 m apart.
    north = np.minimum(np.arange(31) * 100.0, 2000.0)
    east = np.maximum(np.arange(31) * 100.0 - 2000.0, 0.0)
    heights = 400.0 + 0.06 * north
    profile = gpx_profile(planned(tmp_path / "plan.gpx", east, north, heights, kind=kind, point=point))
    assert profile.name == "plan.gpx"
    # The slope makes the road longer than the map by sqrt(1 + 0.06^2), 460 m of height by 460 / 6378137.
    assert profile.length_m == pytest.approx(2000.0 * np.hypot(1.0, 0.06) * (1 + 460 / 6378137) + 1000.0, abs=0.4)
    way = np.searchsorted(profile.distance_m, [500.0, 1500.0, 2500.0])
    assert profile.grade[way] == pytest.approx([0.06, 0.06, 0.0], abs=5e-4)
    assert profile.heading_deg[way] == pytest.approx([0.0, 0.0, 90.0], abs=0.5)
    assert profile.ascent_m == pytest.approx(120.0, abs=1.5)


def test_points_without_elevation_lie_between_their_neighbours(tmp_path):
    north = np.arange(11) * 200.0
    heights = [100.0 + 0.02 * x if i % 3 == 0 else None for i, x in enumerate(north)]
    profile = gpx_profile(planned(tmp_path / "plan.gpx", 0.0 * north, north, heights))
    assert profile.grade[10:-20] == pytest.approx(0.02, abs=1e-4)


def test_a_course_over_the_date_line_is_one_course(tmp_path):
    points = "".join(
        f'<trkpt lat="0" lon="{lon:.5f}"><ele>{5}</ele></trkpt>' for lon in [179.99, 179.995, -180.0, -179.995, -179.99]
    )
    path = tmp_path / "line.gpx"
    path.write_text(f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>")
    # 0.02 degrees of the equator: 2 pi 6378137 m / 360 each.
    assert gpx_profile(path).length_m == pytest.approx(0.02 * 111_319.49, rel=1e-5)


def test_noise_of_a_barometer_leaves_the_grade():
    rng = np.random.default_rng(5)
    d = np.cumsum(rng.uniform(7.0, 13.0, size=3000))
    true = 40.0 * np.sin(2 * np.pi * d / 2500.0)
    noisy = np.round((true + rng.normal(scale=0.3, size=len(d))) / 0.2) * 0.2
    noisy[[700, 1500]] += [80.0, -60.0]
    points, smooth = smoothed_height_m(d, noisy)
    grade = np.diff(smooth) / np.diff(points)
    truth = np.diff(40.0 * np.sin(2 * np.pi * points / 2500.0)) / np.diff(points)
    assert np.std(grade - truth) < 0.003
    assert np.max(np.abs(grade - truth)) < 0.02
    assert np.max(np.abs(np.diff(noisy) / np.diff(d))) > 1.0  # what a plain difference would have made of it


@pytest.mark.parametrize("over_m", [150.0, 200.0, 400.0])
def test_undulations_of_the_stated_length_are_halved_and_long_hills_kept(over_m):
    d = np.arange(0.0, 40 * over_m + 1.0, 10.0)
    inside = slice(len(d) // 8, -len(d) // 8)
    for length, kept in ((over_m, 0.5), (10.0 * over_m, 1.0 / (1.0 + 0.1**4))):
        points, smooth = smoothed_height_m(d, np.sin(2 * np.pi * d / length), smooth_over_m=over_m)
        wave = np.sin(2 * np.pi * points / length)[inside]
        found = float(wave @ smooth[inside] / (wave @ wave))
        # The running median over 50 m costs the shortest of these waves a little more.
        assert found == pytest.approx(kept, rel=0.15)


def test_a_steady_climb_is_left_alone_to_its_ends():
    d = np.linspace(0.0, 3000.0, 400)
    points, smooth = smoothed_height_m(d, 100.0 + 0.07 * d)
    assert smooth == pytest.approx(100.0 + 0.07 * points, abs=1e-3)


def test_nothing_is_smoothed_over_no_way():
    d = np.arange(0.0, 101.0, 20.0)
    points, smooth = smoothed_height_m(d, d % 40.0, smooth_over_m=0.0)
    assert smooth.tolist() == (d % 40.0).tolist()
    assert points.tolist() == d.tolist()


def test_a_ride_becomes_a_road_with_directions():
    d = np.arange(0.0, 4000.0, 8.0)
    # A halt of a minute in the middle, during which the barometer drifts.
    d = np.concatenate([d[:250], np.full(60, d[250]), d[250:]])
    drift = np.interp(np.arange(len(d)), [250, 310], [0.0, 1.0])
    latitude, longitude = PLACE.to_degrees(d * np.sin(0.7), d * np.cos(0.7))
    ride = ridden(d, 300.0 + 0.03 * d + drift, latitude_deg=latitude, longitude_deg=longitude)
    profile = ride_profile(ride)
    assert profile.length_m == pytest.approx(3992.0)
    # A step of 1 m has at most the slope w_c / 2 sqrt(2) after the filter 1 / (1 + (w / w_c)^4), w_c = 2 pi / 150 m.
    assert np.max(np.abs(profile.grade - 0.03)) < 2 * np.pi / 150.0 / np.sqrt(8.0)
    assert profile.heading_deg == pytest.approx(np.degrees(0.7), abs=0.1)
    assert profile.name == "valley.csv"


def test_a_ride_without_positions_has_no_directions():
    d = np.arange(0.0, 1000.0, 10.0)
    assert np.isnan(ride_profile(ridden(d, 0.01 * d)).heading_deg).all()


def test_the_sample_loop_ridden_forty_kilometres_is_the_fitted_road_over_and_over():
    session, found = usual()[1], estimates()
    profile = lap_profile(found.fit, session.course, distance_km=40.0)
    assert profile.length_m == pytest.approx(40_000.0)
    edge = found.fit.segments.cells.edge_m
    lap = lap_profile(found.fit, session.course)
    assert lap.length_m == edge[-1]
    assert lap.height_m[-1] == pytest.approx(0.0, abs=1e-9)
    at = np.linspace(0.0, 40_000.0, 3001)
    heights = np.interp(at % edge[-1], lap.distance_m, lap.height_m)
    assert np.interp(at, profile.distance_m, profile.height_m) == pytest.approx(heights, abs=1e-6)
    assert len(profile.heading_deg) == len(profile.distance_m) - 1
    assert np.isfinite(profile.heading_deg).all()


def test_the_fitted_road_is_the_one_that_was_ridden():
    simulated, session = usual()
    lap = lap_profile(estimates().fit, session.course)
    truth = simulated.truth
    true = np.interp(lap.distance_m, truth.profile_position_m, truth.profile_height_m)
    assert lap.height_m == pytest.approx(true - true[0], abs=0.8)
    assert np.ptp(true) > 2.0


def test_a_road_ridden_one_way_is_not_ridden_twice():
    session, found = usual()[1], estimates()
    one_way = replace(session.course, closed=False)
    with pytest.raises(OutOfRangeError, match="the finish of this course is not its start"):
        lap_profile(found.fit, one_way, distance_km=40.0)
    assert lap_profile(found.fit, one_way, distance_km=1.0).length_m == pytest.approx(1000.0)


@pytest.mark.parametrize("km", [0.0, -40.0, float("nan"), 2000.0])
def test_an_impossible_distance_is_refused(km):
    with pytest.raises(OutOfRangeError, match="distance_km is"):
        flat_profile(distance_km=km)
    with pytest.raises(OutOfRangeError, match="distance_km is"):
        lap_profile(estimates().fit, usual()[1].course, distance_km=km)


@pytest.mark.parametrize(
    ("distance", "height", "says"),
    [
        ([0.0], [5.0], "1 points; a course needs at least 2"),
        ([0.0, 100.0, 90.0], [0.0, 0.0, 0.0], r"goes from 100 to 90 m at point 3; distances must rise"),
        ([0.0, 100.0, 100.0], [0.0, 0.0, 0.0], "leave repeated ones out"),
        ([0.0, float("nan"), 100.0], [0.0, 0.0, 0.0], "distances must rise"),
        ([50.0, 100.0], [0.0, 0.0], "allowed are 0 at the start"),
        ([0.0, 3e6], [0.0, 0.0], "up to 1000 km"),
        ([0.0, 100.0], [0.0, float("nan")], r"height at 0\.10 km is nan"),
        ([0.0, 100.0], [0.0, 9500.0], r"height at 0\.10 km is 9500"),
        ([0.0, 100.0, 200.0], [0.0, 0.0, 60.0], r"a grade of 75 % at 0\.10 km; allowed is up to 35 %"),
        ([0.0, 100.0], [0.0, -150.0], r"a grade of -inf %|a grade of"),
        ([0.0, 100.0], [0.0, 1.0, 2.0], "as many heights as distances"),
    ],
)
def test_an_impossible_profile_is_refused(distance, height, says):
    with pytest.raises(OutOfRangeError, match=says):
        CourseProfile(
            distance_m=np.array(distance),
            height_m=np.array(height),
            heading_deg=np.full(max(len(distance) - 1, 0), np.nan),
        )


def test_smoothing_over_a_negative_way_is_refused():
    with pytest.raises(OutOfRangeError, match="smooth_over_m is -1"):
        smoothed_height_m([0.0, 100.0], [0.0, 1.0], smooth_over_m=-1.0)


def test_lines_and_rides_that_hold_no_profile_are_refused(tmp_path):
    north = np.arange(3) * 100.0
    with pytest.raises(RideError, match="0 points with position and elevation"):
        gpx_profile(planned(tmp_path / "level.gpx", 0 * north, north, [None] * 3))
    with pytest.raises(RideError, match="all points lie at one place"):
        gpx_profile(planned(tmp_path / "still.gpx", np.zeros(3), np.zeros(3), [1.0, 2.0, 3.0]))
    far = tmp_path / "far.gpx"
    far.write_text(
        '<gpx><rte><rtept lat="0" lon="0"><ele>1</ele></rtept><rtept lat="9" lon="0"><ele>1</ele></rtept></rte></gpx>'
    )
    with pytest.raises(OutOfRangeError, match="more than 200 km from the middle"):
        gpx_profile(far)
    d = np.arange(0.0, 1000.0, 10.0)
    with pytest.raises(RideError, match="0 samples with an altitude"):
        ride_profile(ridden(d, np.nan))
