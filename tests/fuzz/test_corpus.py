"""Twelve thousand mutants of small files, the same in every run: each gives a result or a named error."""

from __future__ import annotations

import base64
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.fuzz.campaign import LONGEST_S
from tests.fuzz.mutants import mutants
from tests.fuzz.targets import FORMATS, Fault, outcome, real_seeds

ROOT = Path(__file__).resolve().parents[2]
COUNT = {"fit": 2500, "tcx": 2000, "gpx": 2000, "csv": 2000, "metar": 2000, "sheet": 1500}
SEED = 20260503
REAL = {"fit": 300, "tcx": 150, "gpx": 150}


def campaign(name: str, count: int, *more: str) -> dict:
    done = subprocess.run(
        [sys.executable, "-m", "tests.fuzz.campaign", name, str(count), str(SEED), *more],
        cwd=ROOT,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


def sound(told: dict, count: int) -> None:
    faults = told["faults"]
    assert not faults, [(fault["what"], base64.b64decode(fault["data"])[:300]) for fault in faults[:3]]
    assert sum(told["kinds"].values()) == count
    assert told["slowest_s"] < LONGEST_S


def test_there_are_ten_thousand_mutants():
    assert set(COUNT) == set(FORMATS)
    assert sum(COUNT.values()) >= 10_000


@pytest.mark.parametrize("name", FORMATS)
def test_every_mutant_gives_a_result_or_a_named_error(name):
    told = campaign(name, COUNT[name])
    sound(told, COUNT[name])
    # Both happen often, or the mutants are all too mild or all too wild to test anything.
    assert told["kinds"]["result"] > 0.03 * COUNT[name]
    assert sum(n for kind, n in told["kinds"].items() if kind != "result") > 0.1 * COUNT[name]


@pytest.mark.parametrize("name", REAL)
def test_so_does_every_mutant_of_real_files(name):
    if not real_seeds(name):
        pytest.skip("no real ride files; name their folder in FIELDAERO_REAL_RIDES")
    sound(campaign(name, REAL[name], "--real"), REAL[name])


@pytest.mark.parametrize("name", FORMATS)
def test_mutants_are_the_same_in_every_run_and_differ_from_each_other(name):
    form = FORMATS[name]
    first, second = (list(mutants(form.seeds(), count=200, text=form.text, seed=5)) for _ in range(2))
    assert first == second
    assert len(set(first)) > 140
    assert not set(first) <= set(form.seeds())


@pytest.mark.parametrize("name", FORMATS)
def test_the_files_to_begin_with_are_whole(name):
    assert {outcome(name, seed) for seed in FORMATS[name].seeds()} == {"result"}


def test_an_error_that_is_not_named_is_a_fault(monkeypatch):
    def broken(content, **_):
        raise KeyError("no such thing")

    monkeypatch.setattr("tests.fuzz.targets.read_ride_bytes", broken)
    with pytest.raises(Fault, match="KeyError"):
        outcome("fit", FORMATS["fit"].seeds()[0])


def test_a_reader_that_hides_a_traceback_is_a_fault(monkeypatch):
    def broken(*_):
        raise KeyError("no such thing")

    monkeypatch.setattr("fieldaero.rides.formats.csv.read_csv", broken)
    with pytest.raises(Fault, match="stops reading"):
        outcome("csv", FORMATS["csv"].seeds()[0])
