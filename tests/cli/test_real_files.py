"""The commands on files as devices write them: a result or a clear sentence, never anything else."""

from __future__ import annotations

import tomllib
from functools import cache

import pytest

import fieldaero.rides
from tests.cli.command_line import fieldaero as run
from tests.rides.test_real_files import ABSENT, FILES


@pytest.fixture(autouse=True)
def _each_file_is_read_once(monkeypatch):
    read = cache(fieldaero.rides.read_ride)
    monkeypatch.setattr("fieldaero.rides.read_ride", read)
    monkeypatch.setattr("fieldaero.run_sheet.template.read_ride", read)


@pytest.mark.parametrize("path", FILES or [ABSENT], ids=lambda path: path.name if path else "none")
def test_a_real_file_gives_laps_and_a_sheet_or_a_sentence(path, tmp_path):
    sheet = tmp_path / "sheet.toml"
    for result in (run("laps", path), run("init", path, "--out", sheet)):
        assert result.exit_code in (0, 1, 2)
        assert "fault of fieldaero" not in result.stderr
        if result.exit_code == 0:
            assert result.stderr == ""
            assert result.stdout
        else:
            assert result.stdout == ""
            assert len(result.stderr.splitlines()) == 1
            assert path.name in result.stderr
    assert sheet.exists() == (result.exit_code == 0)
    if sheet.exists():
        assert tomllib.loads(sheet.read_text(encoding="utf-8"))["rides"][0]["laps"]
