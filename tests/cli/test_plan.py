"""The command that plans a test."""

from __future__ import annotations

import json

import pytest

from tests.cli.command_line import fieldaero, hashes, nothing_changes, one_sentence

ROAD = ("--wind-m-s", 1, "--lap-length-m", 900)
USUAL = (*ROAD, "--smallest-m2", 0.006)


def test_a_plan_its_page_its_run_sheet_and_its_trial(tmp_path):
    page, sheet = tmp_path / "plan.html", tmp_path / "test.toml"
    done = fieldaero(
        "plan", *USUAL, "--laps", 3, "--setup", "bare", "--setup", 'the "hat"', "--sheet", page, "--run-sheet", sheet,
        "--simulate", 2, "--json", "--crr", 0.005,
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["setups"] == ["bare", 'the "hat"']
    assert len(told["order"]) == 6
    assert told["simulated"]["sessions"] == 2
    assert 0.1 < told["simulated"]["rmse_m2"] / told["se_m2"] < 4.0
    assert "the &quot;hat&quot;" in page.read_text(encoding="utf-8")
    _the_run_sheet_says_what_is_missing(sheet)


def _the_run_sheet_says_what_is_missing(sheet):
    one_sentence(fieldaero("analyse", sheet), status=2, about="mass_kg is missing")
    text = sheet.read_text(encoding="utf-8")
    assert "crr = 0.005 " in text
    text = text.replace("# mass_kg =", "mass_kg = 80 #")
    sheet.write_text(text, encoding="utf-8")
    one_sentence(fieldaero("analyse", sheet), status=2, about="temperature_c is missing")
    for key, value in (("temperature_c", 18), ("pressure_hpa", 1000), ("relative_humidity_pct", 60)):
        text = text.replace(f"# {key} =", f"{key} = {value} #")
    sheet.write_text(text, encoding="utf-8")
    one_sentence(fieldaero("analyse", sheet), status=2, about="ride.fit")


def test_as_text_the_answer_comes_first_and_cautions_last():
    done = fieldaero("plan", *USUAL, "--laps", 2)
    assert done.exit_code == 0, done.output
    assert done.stdout.split(":")[0] in ("GO", "MARGINAL", "NO-GO")
    assert "Order: baseline · setup 2 · baseline · setup 2 · baseline" in done.stdout
    assert "need a tunnel or an air-speed sensor" in done.stdout
    assert "Local rules come first" in done.stdout.splitlines()[-1]


REFUSED = {
    "zero laps": ([*USUAL, "--laps", 0], "0 laps per setup; allowed is 2 to 60"),
    "less than zero laps": ([*USUAL, "--laps", -4], "-4 laps per setup"),
    "negative wind": (["--wind-m-s", -1, "--lap-length-m", 900, "--smallest-m2", 0.005], "wind_m_s is -1"),
    "wind in other units": (["--wind-m-s", 45, "--lap-length-m", 900, "--smallest-m2", 0.005], "not km/h"),
    "wind that is none": (["--wind-m-s", "nan", "--lap-length-m", 900, "--smallest-m2", 0.005], "not a number"),
    "one setup": ([*USUAL, "--setups", 1], "1 setup given; allowed is 2 to 8"),
    "one named setup": ([*USUAL, "--setup", "bare"], "1 setup given"),
    "no setups": ([*USUAL, "--setups", 0], "setup"),
    "a setup given twice": ([*USUAL, "--setup", "bare", "--setup", "bare"], '"bare" is given twice'),
    "a setup without a name": ([*USUAL, "--setup", "bare", "--setup", " "], "has no name"),
    "names and another number": ([*USUAL, "--setup", "a", "--setup", "b", "--setups", 3], "one or the other"),
    "no smallest difference": (ROAD, "given 0 times"),
    "two smallest differences": ([*USUAL, "--smallest-s", 10], "given 2 times"),
    "a smallest difference of zero": ([*ROAD, "--smallest-s", 0], "above zero"),
    "a smallest difference that is none": ([*ROAD, "--smallest-w", "nan"], "above zero"),
    "no course": (["--wind-m-s", 1, "--smallest-m2", 0.005], "--lap-length-m"),
    "a course of no length": (["--wind-m-s", 1, "--lap-length-m", 0, "--smallest-m2", 0.005], "lap_length_m is 0"),
    "power and speed": ([*USUAL, "--power-w", 200, "--speed-km-h", 40], "give one of them"),
    "power of a lamp": ([*USUAL, "--power-w", 5], "power_w is 5"),
    "no time": ([*USUAL, "--time-min", 0], "available_min is 0"),
    "no sessions": ([*USUAL, "--simulate", 0], "--simulate is 0"),
    "a ride that is not there": (["--wind-m-s", 1, "--ride", "none.fit", "--smallest-m2", 0.005], "none.fit"),
    "a former test that is not there": ([*USUAL, "--former", "none.json"], "none.json"),
    "a mass that is none": ([*USUAL, "--mass-kg", "nan"], "--mass-kg is not a number"),
    "a speed that is none": ([*USUAL, "--speed-km-h", "nan"], "speed_km_h is not a number"),
    "a length that is none": (["--wind-m-s", 1, "--lap-length-m", "nan", "--smallest-m2", 0.005], "not a number"),
    "no wind at all": (["--lap-length-m", 900, "--smallest-m2", 0.005], "--wind-m-s"),
}


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_what_cannot_be_planned_is_one_sentence_and_writes_nothing(tmp_path, name):
    args, about = REFUSED[name]
    one_sentence(fieldaero("plan", *args, "--sheet", tmp_path / "plan.html"), status=2, about=about)
    assert hashes(tmp_path) == {}


def test_a_page_that_is_there_is_left_alone(tmp_path):
    (tmp_path / "plan.html").write_text("mine", encoding="utf-8")
    with nothing_changes(tmp_path):
        one_sentence(fieldaero("plan", *USUAL, "--sheet", tmp_path / "plan.html"), status=2, about="--force")


def test_page_and_run_sheet_have_names_of_their_own(tmp_path):
    both = tmp_path / "one"
    one_sentence(fieldaero("plan", *USUAL, "--sheet", both, "--run-sheet", both), status=2, about="two names")
    assert hashes(tmp_path) == {}


def test_force_does_not_replace_what_the_plan_reads(tmp_path):
    former = tmp_path / "former.toml"
    former.write_text("schema = 1\n", encoding="utf-8")
    with nothing_changes(tmp_path):
        args = ("plan", *USUAL, "--former", former, "--run-sheet", former, "--force")
        one_sentence(fieldaero(*args), status=2, about="no input is replaced")
