"""The command that writes an invented session."""

from __future__ import annotations

import json

import pytest

from tests.cli.command_line import fieldaero, nothing_changes, one_sentence

SHORT = ("--laps", 4, "--lap-length-m", 900)


@pytest.mark.parametrize("kind", ["fit", "csv"])
def test_what_it_writes_can_be_analysed(tmp_path, kind):
    out = tmp_path / "made"
    done = fieldaero("simulate", "--out", out, "--format", kind, *SHORT)
    assert done.exit_code == 0
    assert sorted(path.name for path in out.iterdir()) == [f"ride.{kind}", "runsheet.toml", "truth.json"]
    assert f"fieldaero analyse {out}/runsheet.toml" in done.stdout
    with nothing_changes(tmp_path):
        told = fieldaero("analyse", out / "runsheet.toml", "--json")
    assert told.exit_code == 0
    (comparison,) = json.loads(told.stdout)["comparisons"]
    assert (comparison["setup"], comparison["versus"]) == ("second", "first")


def test_its_options_reach_the_truth(tmp_path):
    setups = ("--setup", "low = bar=0.25", "--setup", "wide=0.31")
    done = fieldaero(
        "simulate", "--out", tmp_path, *SHORT, "--format", "csv", *setups, "--wind-m-s", 2.5, "--wind-from-deg", 90
    )
    assert done.exit_code == 0, done.output
    truth = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    assert truth["setup_cda_m2"] == {"low = bar": 0.25, "wide": 0.31}
    assert truth["lap_setup"] == ["-", "low = bar", "wide", "wide", "low = bar", "-"]
    assert (truth["wind_speed_m_s"], truth["wind_from_deg"]) == (2.5, 90.0)


REFUSED = {
    "a setup without a drag area": (["--setup", "low bar"], '"low bar": allowed is NAME=CDA'),
    "a setup without a name": (["--setup", "=0.25"], '"=0.25": allowed is NAME=CDA'),
    "a setup of blanks": (["--setup", "  =0.25"], "allowed is NAME=CDA"),
    "a setup called like an unused lap": (["--setup", "-=0.25"], '"-=0.25": allowed is NAME=CDA'),
    "a drag area in words": (["--setup", "low=small"], '"low=small": allowed is NAME=CDA'),
    "a drag area that is none": (["--setup", "low=nan"], "a drag area of nan m2"),
    "a setup given twice": (["--setup", "low=0.25", "--setup", "low=0.26"], '"low" is given twice'),
    "no laps": (["--laps", 0], "the number of laps is 0; allowed is 1 to 200"),
    "a storm": (["--wind-m-s", 50], "the wind is 50 m/s; allowed is 0 to 12 m/s"),
    "a direction off the rose": (["--wind-from-deg", 400], "--wind-from-deg"),
    "a seed below zero": (["--seed", -1], "--seed"),
    "an unknown format": (["--format", "gpx"], "'fit', 'csv'"),
}


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_what_cannot_be_simulated_is_one_sentence_and_writes_nothing(tmp_path, name):
    args, about = REFUSED[name]
    one_sentence(fieldaero("simulate", "--out", tmp_path / "made", *args), status=2, about=about)
    assert not list(tmp_path.iterdir())


def test_without_a_folder_it_asks_for_one():
    one_sentence(fieldaero("simulate"), status=2, about="--out")


def test_a_run_sheet_that_is_there_is_not_written_over(tmp_path):
    (tmp_path / "runsheet.toml").write_text("# mine\n", encoding="utf-8")
    with nothing_changes(tmp_path):
        one_sentence(fieldaero("simulate", "--out", tmp_path, *SHORT), status=2, about="was left as it is")
