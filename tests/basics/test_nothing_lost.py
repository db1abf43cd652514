"""Nothing is lost: no ride is ever written to, and whatever ends a process leaves the old output or the new one."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from fieldaero.basics.errors import FieldaeroError
from fieldaero.basics.output_files import STAGE, write_files
from fieldaero.publish.result_files import RESULT_FILES
from fieldaero.simulator.sample_folder import copy_sample, sample_folder
from tests.basics.killed_writer import NAMES, content, generation_in
from tests.cli.command_line import hashes

ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
CHANCE = random.Random(7)
SMALL_KILLS = 46


def started(*command: object, cwd: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", *map(str, command)],
        cwd=cwd,
        env=ENVIRONMENT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )


def waited_for(there: Callable[[], bool], process: subprocess.Popen[bytes], seconds: float = 90.0) -> bool:
    """Wait until something is there; False where the process ended before."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if there():
            return True
        if process.poll() is not None:
            return False
        time.sleep(0.0005)
    pytest.fail("never came")


def ended(process: subprocess.Popen[bytes], how: int) -> None:
    process.send_signal(how)
    _, said = process.communicate(timeout=60)
    assert process.returncode == -how, said.decode()


@pytest.fixture
def before(tmp_path):
    out = tmp_path / "out"
    write_files(dict.fromkeys((*NAMES, "single.html"), content("w", 0)), out)
    return out


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL], ids=["asked to end", "killed"])
def test_an_end_at_any_moment_leaves_whole_files_of_one_generation(before, how):
    written_over = mixed = 0
    for _ in range(SMALL_KILLS // 2):
        _, last = generation_in(before / NAMES[0])
        writer = started("tests.basics.killed_writer", before, "w", last + 1, last + 10**6, cwd=ROOT)
        assert waited_for(lambda last=last: generation_in(before / NAMES[0])[1] != last, writer)
        time.sleep(CHANCE.uniform(0.0, 0.02))
        ended(writer, how)
        numbers = [generation_in(before / name)[1] for name in NAMES]
        written_over += numbers[0] > last
        # A kill between two moves may leave the first files one generation ahead, no more and no other.
        assert numbers == sorted(numbers, reverse=True)
        assert numbers[0] - numbers[-1] <= 1
        mixed += len(set(numbers)) > 1
        assert generation_in(before / "single.html")[1] <= numbers[-1]
        assert {path.name for path in before.iterdir() if not path.name.startswith(STAGE)} == {*NAMES, "single.html"}
    assert written_over == SMALL_KILLS // 2
    assert mixed == 0 or how == signal.SIGKILL
    write_files({NAMES[0]: b"after"}, before)
    assert not list(before.glob(f"{STAGE}*"))


COMMANDS = {
    "analyse": (["analyse", "bar-test.toml", "--out", "out"], RESULT_FILES),
    "report": (["report", "bar-test.toml", "--out", "out/report.html"], ("report.html",)),
    "pack": (["pack", "bar-test.toml", "--out", "out/pack.zip"], ("pack.zip",)),
}


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_that_is_killed_while_it_writes_leaves_the_old_files_or_the_new(tmp_path, command):
    arguments, names = COMMANDS[command]
    sheet = copy_sample(tmp_path / "test")
    out = sheet.parent / "out"
    write_files(dict.fromkeys(names, b"old"), out)
    process = started("fieldaero", *arguments, cwd=sheet.parent)
    assert waited_for(lambda: bool(list(out.glob(f"{STAGE}*"))), process)
    time.sleep(CHANCE.uniform(0.0, 0.004))
    process.kill()
    process.communicate(timeout=60)
    state = [(out / name).read_bytes() == b"old" for name in names]
    assert state == sorted(state)
    for name in names:
        data = (out / name).read_bytes()
        assert data == b"old" or whole(name, data)


def whole(name: str, data: bytes) -> bool:
    if name.endswith(".json"):
        return bool(json.loads(data)["schema"])
    ending = {".html": b"</html>", ".zip": b"PK\x05\x06", ".csv": b"\n", ".txt": b"\n"}[Path(name).suffix]
    return ending in data[-200:]


def test_a_new_folder_is_there_with_all_its_files_or_not_at_all(tmp_path):
    arguments = [
        "simulate",
        "--out",
        "made",
        "--setup",
        "a=0.25",
        "--setup",
        "b=0.24",
        "--laps",
        2,
        "--lap-length-m",
        400,
    ]
    process = started("fieldaero", *arguments, cwd=tmp_path)
    seen = waited_for(lambda: bool(list(tmp_path.glob(f"{STAGE}*"))), process)
    process.kill()
    _, said = process.communicate(timeout=60)
    assert seen or process.returncode == 0, said.decode()
    made = tmp_path / "made"
    assert not made.exists() or len(list(made.iterdir())) == 3


def test_two_that_write_into_one_folder_do_not_mix(tmp_path):
    out = tmp_path / "out"
    pair = [started("tests.basics.killed_writer", out, label, 1, 60, cwd=ROOT) for label in ("one", "two")]
    for writer in pair:
        _, said = writer.communicate(timeout=120)
        assert writer.returncode == 0, said.decode()
    found = {generation_in(out / name) for name in NAMES}
    assert len(found) == 1
    assert found.pop()[1] == 60
    assert not list(tmp_path.rglob(f"{STAGE}*"))


def test_two_analyses_of_one_sheet_at_once_do_not_mix(tmp_path):
    sheet = copy_sample(tmp_path / "test")
    before = hashes(sheet.parent)
    pair = [started("fieldaero", "analyse", sheet.name, "--out", "out", cwd=sheet.parent) for _ in range(2)]
    for one in pair:
        _, said = one.communicate(timeout=120)
        assert one.returncode == 0, said.decode()
    assert sorted(path.name for path in (sheet.parent / "out").iterdir()) == sorted(RESULT_FILES)
    assert json.loads((sheet.parent / "out" / "result.json").read_text(encoding="utf-8"))["schema"] == 1
    assert {name: one for name, one in hashes(sheet.parent).items() if not name.startswith("out/")} == before


def test_a_folder_that_another_holds_for_long_is_a_sentence(tmp_path, monkeypatch):
    fcntl = pytest.importorskip("fcntl")
    monkeypatch.setattr("fieldaero.basics.output_files.LONGEST_WAIT_S", 0.05)
    (tmp_path / "a.txt").write_bytes(b"old")
    held = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(held, fcntl.LOCK_EX)
    try:
        with pytest.raises(FieldaeroError, match="another fieldaero has been writing there"):
            write_files({"a.txt": b"new"}, tmp_path)
        assert (tmp_path / "a.txt").read_bytes() == b"old"
    finally:
        os.close(held)
    write_files({"a.txt": b"new"}, tmp_path)
    assert (tmp_path / "a.txt").read_bytes() == b"new"


WATCHED = """
import os, sys
from pathlib import Path
from click.testing import CliRunner
rides, out = map(Path, sys.argv[1:3])
touched = []
CHANGES = {"rename", "remove", "rmdir", "mkdir", "link", "symlink", "truncate", "chmod", "utime"}
def watch(event, args):
    if event == "open":
        path, mode, flags = args
        wrote = (isinstance(mode, str) and set(mode) & set("wax+")) or (flags or 0) & (
            os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND)
        if not wrote:
            return
        args = (path,)
    elif event.removeprefix("os.") not in CHANGES:
        return
    for one in args[:2]:
        if isinstance(one, (str, bytes, os.PathLike)) and str(rides) in os.path.abspath(os.fsdecode(one)):
            touched.append((event, os.fsdecode(one)))
sys.addaudithook(watch)
from fieldaero.cli import commands
sheet, ride = rides / "bar-test.toml", rides / "morning.fit"
for line in (
    ["laps", ride], ["init", ride, "--out", out / "new.toml"], ["analyse", sheet, "--out", out / "result"],
    ["report", sheet, "--out", out / "report.html"],
    ["pack", sheet, "--out", out / "pack.zip", "--with-originals"],
    ["plan", "--wind-m-s", "1", "--ride", ride, "--smallest-w", "3"],
):
    done = CliRunner().invoke(commands, [str(word) for word in line])
    assert done.exit_code in (0, 1), (line, done.output, done.stderr)
open(rides / "proof", "w").close()
assert touched.pop() == ("open", str(rides / "proof")), "the watch is asleep"
assert not touched, touched
"""


def test_no_command_opens_a_ride_for_writing_or_touches_its_folder(tmp_path):
    rides, out = tmp_path / "rides", tmp_path / "elsewhere"
    copy_sample(rides)
    out.mkdir()
    about = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in rides.iterdir()}
    for path in rides.iterdir():
        path.chmod(0o444)
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, rides, out],
        cwd=out,
        env=ENVIRONMENT,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    (rides / "proof").unlink()
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in rides.iterdir()} == about
    assert {"new.toml", "result", "report.html", "pack.zip"} <= {path.name for path in out.iterdir()}


def test_the_sample_that_is_installed_is_never_written(tmp_path):
    before = hashes(sample_folder())
    copy_sample(tmp_path / "demo")
    assert hashes(sample_folder()) == before
