"""Nothing is lost: no ride is ever written to, and whatever ends a process leaves the old output or the new one."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from pathlib import Path

from fieldaero.basics.output_files import STAGE, write_files
from fieldaero.simulator.sample_folder import copy_sample, sample_folder
from tests.basics.killed_writer import NAMES, content, generation_in
from tests.cli.command_line import hashes

ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
CHANCE = random.Random(7)
KILLS = 16


def writer(folder: Path, label: str, first: int, last: int) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.basics.killed_writer", folder, label, str(first), str(last)],
        cwd=ROOT,
        env=ENVIRONMENT,
        stderr=subprocess.PIPE,
    )


def test_a_kill_at_any_moment_leaves_whole_files_and_whole_new_folders(tmp_path):
    for last in range(0, KILLS * 10_000, 10_000):
        write_files(dict.fromkeys((*NAMES, "single.html"), content("w", last)), tmp_path)
        process = writer(tmp_path, "w", last + 1, last + 9_999)
        while generation_in(tmp_path / NAMES[0])[1] == last and process.poll() is None:
            time.sleep(0.0005)
        time.sleep(CHANCE.uniform(0.0, 0.02))
        process.kill()
        _, said = process.communicate()
        numbers = [generation_in(tmp_path / name)[1] for name in NAMES]
        assert numbers[0] > last, said.decode()
        # A kill between two moves may leave the first files one generation ahead, no more and no other.
        assert numbers == sorted(numbers, reverse=True)
        assert numbers[0] - numbers[-1] <= 1
        assert generation_in(tmp_path / "single.html")[1] <= numbers[-1]
        made = {path for path in tmp_path.iterdir() if not path.name.startswith(STAGE)}
        assert {path.name for path in made if path.is_file()} == {*NAMES, "single.html"}
        for folder in filter(Path.is_dir, made):
            of = ("w", int(folder.name.rpartition("-")[2]))
            assert {path.name: generation_in(path) for path in folder.iterdir()} == dict.fromkeys(NAMES, of)


def test_two_that_write_into_one_folder_at_once_leave_whole_files(tmp_path):
    (tmp_path / "out").mkdir()
    pair = [writer(tmp_path / "out", label, 1, 30) for label in ("one", "two")]
    for process in pair:
        _, said = process.communicate()
        assert process.returncode == 0, said.decode()
    assert {generation_in(tmp_path / "out" / name)[1] for name in NAMES} == {30}
    assert not list(tmp_path.rglob(f"{STAGE}*"))


WATCHED = """
import os, sys
from pathlib import Path
from click.testing import CliRunner
rides, out = map(Path, sys.argv[1:3])
touched, written_in_place = [], []
CHANGES = {"rename", "remove", "rmdir", "mkdir", "link", "symlink", "truncate", "chmod", "utime"}
def watch(event, args):
    if event == "open":
        path, mode, flags = args
        wrote = (isinstance(mode, str) and set(mode) & set("wax+")) or (flags or 0) & (
            os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND)
        if not wrote:
            return
        args = (path,)
        whole = os.path.abspath(os.fsdecode(path)) if isinstance(path, (str, bytes, os.PathLike)) else ""
        if whole.startswith(str(out)) and "/.fieldaero-" not in whole:
            written_in_place.append(whole)
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
open(out / "proof", "w").close()
assert written_in_place == [str(out / "proof")], written_in_place
"""


def test_no_command_touches_a_ride_or_its_folder_and_all_write_beside_first(tmp_path):
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
