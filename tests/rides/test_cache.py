"""A ride from the cache is the ride that was decoded, and the cache never matters to anything but time."""

from __future__ import annotations

import os
import stat
import time
from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest

from fieldaero.basics.errors import RideError
from fieldaero.rides import cache as ride_cache
from fieldaero.rides import read as reading
from fieldaero.rides import read_ride, read_ride_bytes
from fieldaero.rides.ride import Ride
from fieldaero.simulator.sample_folder import sample_folder
from tests.cli.command_line import fieldaero, nothing_changes
from tests.rides.formats.fit_files import activity, lap, session, steady, timer
from tests.rides.test_real_files import ABSENT, FILES

SAMPLE = sample_folder() / "morning.fit"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    place = tmp_path / "cache" / "rides"
    monkeypatch.setenv("FIELDAERO_CACHE", str(place))
    return place


@pytest.fixture
def decoded(monkeypatch):
    """Names of the files that were truly decoded."""
    names = []
    real = reading._read

    def watched(file, **how):
        names.append(file.name)
        return real(file, **how)

    monkeypatch.setattr(reading, "_read", watched)
    return names


def same(a: Ride, b: Ride) -> bool:
    """Whether two rides agree in everything, their numbers bit for bit and in the same order in memory."""
    pd.testing.assert_frame_equal(a.table, b.table, check_exact=True, check_flags=True)
    bits = [ride.table.to_numpy().view(np.uint64) for ride in (a, b)]
    lie_alike = all(a.column(name).flags.c_contiguous == b.column(name).flags.c_contiguous for name in a.table.columns)
    rest = [one.name for one in fields(Ride) if one.name != "table"]
    return lie_alike and np.array_equal(*bits) and all(getattr(a, name) == getattr(b, name) for name in rest)


def entries(folder):
    return sorted(path for path in folder.iterdir() if path.name.endswith(ride_cache.ENDING))


def test_the_sample_comes_back_as_it_was_decoded(folder, decoded):
    first, second = read_ride(SAMPLE), read_ride(SAMPLE)
    assert decoded == ["morning.fit"]
    assert len(entries(folder)) == 1
    assert same(first, second)


def test_pauses_notes_and_laps_come_back_too(folder, decoded):
    from fit_tool.profile.profile_type import EventType

    records = [*steady(range(300)), *steady(range(400, 700), power=None, position_lat=None, position_long=None)]
    content = activity(
        records,
        laps=[lap(0, 200), lap(200, 499)],
        sessions=[session(0, 699)],
        events=[timer(0, EventType.START), timer(300, EventType.STOP_ALL), timer(400, EventType.START)],
    )[:-9]
    first, second = (read_ride_bytes(content, name="a.fit") for _ in range(2))
    assert decoded == ["a.fit"]
    assert first.pauses
    assert first.notes
    assert first.lap_marks
    assert same(first, second)


@pytest.mark.parametrize("path", FILES or [ABSENT], ids=lambda path: path.name if path else "none")
def test_real_files_come_back_as_they_were_decoded(path, folder, decoded, monkeypatch):
    monkeypatch.setattr(ride_cache, "SMALLEST_BYTES", 0)
    try:
        first = read_ride(path, allow_indoor=True)
    except RideError as refused:
        with pytest.raises(RideError) as again:
            read_ride(path, allow_indoor=True)
        assert str(again.value) == str(refused)  # noqa: PT017
        return
    assert same(first, read_ride(path, allow_indoor=True))
    assert decoded == [path.name]


def test_an_analysis_is_the_same_with_and_without(folder, monkeypatch):
    from fieldaero.answers.analysis import analyse

    sheet = sample_folder() / "bar-test.toml"
    decoded_now, kept = analyse(sheet).to_dict(), analyse(sheet).to_dict()
    assert entries(folder)
    monkeypatch.setenv("FIELDAERO_CACHE", "off")
    assert decoded_now == kept == analyse(sheet).to_dict()


