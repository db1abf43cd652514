"""Sweeps: the curve through the points, the weighted mean by hand, and files that are no sweep."""

from __future__ import annotations

import numpy as np
import pytest

from fieldaero.answers.cross_checks.tunnel_sweep import Sweep, read_sweeps
from fieldaero.basics.errors import RunSheetError
from fieldaero.run_sheet.sheet import run_sheet_from_text
from tests.whole_sessions import sheet_text

HEADER = "yaw_deg,cda_m2,sd_m2\n"
GOOD = HEADER + "0,0.250,0.001\n5,0.246,0.001\n10,0.238,0.002\n"


def sweep(yaw, cda, sd=0.001) -> Sweep:
    return Sweep(
        setup="bare",
        yaw_deg=np.array(yaw, dtype=float),
        cda_m2=np.array(cda, dtype=float),
        sd_m2=np.broadcast_to(np.asarray(sd, dtype=float), (len(yaw),)).copy(),
        sd_stated=True,
    )


def weighted(one: Sweep, yaw, weights, times=None):
    times = np.ones(len(yaw)) if times is None else np.array(times, dtype=float)
    return one.mean(yaw_deg=np.array(yaw, dtype=float), weights=np.array(weights, dtype=float), time_s=times)


def curve(one: Sweep, yaw) -> np.ndarray:
    """Drag area at each yaw: the mean of a distribution that is there alone."""
    return np.array([weighted(one, [angle], [1.0]).cda_m2 for angle in np.atleast_1d(yaw)])


BOTH_SIDES = sweep([-10, 0, 10], [0.230, 0.250, 0.242], [0.002, 0.001, 0.003])
ONE_SIDE = sweep([0, 5, 10], [0.250, 0.246, 0.238])


# the curve


def test_the_curve_runs_through_its_points():
    assert curve(BOTH_SIDES, [-10, 0, 10]).tolist() == pytest.approx([0.230, 0.250, 0.242])


def test_the_curve_makes_no_hump_that_no_point_shows():
    stall = sweep([0, 5, 10, 15, 20], [0.250, 0.250, 0.210, 0.210, 0.260])
    between = curve(stall, np.linspace(0, 20, 401))
    assert between.min() >= 0.210 - 1e-12
    assert between[:101].max() <= 0.250 + 1e-12


def test_a_sweep_to_one_side_is_mirrored_and_level_at_no_yaw():
    assert ONE_SIDE.mirrored
    assert curve(ONE_SIDE, [-7.0, -5.0]).tolist() == curve(ONE_SIDE, [7.0, 5.0]).tolist()
    # A parabola next to zero, not a kink: four times as far down at twice the yaw.
    fall = 0.250 - curve(ONE_SIDE, [0.01, 0.02])
    assert fall[1] / fall[0] == pytest.approx(4.0, rel=0.01)


def test_a_sweep_to_the_other_side_alone_is_the_same_curve():
    left = sweep([-10, -5, 0], [0.238, 0.246, 0.250])
    assert left.mirrored
    at = np.linspace(-12.0, 12.0, 49)
    assert curve(left, at) == pytest.approx(curve(ONE_SIDE, at))


def test_a_sweep_to_both_sides_is_taken_as_given():
    assert not BOTH_SIDES.mirrored
    assert curve(BOTH_SIDES, -10.0) != curve(BOTH_SIDES, 10.0)


def test_beyond_the_sweep_its_end_value_holds():
    assert curve(BOTH_SIDES, [-25.0, 40.0]).tolist() == pytest.approx([0.230, 0.242])


# the weighted mean, by hand


def test_the_mean_by_hand():
    # 2/10 at -10, 5/10 at 0 and 3/10 at 10 degrees: 0.2 x 0.230 + 0.5 x 0.250 + 0.3 x 0.242 = 0.2436;
    # its uncertainty sqrt((0.2 x 2)^2 + (0.5 x 1)^2 + (0.3 x 3)^2) = sqrt(0.16 + 0.25 + 0.81) = 1.1045 thousandths.
    mean = weighted(BOTH_SIDES, [-10, 0, 10], [2, 5, 3])
    assert mean.cda_m2 == pytest.approx(0.2436, abs=1e-12)
    assert mean.se_m2 == pytest.approx(0.0011045, abs=5e-8)


def test_a_mirrored_point_has_one_error_for_both_its_sides():
    # Half at -10 and half at 10 is the one point at 10 degrees: its sd, not that over the root of two.
    mean = weighted(ONE_SIDE, [-10, 10], [1, 1])
    assert mean.cda_m2 == pytest.approx(0.238)
    assert mean.se_m2 == pytest.approx(0.001, rel=1e-6)


def test_between_points_the_error_is_what_chance_sweeps_show():
    rng = np.random.default_rng(5)
    yaw, weights = np.linspace(-12, 12, 41), np.exp(-(np.linspace(-12, 12, 41) ** 2) / 50)
    points = [-10, -5, 0, 5, 10]
    cda = np.array([0.236, 0.245, 0.250, 0.244, 0.237])
    drawn = [weighted(sweep(points, cda + rng.normal(0.0, 0.001, 5)), yaw, weights).cda_m2 for _ in range(600)]
    stated = weighted(sweep(points, cda), yaw, weights).se_m2
    assert stated == pytest.approx(np.std(drawn), rel=0.1)


