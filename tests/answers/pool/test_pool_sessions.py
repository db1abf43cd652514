"""Simulated sessions whose truth is known, pooled through the whole chain and through the command line."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from fieldaero.answers.analysis import analyse
from fieldaero.answers.pool import pool_results
from fieldaero.answers.pool.legs import session_contrast
from fieldaero.basics.errors import CannotAnswerError, RunSheetError
from fieldaero.compare.verdict import LOWER, NOT_RESOLVED
from tests.cli.command_line import fieldaero, nothing_changes, one_sentence
from tests.written_sessions import scenario, written

TRUE = {"road bar": 0.270, "aero bar": 0.240, "wide bar": 0.255}
DAYS = {  # the baseline first
    "day1": ("road bar", "aero bar"),
    "day2": ("aero bar", "road bar"),
    "day3": ("road bar", "aero bar"),
    "day4": ("wide bar", "aero bar"),
}
ALL = tuple(DAYS)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    top = tmp_path_factory.mktemp("sessions")
    for k, (day, setups) in enumerate(DAYS.items(), start=1):
        made_of = scenario(
            setups={name: TRUE[name] for name in setups},
            lap_length_m=1000.0,
            start_time=datetime(2026, 5, k, 7, 0, tzinfo=UTC),
        )
        written(top / day, made_of, seed=40 + k)
    return top


@pytest.fixture(scope="module")
def results(folder):
    return {day: analyse(folder / day / "runsheet.toml") for day in ALL}


def pooled(results, *days, **more):
    return pool_results([results[day] for day in days], sheets=days, **more)


def test_three_days_hold_the_truth_whichever_way_round_they_were_ridden(results):
    (c,) = pooled(results, "day1", "day2", "day3").pooled_comparisons
    assert (c.setup, c.versus, c.link, len(c.sessions)) == ("aero bar", "road bar", "direct", 3)
    low, high = c.interval95_m2
    assert low <= -0.030 <= high
    assert c.verdict == LOWER
    assert c.se_m2 < max(row.se_m2 for row in c.sessions)
    assert all(row.delta_cda_m2 < 0.0 for row in c.sessions)


def test_the_order_of_the_sheets_changes_nothing(results):
    (one,) = pooled(results, "day1", "day2", "day3").pooled_comparisons
    (other,) = pooled(results, "day3", "day2", "day1").pooled_comparisons
    assert other.interval95_m2 == pytest.approx(one.interval95_m2, rel=1e-6)


def test_turned_round_the_comparison_changes_its_sign(results):
    (one,) = pooled(results, "day1", "day2", "day3").pooled_comparisons
    (other,) = pooled(results, "day1", "day2", "day3", versus="aero bar").pooled_comparisons
    assert other.setup == "road bar"
    assert other.interval95_m2 == pytest.approx([-b for b in reversed(one.interval95_m2)], rel=1e-6)
    assert other.watts.value == pytest.approx(-one.watts.value, rel=1e-6)


def test_a_setup_of_another_day_is_linked_by_the_common_one(results):
    by_setup = {c.setup: c for c in pooled(results, *ALL).pooled_comparisons}
    wide = by_setup["wide bar"]
    assert (wide.link, wide.via) == ("indirect", ("aero bar",))
    # One day with the wide bar: no interval over sessions, but the sessions' own errors hold the truth.
    assert (wide.interval95_m2, wide.verdict) == (None, NOT_RESOLVED)
    low, high = wide.interval95_without_session_scatter_m2
    assert low <= TRUE["wide bar"] - TRUE["road bar"] <= high
    assert wide.se_m2 > by_setup["aero bar"].se_m2
    direct = pooled(results, "day1", "day2", "day3").pooled_comparisons[0]
    assert by_setup["aero bar"].delta_cda_m2 == pytest.approx(direct.delta_cda_m2)


def test_days_with_a_common_setup_but_no_common_pair_average_nothing(results):
    found = pooled(results, "day1", "day4")
    assert any("nothing is averaged" in sentence for sentence in found.warnings)
    assert [c.link for c in found.pooled_comparisons] == ["direct", "indirect"]


def test_any_pair_of_a_session_can_be_had_and_turned(results):
    there = session_contrast(results["day1"], sheet="day1", setup="aero bar", versus="road bar")
    back = session_contrast(results["day1"], sheet="day1", setup="road bar", versus="aero bar")
    assert back.delta_cda_m2 == -there.delta_cda_m2
    assert back.interval95_m2 == (-there.interval95_m2[1], -there.interval95_m2[0])
    assert back.shared_m2 == {name: -value for name, value in there.shared_m2.items()}
    with pytest.raises(CannotAnswerError, match='no usable laps of both "wide bar"'):
        session_contrast(results["day1"], sheet="day1", setup="wide bar", versus="road bar")


def test_a_pair_without_the_baseline_agrees_with_its_two_differences():
    from tests.whole_sessions import sample_result

    result = sample_result()
    first, second = (
        session_contrast(result, sheet="s", setup=name, versus="road bar")
        for name in ("narrow extensions", "low extensions")
    )
    between = session_contrast(result, sheet="s", setup="narrow extensions", versus="low extensions")
    assert between.delta_cda_m2 == pytest.approx(first.delta_cda_m2 - second.delta_cda_m2, abs=2e-5)
    # Laps of one session: the baseline's error is common to both differences, so theirs must not simply add up.
    assert between.se_m2 < 0.9 * (first.se_m2**2 + second.se_m2**2) ** 0.5


def test_shared_inputs_matter_in_proportion_to_the_difference():
    # The claim of the room's docstring: about 2 % of the difference, in a session of 12 laps.
    from tests.whole_sessions import sample_result

    c = session_contrast(sample_result(), sheet="s", setup="narrow extensions", versus="road bar")
    shared = sum(value**2 for value in c.shared_m2.values()) ** 0.5
    assert set(c.shared_m2) == {"mass", "power scale", "wheel circumference", "rolling resistance Crr"}
    assert shared / abs(c.delta_cda_m2) == pytest.approx(0.02, abs=0.01)
    assert shared < 0.5 * c.se_m2


def test_the_same_laps_under_two_names_count_once(results):
    with pytest.raises(RunSheetError, match=r"again: lap \d+ of ride\.csv is used in day1 too"):
        pool_results([results["day1"], results["day1"]], sheets=("day1", "again"))


def test_a_setup_that_nobody_rode_cannot_be_compared_with(results):
    with pytest.raises(CannotAnswerError, match='no usable laps of "tall bar"'):
        pooled(results, "day1", "day2", versus="tall bar")


def test_laps_that_cannot_be_used_link_nothing(results):
    # The sheets have a setup in common, but all its laps of that day were lost.
    lost = replace(
        results["day4"],
        setup_results=tuple(replace(s, laps=0) if s.setup == "aero bar" else s for s in results["day4"].setup_results),
    )
    with pytest.raises(CannotAnswerError, match="day4: shares no setup"):
        pool_results([results["day1"], lost], sheets=("day1", "day4"))


# Through the command line


def sheets(folder, *days):
    return [folder / day / "runsheet.toml" for day in days]


def test_the_command_prints_json_and_writes_tables_and_figure(folder, tmp_path):
    out, figure = tmp_path / "pooled", tmp_path / "forest.svg"
    with nothing_changes(folder):
        done = fieldaero("pool", *sheets(folder, "day1", "day2"), "--json", "--out", out, "--figure", figure)
    assert done.exit_code == 0, done.stderr
    told = json.loads(done.stdout)
    assert json.loads((out / "pooled.json").read_text(encoding="utf-8")) == told
    assert sorted(path.name for path in out.iterdir()) == [
        "pooled.csv",
        "pooled.json",
        "pooled.txt",
        "pooled_sessions.csv",
    ]
    assert figure.read_text(encoding="utf-8").startswith("<?xml")
    assert "12.7 standard errors" in (out / "pooled.txt").read_text(encoding="utf-8")
    (c,) = told["pooling"]
    assert (c["setup"], c["versus"], len(c["sessions"])) == ("aero bar", "road bar", 2)


def test_an_input_is_not_replaced_by_the_figure(folder, tmp_path):
    own = tmp_path / "day1"
    shutil.copytree(folder / "day1", own)
    (own / "runsheet.toml").rename(own / "sheet.png")
    with nothing_changes(own):
        done = fieldaero("pool", own / "sheet.png", *sheets(folder, "day2"), "--figure", own / "sheet.png")
        one_sentence(done, status=2, about="is an input")


@pytest.mark.parametrize(
    ("days", "more", "about"),
    [
        (["day1"], [], "pooling needs two run sheets or more, and 1 was given"),
        (["day1", "day1"], [], "is the same run sheet as"),
        (["day1", "nowhere"], [], "there is no such file"),
        (["day1", "day2"], ["--versus", "areo bar"], "did you mean aero bar?"),
        (["day1", "day2"], ["--figure", "forest.jpeg"], "the name must end in .svg or .png"),
        ([], [], "Missing argument 'SHEET...'"),
    ],
)
def test_wrong_use_is_one_sentence(folder, days, more, about):
    with nothing_changes(folder):
        one_sentence(fieldaero("pool", *sheets(folder, *days), *more), status=2, about=about)


def renamed(folder, tmp_path, names):
    copy = tmp_path / "other"
    shutil.copytree(folder / "day2", copy)
    text = (copy / "runsheet.toml").read_text(encoding="utf-8")
    for old, new in names.items():
        text = text.replace(f'"{old}"', f'"{new}"')
    (copy / "runsheet.toml").write_text(text, encoding="utf-8")
    return copy / "runsheet.toml"


def test_unrelated_sheets_are_one_sentence_that_names_the_stranger(folder, tmp_path):
    other = renamed(folder, tmp_path, {"road bar": "disc", "aero bar": "spokes"})
    line = one_sentence(
        fieldaero("pool", *sheets(folder, "day1", "day3"), other),
        status=2,
        about="shares no setup",
    )
    assert "other/runsheet.toml: shares no setup" in line


def test_names_that_differ_in_capitals_get_a_hint(folder, tmp_path):
    other = renamed(folder, tmp_path, {"road bar": "Road bar", "aero bar": "Aero  bar"})
    one_sentence(fieldaero("pool", *sheets(folder, "day1"), other), status=2, about="differ only in capitals")


def test_a_copied_sheet_does_not_count_twice(folder, tmp_path):
    other = renamed(folder, tmp_path, {})
    one_sentence(fieldaero("pool", *sheets(folder, "day2"), other), status=2, about="and a lap counts once")