def test_the_same_bytes_under_another_name_bear_that_name(folder, decoded):
    content = SAMPLE.read_bytes()
    read_ride_bytes(content, name="a.fit")
    assert read_ride_bytes(content, name="b.fit").source.file == "b.fit"
    assert decoded == ["a.fit"]


def test_one_changed_byte_is_another_ride(folder, decoded):
    content = SAMPLE.read_bytes()
    read_ride_bytes(content, name="a.fit")
    read_ride_bytes(content[:-1] + bytes([content[-1] ^ 1]), name="b.fit")
    assert decoded == ["a.fit", "b.fit"]


def test_another_version_reads_anew(folder, decoded, monkeypatch):
    read_ride(SAMPLE)
    monkeypatch.setattr(ride_cache, "VERSION", "99")
    ride_cache._decoder.cache_clear()
    read_ride(SAMPLE)
    monkeypatch.undo()
    ride_cache._decoder.cache_clear()
    assert len(decoded) == 2


def test_other_readers_read_anew(monkeypatch, tmp_path):
    copied = tmp_path / "fieldaero"
    (copied / "readers").mkdir(parents=True)
    (copied / "readers" / "fit.py").write_text("one")
    monkeypatch.setattr(ride_cache, "__file__", str(copied / "ride_cache.py"))
    before = ride_cache._decoder.__wrapped__()
    (copied / "readers" / "fit.py").write_text("two")
    assert ride_cache._decoder.__wrapped__() != before


def test_an_indoor_ride_is_refused_though_it_is_kept(folder, decoded):
    from fit_tool.profile.profile_type import Sport, SubSport

    indoor = activity(steady(range(400)), sessions=[session(0, 399, Sport.CYCLING, SubSport.INDOOR_CYCLING)])
    assert len(indoor) > ride_cache.SMALLEST_BYTES
    read_ride_bytes(indoor, name="a.fit", allow_indoor=True)
    with pytest.raises(RideError, match="no air to measure"):
        read_ride_bytes(indoor, name="a.fit")


def spoilt(data: bytes) -> dict[str, bytes]:
    middle = len(data) // 2
    return {
        "empty": b"",
        "cut": data[:middle],
        "a bit": data[:middle] + bytes([data[middle] ^ 4]) + data[middle + 1 :],
        "text": b"not an entry",
        "pickle": b"\x80\x04K\x01.",
    }


@pytest.mark.parametrize("how", ["empty", "cut", "a bit", "text", "pickle"])
def test_a_damaged_entry_is_passed_over_and_replaced(folder, decoded, how):
    whole = read_ride(SAMPLE)
    (entry,) = entries(folder)
    good = entry.read_bytes()
    entry.write_bytes(spoilt(good)[how])
    assert same(read_ride(SAMPLE), whole)
    assert len(decoded) == 2
    assert entry.read_bytes() == good


def test_an_entry_under_a_wrong_name_is_passed_over(folder, decoded):
    other = activity(steady(range(500)))
    read_ride_bytes(other, name="other.fit")
    (entry,) = entries(folder)
    key = ride_cache.entry_key(SAMPLE.read_bytes(), allow_indoor=False)
    entry.rename(folder / f"{key}{ride_cache.ENDING}")
    assert len(read_ride(SAMPLE).table) == 3234
    assert decoded == ["other.fit", "morning.fit"]


def test_pickles_are_never_loaded(folder):
    class Trap:
        def __reduce__(self):
            return pytest.fail, ("unpickled",)

    read_ride(SAMPLE)
    (entry,) = entries(folder)
    with entry.open("wb") as out:
        np.savez(out, table=np.array([Trap()], dtype=object), about=np.zeros(1, dtype=np.uint8))
    assert len(read_ride(SAMPLE).table) == 3234


