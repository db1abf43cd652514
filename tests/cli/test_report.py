from __future__ import annotations

import os
import zipfile

import pytest

from fieldaero.simulator.sample_folder import SAMPLE_SHEET, copy_sample
from tests.cli.command_line import fieldaero, hashes, nothing_changes, one_sentence


@pytest.fixture
def sheet(tmp_path):
    home = tmp_path / "session"
    copy_sample(home)
    return home / SAMPLE_SHEET


def test_report_writes_one_file_named_after_the_sheet_and_changes_no_other(sheet, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    before = hashes(sheet.parent)
    done = fieldaero("report", sheet)
    assert done.exit_code == 0, done.output
    assert done.stdout == "Wrote bar-test-report.html.\n"
    assert hashes(sheet.parent) == before
    assert sorted(os.listdir(tmp_path)) == ["bar-test-report.html", "session"]


def test_report_and_pdf_go_where_they_are_asked_to(sheet, tmp_path):
    html, pdf = tmp_path / "a" / "test.html", tmp_path / "b" / "test.pdf"
    done = fieldaero("report", sheet, "--out", html, "--pdf", pdf)
    if "a PDF needs" in done.output:
        pytest.skip(f"no PDF on this machine: {done.output}")
    assert done.exit_code == 0, done.output
    assert html.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert pdf.read_bytes().startswith(b"%PDF-")


def test_pack_writes_a_zip_and_says_what_originals_give_away(sheet, tmp_path):
    done = fieldaero("pack", sheet, "--out", tmp_path / "test.zip", "--with-originals")
    assert done.exit_code == 0, done.output
    assert "where and when you rode" in done.stderr
    with zipfile.ZipFile(tmp_path / "test.zip") as archive:
        assert archive.testzip() is None


@pytest.mark.parametrize(
    ("command", "about"),
    [
        (("report", "none.toml"), "no such file"),
        (("pack", "none.toml"), "no such file"),
        (("report", "none.toml", "--out", "report.pdf"), "must end in .html"),
        (("report", "none.toml", "--pdf", "report.html"), "must end in .pdf"),
        (("pack", "none.toml", "--out", "pack.tar"), "must end in .zip"),
    ],
)
def test_wrong_use_is_one_sentence(command, about, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with nothing_changes(tmp_path):
        one_sentence(fieldaero(*command), status=2, about=about)


def test_a_bad_photograph_ends_both_commands_before_anything_is_written(sheet, tmp_path):
    text = sheet.read_text(encoding="utf-8")
    with (sheet.parent / "huge.jpg").open("wb") as out:
        out.truncate(100_000_000)
    cases = (
        ("report", "r.html", "../huge.jpg", "outside"),
        ("report", "r.html", "huge.jpg", "100 MB"),
        ("pack", "p.zip", "morning.fit", "no JPEG"),
    )
    for command, target, name, about in cases:
        changed = text.replace('name = "road bar"\n', f'name = "road bar"\nphotos = ["{name}"]\n', 1)
        sheet.write_text(changed, encoding="utf-8")
        one_sentence(fieldaero(command, sheet, "--out", tmp_path / target), status=2, about=about)
        assert not (tmp_path / target).exists()


def test_no_input_is_replaced(sheet, tmp_path):
    (sheet.parent / "ride.zip").write_bytes((sheet.parent / "morning.fit").read_bytes())
    with nothing_changes(tmp_path):
        one_sentence(fieldaero("pack", sheet, "--out", sheet.parent / "ride.zip"), status=2, about="is an input")