def test_the_share_beyond_is_of_time_not_of_weight():
    assert weighted(BOTH_SIDES, [0, 20], [9, 1], [1, 3]).beyond_share == 0.75
    assert weighted(ONE_SIDE, [-10, -11], [1, 1], [3, 1]).beyond_share == 0.25


# files


def read(tmp_path, content: str | bytes, **table):
    path = tmp_path / "sweep.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    text = sheet_text(tunnel=[{"setup": "faired", "file": "sweep.csv"} | table])
    return read_sweeps(run_sheet_from_text(text, path=tmp_path / "test.toml"))


def test_a_sweep_is_read_from_beside_the_run_sheet(tmp_path):
    (one,) = read(tmp_path, GOOD)
    assert one.setup == "faired"
    assert one.yaw_deg.tolist() == [0.0, 5.0, 10.0]
    assert one.cda_m2.tolist() == [0.250, 0.246, 0.238]
    assert one.sd_m2.tolist() == [0.001, 0.001, 0.002]
    assert one.file == "sweep.csv"
    assert len(one.sha256) == 64


def test_columns_may_stand_in_any_order_and_one_sd_in_the_run_sheet(tmp_path):
    (one,) = read(tmp_path, "cda_m2, yaw_deg\n0.25,-5\n0.24,0\n\n0.23,5\n", sd_m2=0.002)
    assert one.yaw_deg.tolist() == [-5.0, 0.0, 5.0]
    assert one.sd_m2.tolist() == [0.002] * 3
    assert one.sd_stated


def test_a_sweep_without_precision_says_so(tmp_path):
    (one,) = read(tmp_path, "cda_m2,yaw_deg\n0.25,-5\n0.24,0\n0.23,5\n")
    assert not one.sd_stated
    assert one.sd_m2.tolist() == [0.0] * 3


REFUSED = {
    "two points": (HEADER + "0,0.25,0.001\n5,0.24,0.001\n", "2 points of yaw; allowed are 3 or more"),
    "no points": (HEADER, "no points"),
    "unsorted yaw": (HEADER + "0,0.25,0\n10,0.24,0\n5,0.24,0\n", "yaw_deg 5 comes after 10"),
    "an angle twice": (HEADER + "0,0.25,0\n5,0.24,0\n5,0.24,0\n", "yaw_deg 5 comes after 5"),
    "a missing column": ("yaw_deg,drag\n0,0.25\n5,0.24\n10,0.23\n", "column cda_m2 is missing"),
    "an unknown column": ("yaw_deg,cda_m2,speed\n0,0.25,45\n", "unknown column 'speed'"),
    "a column twice": ("yaw_deg,cda_m2,cda_m2\n0,0.25,0.25\n", "appears twice"),
    "not a number": (HEADER + "0,0.25,0\n5,nan,0\n10,0.23,0\n", "line 3: cda_m2 is 'nan'; allowed is a number from"),
    "an empty cell": (HEADER + "0,0.25,0\n5,,0\n10,0.23,0\n", "line 3: cda_m2 is ''"),
    "square centimetres": (HEADER + "0,2500,0\n5,2400,0\n10,2300,0\n", "allowed is a number from 0.01 to 2 m2"),
    "an angle beyond the side": (HEADER + "0,0.25,0\n5,0.25,0\n100,0.23,0\n", "line 4: yaw_deg is '100'"),
    "a negative sd": (HEADER + "0,0.25,-1\n", "sd_m2 is '-1'"),
    "decimal commas": (HEADER + "0,0,25,0,001\n", "5 cells for 3 columns"),
    "semicolons": ("yaw_deg;cda_m2\n0;0.25\n", "separated by commas"),
    "bytes": (b"\xff\xfe\x00\x01", "not UTF-8"),
    "zero bytes": (bytes(100), "no table of a sweep"),
    "an empty file": ("", "column yaw_deg is missing"),
}


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_what_is_no_sweep_is_refused_in_one_sentence(tmp_path, name):
    content, about = REFUSED[name]
    with pytest.raises(RunSheetError) as caught:
        read(tmp_path, content)
    message = str(caught.value)
    assert about in message
    assert "sweep.csv" in message
    assert "\n" not in message


def test_a_precision_given_twice_is_refused(tmp_path):
    with pytest.raises(RunSheetError, match="keep one of them"):
        read(tmp_path, GOOD, sd_m2=0.001)


def test_a_file_that_is_not_there_is_named(tmp_path):
    text = sheet_text(tunnel=[{"setup": "faired", "file": "gone.csv"}])
    with pytest.raises(RunSheetError, match=r"\[\[tunnel\]\] no. 1, file: gone.csv cannot be read"):
        read_sweeps(run_sheet_from_text(text, path=tmp_path / "test.toml"))