def test_the_oldest_go_when_there_are_too_many(folder, monkeypatch):
    monkeypatch.setattr(ride_cache, "MOST_ENTRIES", 3)
    rides = [activity(steady(range(400 + k))) for k in range(5)]
    keys = [ride_cache.entry_key(ride, allow_indoor=False) for ride in rides]
    for number, ride in enumerate(rides):
        read_ride_bytes(ride, name="a.fit")
        if number == 2:
            read_ride_bytes(rides[0], name="a.fit")  # used again, so younger than the second
    assert {path.name.partition(".")[0] for path in entries(folder)} == {keys[0], keys[3], keys[4]}


def test_the_oldest_go_when_they_are_too_large(folder, monkeypatch):
    read_ride(SAMPLE)
    size = entries(folder)[0].stat().st_size
    monkeypatch.setattr(ride_cache, "MOST_BYTES", 4 * size)
    for k in range(8):
        ride = read_ride(SAMPLE)
        ride_cache.keep_ride(ride, f"{k:064x}")
        assert sum(path.stat().st_size for path in entries(folder)) <= 4 * size
    assert len(entries(folder)) == 4


def test_a_ride_that_would_fill_the_cache_is_not_kept(folder, monkeypatch):
    monkeypatch.setattr(ride_cache, "MOST_BYTES", 400_000)
    read_ride(SAMPLE)
    assert not folder.exists()


def test_what_a_killed_process_left_is_cleared(folder):
    folder.mkdir(parents=True)
    old, new = folder / "x.part", folder / "y.part"
    for path in (old, new):
        path.write_bytes(b"half")
    long_ago = time.time() - 2 * ride_cache.ABANDONED_S
    os.utime(old, (long_ago, long_ago))
    read_ride(SAMPLE)
    assert not old.exists()
    assert new.exists()


def test_small_files_are_not_kept(folder):
    read_ride_bytes(activity(steady(range(5))), name="a.fit")
    assert not folder.exists()


def test_a_folder_that_cannot_be_is_done_without(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("FIELDAERO_CACHE", str(tmp_path / "file" / "cache"))
    with nothing_changes(tmp_path):
        assert len(read_ride(SAMPLE).table) == 3234


def test_a_full_disk_is_done_without(folder, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("fieldaero.rides.cache.tempfile.NamedTemporaryFile", full)
    assert len(read_ride(SAMPLE).table) == 3234
    assert entries(folder) == []


def test_others_on_the_machine_cannot_look_in(folder):
    read_ride(SAMPLE)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE(entries(folder)[0].stat().st_mode) == 0o600


def test_off_is_off(monkeypatch, decoded):
    monkeypatch.setenv("FIELDAERO_CACHE", "off")
    assert ride_cache.cache_folder() is None
    read_ride(SAMPLE)
    read_ride(SAMPLE)
    assert len(decoded) == 2


def test_the_folder_is_where_caches_belong(monkeypatch):
    monkeypatch.delenv("FIELDAERO_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", "/somewhere/cache")
    place = ride_cache.cache_folder()
    assert place is not None
    assert "fieldaero" in place.parts
    if os.name == "posix" and os.uname().sysname == "Linux":
        assert place.as_posix() == "/somewhere/cache/fieldaero/rides"


def test_the_option_does_without_for_one_command(folder, decoded):
    for _ in range(2):
        assert fieldaero("laps", SAMPLE, "--no-cache").exit_code == 0
    assert len(decoded) == 2
    assert not folder.exists()
    assert os.environ["FIELDAERO_CACHE"] == str(folder)
    for _ in range(2):
        assert fieldaero("laps", SAMPLE).exit_code == 0
    assert len(decoded) == 3


@pytest.mark.parametrize("command", ["laps", "analyse", "report", "pool", "pack"])
def test_every_command_that_reads_rides_has_the_option(command):
    assert "--no-cache" in fieldaero(command, "--help").stdout


def test_a_kept_ride_is_a_copy_that_nobody_else_holds(folder):
    read_ride(SAMPLE)
    first, second = read_ride(SAMPLE), read_ride(SAMPLE)
    changed = replace(first, table=first.table.assign(power_w=0.0))
    assert changed.column("power_w").max() == 0.0
    assert second.column("power_w").max() > 0.0
