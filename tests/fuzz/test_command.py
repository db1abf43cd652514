"""The command of long campaigns: what it needs, and how it keeps what it finds."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldaero.basics.errors import RideError
from tests.fuzz import __main__ as command
from tests.fuzz.targets import FORMATS


def test_without_the_fuzzer_it_says_what_to_install(monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["fuzz", "--minutes", "0.01", "--only", "metar"])
    monkeypatch.setattr(command.importlib.util, "find_spec", lambda name: None)
    assert command.main() == 2
    assert "pip install atheris" in capsys.readouterr().err


@pytest.fixture
def faulty(monkeypatch):
    """A reader of CSV that trips over one word, and refuses what is empty."""

    def read(content):
        if b"boom" in content:
            raise KeyError("boom")
        if not content:
            raise RideError("empty")

    monkeypatch.setitem(FORMATS, "csv", replace(FORMATS["csv"], read=read))


def test_what_goes_wrong_is_kept_as_small_as_it_can_be(faulty, tmp_path, monkeypatch):
    monkeypatch.setattr(command, "FOUND", tmp_path)
    kept = command.keep("csv", b"time_s,power_w\n1,2\n3,boom,4\n" * 20)
    assert kept.read_bytes() == b"boom"
    assert kept.name.startswith("csv-")


def test_what_goes_right_is_not_cut_down(faulty):
    whole = FORMATS["csv"].seeds()[0]
    assert command.shortest("csv", whole) == whole
