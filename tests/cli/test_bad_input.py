"""Bad input through the command line: one clear sentence, the right status, and nothing changed."""

from __future__ import annotations

import pytest

from tests.cli.command_line import fieldaero, nothing_changes, one_sentence, process
from tests.rides.formats.fit_files import activity, by_hand, lap, session, steady
from tests.rides.formats.xml_files import gpx, tcx, tcx_lap, trackpoint, trkpt

WHOLE = activity(steady(range(200)), laps=[lap(0, 100), lap(100, 99)], sessions=[session(0, 199)])
HEADER = "time_s,power_w,speed_m_s,latitude_deg,longitude_deg\n"
STEADY = "".join(f"{t},210,10.0,-28.0,{-122.0 + 1e-4 * t}\n" for t in range(120))
BOMB = (
    '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">'
    + "".join(
        f'<!ENTITY {name} "{";".join([f"&{inner}"] * 10)};">'
        for inner, name in zip("abcdefgh", "bcdefghi", strict=True)
    )
    + "]><gpx><trk><name>&i;</name></trk></gpx>"
)

REFUSED = {
    "an empty file": ("ride.fit", b"", "an empty file"),
    "zero bytes": ("ride.fit", bytes(2000), "zero bytes"),
    "a FIT file cut within its header": ("ride.fit", WHOLE[:9], "ride.fit"),
    "a FIT file cut within its first records": ("ride.fit", WHOLE[:120], "ride.fit"),
    "a FIT file of nothing": ("ride.fit", by_hand(b""), "ride.fit"),
    "an archive named as a ride": ("ride.fit", b"PK\x03\x04" + bytes(200), "not a ride file"),
    "a photograph named as a ride": ("ride.fit", b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(200), "not a ride file"),
    "an XML entity bomb": ("ride.gpx", BOMB.encode(), "ride.gpx"),
    "XML that ends in the middle": ("ride.tcx", tcx([])[:60].encode(), "not well-formed XML"),
    "a GPX file without times": ("ride.gpx", gpx([trkpt(None) * 20]).encode(), "usable time"),
    "a CSV without its power column": ("ride.csv", b"time_s,speed_m_s\n0,9\n1,9\n2,9\n", "power_w"),
    "a CSV without a time column": ("ride.csv", b"power_w,speed_m_s\n200,9\n201,9\n202,9\n", "time_s"),
    "a CSV of words": ("ride.csv", b"time_s,power_w,speed_m_s\na,b,c\nd,e,f\n", "ride.csv"),
    "a web page": ("ride.gpx", b"<!DOCTYPE html><html><body>Please log in</body></html>", "a web page"),
    "a CSV whose time runs back": ("ride.csv", (HEADER + STEADY + "60,210,10.0,-28.0,-121.99\n").encode(), "must rise"),
    "a file that is not there": ("", b"", "no such file"),
}


@pytest.mark.parametrize("command", ["laps", "init"])
@pytest.mark.parametrize("name", sorted(REFUSED))
def test_what_is_no_ride_is_refused_in_one_sentence(tmp_path, command, name):
    file, content, about = REFUSED[name]
    path = tmp_path / (file or "missing.fit")
    if file:
        path.write_bytes(content)
    args = [command, path] if command == "laps" else [command, path, "--out", tmp_path / "sheet.toml"]
    with nothing_changes(tmp_path):
        line = one_sentence(fieldaero(*args), status=2, about=about)
    assert path.name in line


CANNOT_ANSWER = {
    "a FIT file cut in the middle": ("ride.fit", WHOLE[: len(WHOLE) // 2]),
    "a FIT file with a wrong checksum": ("ride.fit", WHOLE[:-2] + b"\x12\x34"),
    "a GPX file without power": ("ride.gpx", gpx(["".join(trkpt(t) for t in range(200))]).encode()),
    "a TCX file that rides straight on": (
        "ride.tcx",
        tcx([tcx_lap(0, ["".join(map(trackpoint, range(59)))])]).encode(),
    ),
    "decimal commas": ("ride.csv", (HEADER + STEADY).replace(",", ";").replace(".", ",").encode()),
    "missing and absurd values": (
        "ride.csv",
        (HEADER + STEADY + "120,nan,10,-28,-121.98\n121,99999,400,95,-300\n122,-5,-3,,\n123,inf,inf,,\n").encode(),
    ),
}


@pytest.mark.parametrize("name", sorted(CANNOT_ANSWER))
def test_a_ride_that_is_damaged_or_too_short_to_repeat_gets_status_1(tmp_path, name):
    file, content = CANNOT_ANSWER[name]
    path = tmp_path / file
    path.write_bytes(content)
    with nothing_changes(tmp_path):
        one_sentence(fieldaero("laps", path), status=1, about=f"{file}: no lap was found")


def test_a_wrong_checksum_is_told_with_the_laps(tmp_path):
    file, content = CANNOT_ANSWER["a FIT file with a wrong checksum"]
    (tmp_path / file).write_bytes(content)
    result = fieldaero("laps", tmp_path / file, "--source", "button")
    assert result.exit_code == 0
    assert "checksum" in result.stdout


def test_a_file_cut_before_its_laps_says_that_it_has_none(tmp_path):
    file, content = CANNOT_ANSWER["a FIT file cut in the middle"]
    (tmp_path / file).write_bytes(content)
    result = fieldaero("laps", tmp_path / file, "--source", "button")
    assert "no lap marks" in one_sentence(result, status=2, about="ride.fit")


def test_one_bad_ride_among_good_ones_is_named_and_no_sheet_written(tmp_path):
    (tmp_path / "bad.fit").write_bytes(b"PK\x03\x04" + bytes(200))
    (tmp_path / "walk.gpx").write_text(gpx(["".join(trkpt(t) for t in range(200))]), encoding="utf-8")
    with nothing_changes(tmp_path):
        result = fieldaero("init", tmp_path / "bad.fit", tmp_path / "walk.gpx", "--out", tmp_path / "s.toml")
        one_sentence(result, status=2, about="bad.fit")


@pytest.mark.parametrize("name", ["an empty file", "an XML entity bomb", "a CSV without its power column"])
def test_the_true_program_says_the_same(tmp_path, name):
    file, content, about = REFUSED[name]
    (tmp_path / file).write_bytes(content)
    with nothing_changes(tmp_path):
        done = process("laps", file, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert about in done.stderr


def test_a_folder_as_a_ride_is_a_sentence(tmp_path):
    one_sentence(fieldaero("laps", tmp_path), status=2, about="a folder, not a file")


def test_names_cannot_steer_the_terminal(tmp_path):
    line = one_sentence(fieldaero("laps", tmp_path / "a\x1b[31mred\nline.fit"), status=2, about="no such file")
    assert "\x1b" not in line
