"""Mutants of small files, the same in every run: each gives a result or a named error.

``python -m tests.fuzz.campaign`` reads all 12,000, these tests a quarter of them.
"""

from __future__ import annotations

import base64
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.fuzz.campaign import COUNT, LONGEST_S
from tests.fuzz.mutants import mutants
from tests.fuzz.targets import FORMATS, Fault, outcome, real_seeds

ROOT = Path(__file__).resolve().parents[2]
SHARE = 0.25


def campaign(*options: str) -> list[dict]:
    done = subprocess.run(
        [sys.executable, "-m", "tests.fuzz.campaign", "--json", *options],
        cwd=ROOT,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


def sound(told: dict) -> None:
    faults = told["faults"]
    assert not faults, [(fault["what"], base64.b64decode(fault["data"])[:300]) for fault in faults[:3]]
    assert sum(told["kinds"].values()) == told["count"] > 0
    assert told["slowest_s"] < LONGEST_S


def test_every_mutant_gives_a_result_or_a_named_error():
    for told in campaign("--share", str(SHARE)):
        assert told["count"] == SHARE * COUNT[told["format"]]
        sound(told)
        # Both happen often, or the mutants are all too mild or all too wild to test anything.
        assert told["kinds"]["result"] > 0.03 * told["count"]
        assert sum(n for kind, n in told["kinds"].items() if kind != "result") > 0.1 * told["count"]


@pytest.mark.skipif(
    not any(map(real_seeds, FORMATS)), reason="no real ride files; name their folder in FIELDAERO_REAL_RIDES"
)
def test_so_does_every_mutant_of_real_files():
    for told in campaign("--real"):
        sound(told)


def test_the_whole_campaign_is_ten_thousand_mutants_of_all_formats():
    assert set(COUNT) == set(FORMATS)
    assert sum(COUNT.values()) >= 10_000


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

    monkeypatch.setattr("fieldaero.rides.read.read_csv", broken)
    with pytest.raises(Fault, match="stops reading"):
        outcome("csv", FORMATS["csv"].seeds()[0])
