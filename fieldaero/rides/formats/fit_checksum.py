"""The checksum at the end of a FIT file: CRC-16 with the reversed polynomial 0xA001, as the FIT protocol sets it."""

from __future__ import annotations

import struct

__all__ = ["checksum_notes", "fit_crc"]


def _table() -> tuple[int, ...]:
    entries = []
    for byte in range(256):
        crc = byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 if crc & 1 else 0)
        entries.append(crc)
    return tuple(entries)


TABLE = _table()


def fit_crc(content: bytes) -> int:
    """CRC of the bytes, 0 at the start; over a file with its own CRC at the end it is 0.

    Examples
    --------
    >>> hex(fit_crc(b"123456789"))
    '0xbb3d'
    """
    crc, table = 0, TABLE
    for byte in content:
        crc = (crc >> 8) ^ table[(crc ^ byte) & 0xFF]
    return crc


def checksum_notes(content: bytes) -> list[str]:
    """One note for each file in the chain whose checksum does not fit its bytes."""
    notes, start, number = [], 0, 0
    while content[start + 8 : start + 12] == b".FIT":
        number += 1
        end = start + content[start] + int(struct.unpack_from("<I", content, start + 4)[0])
        if end + 2 > len(content):
            break
        if fit_crc(content[start:end]) != struct.unpack_from("<H", content, end)[0]:
            which = f"file {number} of the chain: " if number > 1 else ""
            notes.append(
                f"{which}the checksum does not fit: some bytes have changed since recording; values may be off"
            )
        start = end + 2
    return notes
