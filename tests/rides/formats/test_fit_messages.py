"""Damaged FIT files: what came before the fault is kept, and no error but a RideError gets out."""

from __future__ import annotations

import random
import struct

import numpy as np
import pytest

from fieldaero.basics.errors import RideError
from fieldaero.rides import read_ride
from fieldaero.rides.detect import load
from fieldaero.rides.formats.fit_messages import checksum_notes, fit_crc
from fieldaero.rides.ride import Ride
from tests.rides.formats.fit_files import activity, by_hand, lap, session, steady, written

WHOLE = activity(steady(range(200)), laps=[lap(0, 100), lap(100, 99)], sessions=[session(0, 199)])


def read(tmp_path, content):
    return read_ride(written(tmp_path, content))


def sane(ride: Ride) -> bool:
    t = ride.time_s
    return bool(np.all(np.isfinite(t)) and np.all(np.diff(t) > 0.0) and ride.duration_s < 86_400.0 * len(t))


def test_a_whole_file_has_no_note_of_damage(tmp_path):
    assert not any(
        "damaged" in note or "cut short" in note or "checksum" in note for note in read(tmp_path, WHOLE).notes
    )


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_a_cut_file_keeps_the_records_before_the_cut(tmp_path, share):
    ride = read(tmp_path, WHOLE[: int(share * len(WHOLE))])
    assert share - 0.15 < len(ride.table) / 200.0 < share + 0.1
    assert any("cut short" in note and f"{len(ride.table)} records" in note for note in ride.notes)


def test_a_file_cut_to_the_first_record_is_refused(tmp_path):
    first = next(n for n in range(60, len(WHOLE)) if _records(tmp_path, WHOLE[:n]) == 1)
    with pytest.raises(RideError, match=r"1 usable sample.*cut short"):
        read(tmp_path, WHOLE[:first])


def _records(tmp_path, content):
    from fieldaero.rides.formats.fit_messages import decode_fit

    try:
        return len(decode_fit(load(written(tmp_path, content))).part)
    except RideError:
        return 0


def test_a_wrong_checksum_is_a_note(tmp_path):
    ride = read(tmp_path, WHOLE[:-2] + b"\x12\x34")
    assert len(ride.table) == 200
    assert any("checksum does not match" in note for note in ride.notes)


def test_a_changed_value_is_noticed_by_the_checksum(tmp_path):
    place = len(WHOLE) // 2
    assert checksum_notes(WHOLE) == []
    assert checksum_notes(WHOLE[:place] + bytes([WHOLE[place] ^ 1]) + WHOLE[place + 1 :])


def test_the_checksum_is_the_published_one():
    # Check value of CRC-16/ARC (poly 0x8005 reflected, init 0): catalogue of parametrised CRC algorithms, from memory.
    assert fit_crc(b"123456789") == 0xBB3D


def test_a_recorder_that_died_left_data_size_zero(tmp_path):
    content = WHOLE[:4] + struct.pack("<I", 0) + WHOLE[8:-2]
    ride = read(tmp_path, content)
    assert len(ride.table) == 200
    assert any("never closed" in note for note in ride.notes)


def test_bytes_behind_the_end_are_left_out(tmp_path):
    ride = read(tmp_path, WHOLE + b"something else entirely")
    assert len(ride.table) == 200
    assert any("after the end" in note for note in ride.notes)


def test_a_header_checksum_of_zero_is_valid(tmp_path):
    ride = read(tmp_path, by_hand(WHOLE[12:-2]))
    assert len(ride.table) == 200
    assert not any("checksum" in note or "header" in note for note in ride.notes)


def test_a_message_without_definition_ends_the_reading_there(tmp_path):
    place = WHOLE.index(b"\x03", len(WHOLE) // 2)
    ride = read(tmp_path, WHOLE[:place] + b"\x0e" + WHOLE[place + 1 :])
    assert 2 <= len(ride.table) < 200


def read_or_reason(tmp_path, content) -> Ride | None:
    try:
        ride = read(tmp_path, content)
    except RideError as error:
        if "stops reading" in str(error):
            raise
        return None
    assert sane(ride)
    return ride


def test_any_changed_byte_gives_a_ride_or_a_reason(tmp_path):
    chance = random.Random(3)
    small = activity(steady(range(12)), laps=[lap(0, 6), lap(6, 5)], sessions=[session(0, 11)])
    read_anyway = refused = 0
    for _ in range(250):
        content = bytearray(small)
        for _ in range(chance.choice([1, 1, 2, 5])):
            content[chance.randrange(len(content))] = chance.randrange(256)
        ride = read_or_reason(tmp_path, bytes(content))
        read_anyway += ride is not None
        refused += ride is None
    assert read_anyway > 100
    assert refused > 5


def test_any_cut_gives_a_ride_or_a_reason(tmp_path):
    small = activity(steady(range(6)), sessions=[session(0, 5)])
    for length in range(1, len(small)):
        read_or_reason(tmp_path, small[:length])
