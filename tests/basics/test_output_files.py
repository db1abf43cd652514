"""Several files are written all or none, and never over an input."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from fieldaero.basics.errors import FieldaeroError
from fieldaero.basics.output_files import json_text, write_files, write_text
from tests.cli.command_line import hashes, nothing_changes

CONTENT = {"a.txt": b"first\n", "b.txt": b"second\n"}


def test_a_new_folder_is_made_with_its_parents(tmp_path):
    written = write_files(CONTENT, tmp_path / "out" / "deep")
    assert [path.read_bytes() for path in written] == [b"first\n", b"second\n"]
    assert sorted(hashes(tmp_path)) == ["out/deep/a.txt", "out/deep/b.txt"]


def test_earlier_results_are_replaced_and_strangers_left(tmp_path):
    (tmp_path / "a.txt").write_bytes(b"old")
    (tmp_path / "notes.txt").write_bytes(b"mine")
    write_files(CONTENT, tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "b.txt", "notes.txt"]
    assert (tmp_path / "a.txt").read_bytes() == b"first\n"


def test_an_input_under_one_of_the_names_stops_all(tmp_path):
    (tmp_path / "b.txt").write_bytes(b"a ride")
    with nothing_changes(tmp_path), pytest.raises(FieldaeroError, match=r"b\.txt: is an input"):
        write_files(CONTENT, tmp_path, inputs_sha256={hashlib.sha256(b"a ride").hexdigest()})


@pytest.mark.parametrize("fails_at", [1, 2])
def test_a_move_that_fails_leaves_whole_files_and_nothing_else(tmp_path, monkeypatch, fails_at):
    before = {"a.txt": b"old a", "b.txt": b"old b"}
    for name, data in before.items():
        (tmp_path / name).write_bytes(data)
    calls, move = [], Path.replace

    def failing(self, target):
        calls.append(self)
        if len(calls) == fails_at:
            raise OSError(5, "Input/output error")
        return move(self, target)

    monkeypatch.setattr(Path, "replace", failing)
    with pytest.raises(FieldaeroError, match="Input/output error"):
        write_files(CONTENT, tmp_path)
    moved = list(CONTENT)[: fails_at - 1]
    expected = {name: CONTENT[name] if name in moved else data for name, data in before.items()}
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == expected


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()], ids=["full", "Ctrl+C"])
@pytest.mark.parametrize("folder", [".", "out/deep"])
def test_an_error_before_the_last_byte_is_written_changes_nothing(tmp_path, monkeypatch, error, folder):
    def failing(_):
        raise error

    (tmp_path / "a.txt").write_bytes(b"old")
    monkeypatch.setattr("fieldaero.basics.output_files.os.fsync", failing)
    expected = pytest.raises(FieldaeroError, match="No space left") if error.args else pytest.raises(KeyboardInterrupt)
    with nothing_changes(tmp_path), expected:
        write_files(CONTENT, tmp_path / folder)
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def test_a_folder_under_a_files_name_stops_all(tmp_path):
    (tmp_path / "b.txt").mkdir()
    with pytest.raises(FieldaeroError, match=r"b\.txt: is a folder"):
        write_files(CONTENT, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["b.txt"]


def test_a_file_where_the_folder_should_be_is_a_sentence(tmp_path):
    (tmp_path / "out").write_bytes(b"mine")
    with nothing_changes(tmp_path), pytest.raises(FieldaeroError, match="out: cannot be written"):
        write_files(CONTENT, tmp_path / "out")


def test_text_is_not_written_over_a_file_unless_asked(tmp_path):
    path = write_text("one\n", tmp_path / "sheet.toml")
    with nothing_changes(tmp_path), pytest.raises(FieldaeroError, match="left as it is"):
        write_text("two\n", path)
    write_text("two\n", path, replace=True)
    assert path.read_text(encoding="utf-8") == "two\n"
    assert list(tmp_path.iterdir()) == [path]


def test_a_number_that_is_none_in_json_is_an_error_of_the_caller():
    assert json.loads(json_text({"a": None, "m²": [1.5]})) == {"a": None, "m²": [1.5]}
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_text({"a": float("nan")})
