"""What a result rests on: virtual elevation closes on a closed road, laps in order of time, the baseline repeats."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from fieldaero.answers.lap_rows import lap_points
from tests.whole_sessions import sample_result


@pytest.fixture(scope="module")
def result():
    return sample_result()


def test_the_road_profile_of_a_closed_course_ends_where_it_began(result):
    found = result.supporting_data.elevation
    assert found.road_m[0] == 0.0
    assert found.road_m[-1] == pytest.approx(0.0, abs=0.02)
    assert found.position_m[-1] == pytest.approx(result.session.course.length_m)


def test_what_the_laps_leave_of_the_road_averages_out(result):
    found = result.supporting_data.elevation
    residual_m = np.array([lap.elevation_m for lap in found.laps]) - found.road_m
    assert residual_m.shape == (11, len(found.position_m))
    assert np.abs(residual_m.mean(axis=0)).max() < 0.5 * np.abs(residual_m).max()
    assert [lap.residual_largest_m for lap in found.laps] == pytest.approx(np.abs(residual_m).max(axis=1))


def test_every_lap_is_a_point_in_order_of_time(result):
    points = lap_points(result.lap_results)
    assert [p.lap for p in points] == list(range(1, 17))
    assert all(b.middle_min > a.middle_min for a, b in pairwise(points))
    apart = points[13].clock - points[2].clock
    durations = [row.duration_s for row in result.lap_results]
    assert points[13].middle_min - points[2].middle_min == pytest.approx(
        (apart.total_seconds() + (durations[13] - durations[2]) / 2.0) / 60.0, abs=1e-3
    )


def test_a_used_lap_has_an_interval_and_one_left_out_has_a_reason(result):
    for p in lap_points(result.lap_results):
        if p.used:
            assert p.low_m2 < p.cda_m2 < p.high_m2
            assert p.reason == ""
        else:
            assert p.low_m2 is None
            assert p.reason.startswith("left out")


def test_the_repeat_check_is_between_the_first_and_the_last_baseline_lap(result):
    check = result.supporting_data.repeat_check
    rows = {row.lap: row for row in result.lap_results}
    assert (check.first, check.last) == (3, 14)
    assert check.change_m2 == pytest.approx(rows[14].cda_m2 - rows[3].cda_m2)
    assert check.interval95_m2[0] < check.change_m2 < check.interval95_m2[1]
    # Laps share most of their uncertainty, so the change is known better than independent laps would have it.
    assert check.se_m2 < np.hypot(rows[3].cda_se_m2, rows[14].cda_se_m2)
    assert check.repeats
