"""The command line on good input: what it prints, what it writes, and how it leaves."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from fieldaero.basics.errors import CannotAnswerError
from fieldaero.cli import commands
from tests.cli.command_line import ROOT, fieldaero, hashes, nothing_changes, one_sentence, process, ride_csv

README = ROOT / "README.md"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rides")
    ride_csv(folder / "morning.csv", brake_in_lap=3)
    ride_csv(folder / "unmarked.csv", laps=4, marks=False)
    return folder


@pytest.mark.parametrize("name", sorted(commands.commands))
def test_every_command_has_help_and_every_option_too(name):
    command = commands.commands[name]
    result = fieldaero(name, "--help")
    assert result.exit_code == 0
    assert command.help
    assert command.get_short_help_str(limit=200).endswith(".")
    assert all(param.help for param in command.params if param.param_type_name == "option")


@pytest.mark.parametrize("name", sorted(commands.commands))
def test_every_command_appears_in_the_readme(name):
    assert f"fieldaero {name}" in README.read_text(encoding="utf-8")


def test_without_a_command_the_help_is_shown():
    result = fieldaero()
    assert result.exit_code == 0
    assert all(name in result.stdout for name in commands.commands)


def test_the_version_is_one_line():
    result = fieldaero("--version")
    assert result.exit_code == 0
    assert result.stdout.startswith("fieldaero")
    assert len(result.stdout.splitlines()) == 1


def test_help_loads_no_heavy_library():
    code = (
        "import sys\nfrom fieldaero.cli import commands\n"
        "try:\n    commands.main(['analyse', '--help'])\nexcept SystemExit:\n    pass\n"
        "print([name for name in ('numpy', 'pandas', 'scipy', 'matplotlib', 'pydantic') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_laps_are_listed_with_how_they_were_found(folder):
    with nothing_changes(folder):
        result = fieldaero("laps", folder / "morning.csv")
    assert result.exit_code == 0
    assert 'Laps by "button"' in result.stdout
    rows = [line.split() for line in result.stdout.splitlines() if line.strip()[:1].isdigit()]
    assert [row[0] for row in rows][:6] == ["1", "2", "3", "4", "5", "6"]
    assert all(abs(float(row[3]) - 1500.0) < 15.0 for row in rows[:6])
    assert "braked" in next(" ".join(row) for row in rows if row[0] == "3")
    assert "lap 3: Braked at 09:0" in result.stdout


def test_without_marks_the_road_repeats_itself(folder):
    result = fieldaero("laps", folder / "unmarked.csv")
    assert result.exit_code == 0
    assert 'Laps by "repeat": the ride has no lap marks, but the road repeats itself.' in result.stdout


def test_a_source_that_is_asked_for_is_used(folder):
    result = fieldaero("laps", folder / "morning.csv", "--source", "repeat", "--json")
    assert json.loads(result.stdout)["lap_source"] == "repeat"


def test_laps_as_json_are_the_laps_of_the_table(folder):
    told = json.loads(fieldaero("laps", folder / "morning.csv", "--json").stdout)
    assert told["course"]["length_m"] == pytest.approx(1500.0, rel=0.005)
    assert told["course"]["closed"]
    assert [lap["lap"] for lap in told["laps"]] == list(range(1, len(told["laps"]) + 1))
    assert [lap["lap"] for lap in told["laps"] if "braked" in lap["flags"]] == [3]
    for lap in told["laps"]:
        assert lap["speed_m_s"] == pytest.approx(lap["distance_m"] / lap["duration_s"])
        assert len(lap["flag_sentences"]) >= len(lap["flags"])


def test_a_sheet_is_written_once_and_not_over_another(folder, tmp_path):
    sheet = tmp_path / "sheet.toml"
    assert fieldaero("init", folder / "morning.csv", "--out", sheet).exit_code == 0
    assert list(hashes(tmp_path)) == ["sheet.toml"]
    with nothing_changes(tmp_path):
        one_sentence(fieldaero("init", folder / "unmarked.csv", "--out", sheet), status=2, about="--force")
    before = sheet.read_text(encoding="utf-8")
    assert fieldaero("init", folder / "unmarked.csv", "--out", sheet, "--force").exit_code == 0
    assert sheet.read_text(encoding="utf-8") != before


def test_force_does_not_replace_a_ride_by_its_sheet(folder):
    ride = folder / "morning.csv"
    with nothing_changes(folder):
        one_sentence(fieldaero("init", ride, "--out", ride, "--force"), status=2, about="one of the rides")


def test_a_failed_command_leaves_no_file(folder, tmp_path):
    one_sentence(fieldaero("init", tmp_path / "none.fit", "--out", tmp_path / "s.toml"), status=2, about="no such file")
    assert hashes(tmp_path) == {}


def test_a_folder_that_is_not_there_is_a_sentence(folder, tmp_path):
    one_sentence(
        fieldaero("init", folder / "morning.csv", "--out", tmp_path / "no" / "s.toml"),
        status=2,
        about="cannot be written",
    )


@pytest.mark.parametrize(
    ("args", "about"),
    [
        (["lapse"], "No such command 'lapse'"),
        (["laps"], "Missing argument 'RIDE'"),
        (["laps", "x.fit", "--sauce", "button"], "--sauce"),
        (["laps", "x.fit", "--source", "magic"], "'button', 'line', 'repeat'"),
        (["init"], "Missing argument 'RIDE...'"),
        (["analyse"], "Missing argument 'SHEET'"),
    ],
)
def test_wrong_use_is_one_line_and_status_2(args, about):
    assert "--help" in one_sentence(fieldaero(*args), status=2, about=about)


def test_data_that_cannot_answer_have_status_1(monkeypatch):
    _replace_reader(monkeypatch, CannotAnswerError("ride.fit: too short. Ride on."))
    one_sentence(fieldaero("laps", "ride.fit"), status=1, about="too short")


@pytest.mark.parametrize(
    ("error", "about"),
    [
        (OSError(28, "No space left on device", "/full/disk"), "/full/disk: cannot be read or written (No space left"),
        (PermissionError(13, "Permission denied", "/closed"), "/closed: cannot be read or written (Permission denied)"),
        (MemoryError(), "not enough memory"),
    ],
)
def test_a_machine_that_is_in_the_way_is_a_sentence(monkeypatch, error, about):
    _replace_reader(monkeypatch, error)
    one_sentence(fieldaero("laps", "ride.fit"), status=2, about=about)


def test_a_fault_of_ours_says_so_and_hides_its_details(monkeypatch):
    _replace_reader(monkeypatch, ZeroDivisionError("division by\nzero"))
    result = fieldaero("laps", "ride.fit")
    assert result.exit_code == 2
    assert result.stderr == (
        "fieldaero: this is a fault of fieldaero, not of your input (ZeroDivisionError: division by zero); "
        "FIELDAERO_DEBUG=1 shows the details\n"
    )


def test_details_are_shown_on_request(monkeypatch):
    monkeypatch.setenv("FIELDAERO_DEBUG", "1")
    _replace_reader(monkeypatch, ZeroDivisionError("division by zero"))
    result = fieldaero("laps", "ride.fit")
    assert "Traceback" in result.stderr
    assert result.exit_code == 2


def test_an_interrupt_is_quiet(monkeypatch):
    _replace_reader(monkeypatch, KeyboardInterrupt())
    result = fieldaero("laps", "ride.fit")
    assert result.exit_code == 130
    assert result.output.strip() == ""


def _replace_reader(monkeypatch, error):
    def read(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr("fieldaero.rides.read_ride", read)


@pytest.mark.skipif(sys.platform == "win32", reason="needs pipes as in POSIX")
def test_a_reader_that_goes_away_is_no_error(folder):
    code = (
        "import os\nreader, writer = os.pipe()\nos.close(reader)\nos.dup2(writer, 1)\n"
        f"from fieldaero.cli import commands\ncommands.main(['laps', {str(folder / 'morning.csv')!r}])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 141
    assert done.stderr == ""


def test_a_terminal_without_our_signs_gets_an_answer(folder):
    done = process("laps", folder / "morning.csv", cwd=folder, PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert done.stderr == ""
    assert "lap 3" in done.stdout


def test_the_module_runs_like_the_program(folder):
    done = process("laps", "nothing.fit", cwd=folder)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("fieldaero: nothing.fit: no such file")
    assert len(done.stderr.splitlines()) == 1
