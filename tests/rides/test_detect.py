"""What a file is, told by its content; and the long list of what is no ride."""

from __future__ import annotations

import gzip
import hashlib
import os
import struct
import zlib

import pytest

from fieldaero.basics.errors import RideError
from fieldaero.rides import detect, read_ride
from tests.rides.formats.fit_files import activity, steady, written
from tests.rides.formats.xml_files import gpx, tcx, tcx_lap, trackpoint, trkpt

FIT = activity(steady(range(5)))
GPX = gpx(["".join(trkpt(k) for k in range(5))]).encode()
TCX = tcx([tcx_lap(0, ["".join(trackpoint(k) for k in range(5))])]).encode()
CSV = b"time_s,power_w,speed_m_s\n" + b"".join(b"%d,200,10\n" % k for k in range(5))
ALL = {"FIT": FIT, "GPX": GPX, "TCX": TCX, "CSV": CSV}


@pytest.mark.parametrize("kind", ALL)
@pytest.mark.parametrize("name", ["ride.dat", "ride.fit", "ride.csv", "ride"])
def test_the_content_decides_and_not_the_name(tmp_path, kind, name):
    assert read_ride(written(tmp_path, ALL[kind], name)).source.format == kind


@pytest.mark.parametrize("kind", ALL)
def test_gzipped_files_read_the_same(tmp_path, kind):
    packed = gzip.compress(ALL[kind])
    ride = read_ride(written(tmp_path, packed, "ride.gz"))
    assert ride.table.equals(read_ride(written(tmp_path, ALL[kind], "plain")).table)
    assert ride.source.format == f"{kind} (gzip)"
    assert ride.source.sha256 == hashlib.sha256(packed).hexdigest()


def test_several_gzip_members_are_one_file(tmp_path):
    halves = gzip.compress(CSV[:40]) + gzip.compress(CSV[40:])
    assert len(read_ride(written(tmp_path, halves)).table) == 5


def test_a_cut_gzip_archive_gives_what_it_holds(tmp_path):
    long = activity(steady(range(300)))
    ride = read_ride(written(tmp_path, gzip.compress(long)[:-400]))
    assert 2 <= len(ride.table) < 300
    assert any("gzip archive is damaged" in note for note in ride.notes)


def test_a_gzip_bomb_is_refused_before_it_is_unpacked(tmp_path, monkeypatch):
    monkeypatch.setattr(detect, "RATIO_FROM_BYTES", 100_000)
    unpacked = []
    real = zlib.decompressobj

    class Watched:
        def __init__(self, **how):
            self._it = real(**how)

        def decompress(self, *args):
            part = self._it.decompress(*args)
            unpacked.append(len(part))
            return part

        def __getattr__(self, name):
            return getattr(self._it, name)

    monkeypatch.setattr(detect.zlib, "decompressobj", Watched)
    bomb = gzip.compress(b"a" * 20_000_000)
    with pytest.raises(RideError, match="times the packed size"):
        read_ride(written(tmp_path, bomb, "ride.fit.gz"))
    assert sum(unpacked) < 1.1 * detect.LARGEST_RATIO * len(bomb) < 20_000_000


def test_a_file_beyond_all_measure_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(detect, "LARGEST_BYTES", 1000)
    with pytest.raises(RideError, match="up to"):
        read_ride(written(tmp_path, b"x" * 1001))


NO_RIDES = {
    "empty": (b"", "an empty file"),
    "zeros": (bytes(300), "zero bytes"),
    "blank": (b" \n\n ", "white space"),
    "zip": (b"PK\x03\x04" + bytes(40), "ZIP archive"),
    "jpeg": (b"\xff\xd8\xff\xe0" + bytes(40), "JPEG picture"),
    "png": (b"\x89PNG\r\n\x1a\n" + bytes(40), "PNG picture"),
    "pdf": (b"%PDF-1.7\n%\xe2\xe3" + bytes(40), "PDF document"),
    "garbage": (bytes(range(256)) * 4, "binary data"),
    "page": (b"<!DOCTYPE html><html><body>Log in</body></html>", "web page"),
    "json": (b'{"power": [1, 2]}', "JSON"),
    "twice": (gzip.compress(gzip.compress(CSV)), "packed twice"),
    "empty gzip": (gzip.compress(b""), "empty or damaged gzip"),
    "broken gzip": (b"\x1f\x8b" + bytes(30), "gzip"),
    "text": (b"Dear diary,\ntoday I rode.\n", "not a ride file .* columns found"),
    "fit header only": (FIT[:12], "without any record"),
    "fit header cut": (b"\x0e\x20\x34\x08\x00\x01\x00\x00.FIT", "without any record"),
    "fit odd header": (b"\xff" + FIT[1:], "without any record"),
    "unclosed empty": (struct.pack("<BBHI4s", 14, 32, 2100, 0, b".FIT") + b"\0\0\0\0", "without any record"),
}


@pytest.mark.parametrize("case", NO_RIDES)
def test_what_is_no_ride_is_refused_in_one_clear_sentence(tmp_path, case):
    content, words = NO_RIDES[case]
    with pytest.raises(RideError, match=words) as caught:
        read_ride(written(tmp_path, content, "ride.fit"))
    message = str(caught.value)
    assert message.startswith("ride.fit")
    assert "\n" not in message
    assert "stops reading" not in message


def test_a_folder_is_called_a_folder(tmp_path):
    with pytest.raises(RideError, match="a folder"):
        read_ride(tmp_path)


def test_a_missing_file_is_named_with_its_path(tmp_path):
    with pytest.raises(RideError, match=r"no such file at .*nowhere\.fit"):
        read_ride(tmp_path / "nowhere.fit")


def test_a_file_that_may_not_be_read_is_a_ride_error(tmp_path, monkeypatch):
    path = written(tmp_path, FIT)

    def refuse(self):
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(type(path), "read_bytes", refuse)
    with pytest.raises(RideError, match="cannot be read \\(Permission denied\\)"):
        read_ride(path)


def test_a_device_or_pipe_is_not_read_for_ever(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(RideError, match="not a regular file"):
        read_ride(pipe)


@pytest.mark.parametrize("path", ["", "a\0b"])
def test_an_impossible_path_is_a_ride_error(path):
    with pytest.raises(RideError):
        read_ride(path)


def test_no_input_is_changed(tmp_path):
    for kind, content in ALL.items():
        path = written(tmp_path, content, kind)
        before = path.stat().st_mtime_ns
        read_ride(path)
        assert path.read_bytes() == content
        assert path.stat().st_mtime_ns == before
