"""The sample session: made anew it is the same, and its analysis finds what was put in."""

from __future__ import annotations

import json

import pytest

from fieldaero.run_sheet.sheet import read_run_sheet
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder
from tests.cli.command_line import hashes
from tests.make_sample import make_sample, sample_scenario
from tests.whole_sessions import sample_result


def truth() -> dict:
    return json.loads((sample_folder() / "truth.json").read_text(encoding="utf-8"))


def test_made_anew_it_is_the_same_to_the_byte(tmp_path):
    make_sample(tmp_path)
    shipped = {name: digest for name, digest in hashes(sample_folder()).items() if "__" not in name}
    assert hashes(tmp_path) == shipped


def test_it_says_that_it_is_invented():
    folder = sample_folder()
    assert "invented data" in read_run_sheet(folder / SAMPLE_SHEET).title
    for name in ("README.md", SAMPLE_SHEET):
        assert "invented data" in (folder / name).read_text(encoding="utf-8").splitlines()[0]


def test_it_is_a_whole_test_of_three_setups():
    sheet = read_run_sheet(sample_folder() / SAMPLE_SHEET)
    assert len(sheet.setups) >= 3
    assert 12 <= len(sample_scenario().order) <= 16
    assert all(sum(lap == setup.name for lap in sheet.rides[0].laps) >= 3 for setup in sheet.setups)
    assert sheet.claims
    assert sheet.tunnel


def test_the_run_sheet_says_of_each_lap_what_was_ridden():
    # The device counts the way to the line as its first lap; the lap with the halt is left out by the tester.
    true = truth()
    named = read_run_sheet(sample_folder() / SAMPLE_SHEET).rides[0].laps
    ridden = ["-", *true["lap_setup"], "-"]
    halted = true["stopped_laps"][0]
    assert ridden[halted] != "-"
    ridden[halted] = "-"
    assert list(named) == ridden


def test_the_lap_with_the_braking_and_the_one_with_the_halt_are_flagged_so():
    laps = sample_result().laps.set_index("lap")
    true = truth()
    (braked,), (stopped,) = ([k + 1 for k in true[what]] for what in ("braked_laps", "stopped_laps"))
    assert (braked, stopped) == (6, 11)
    assert [lap for lap, flags in laps["flags"].items() if "stopped" in flags] == [stopped]
    assert "braked" in laps.loc[braked, "flags"]
    assert not any(flags for lap, flags in laps["flags"].items() if lap not in (1, braked, stopped, 16))


def test_the_true_differences_lie_within_their_intervals():
    true, found = truth()["setup_cda_m2"], sample_result().comparison_results
    assert len(found) == 2
    for comparison in found:
        low, high = comparison.interval95_m2
        assert low < true[comparison.setup] - true[comparison.versus] < high
        assert comparison.verdict == "lower drag"


def test_the_true_drag_areas_and_rolling_resistance_lie_within_theirs():
    true, found = truth(), sample_result()
    for setup in found.setup_results:
        low, high = setup.interval95_m2
        assert low < true["setup_cda_m2"][setup.setup] < high
    assert true["crr"] == pytest.approx(found.crr.value, abs=2.0 * found.crr.se)


def test_the_wind_is_found_again():
    true, wind = truth(), sample_result().wind
    assert wind.mean_m_s == pytest.approx(true["wind_speed_m_s"], abs=2.0 * wind.mean_sd_m_s)
    assert abs((wind.from_deg - true["wind_from_deg"] + 180.0) % 360.0 - 180.0) < 30.0
