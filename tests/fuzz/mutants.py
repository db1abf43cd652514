"""Mutants of a file: bytes and lines changed as faults, tricks and clumsy editors do, the same ones for a seed."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence

__all__ = ["mutants"]

NUMBERS = (b"\x00", b"\xff", b"\x7f", b"\x80", b"\xff\xff\xff\xff", b"\x00\x00\x00\x80", b"\xff\xff\xff\x7f")
WORDS = tuple(
    word.encode()
    for word in (
        *("NaN", "inf", "-inf", "1e308", "-1e308", "1e-320", "1e999", "0", "-0", "-1", "9" * 40, "9" * 5000, "0x10"),
        *("1_000", "\u0661\u0662", "\u2212 5", "1,5", "1.5.5", "+", "", " ", "\0", "\ufeff", "\u202e", "\U0001f6b2"),
        *("<", ">", "&", "&lt;", "&#0;", "&#x110000;", "&boom;", "]]>", "<![CDATA[", "<!--", "<?x?>", "<a>", "</a>"),
        *(
            '<!DOCTYPE a [<!ENTITY boom "boom">]>',
            '"',
            "'",
            '"""',
            "\r",
            "\n\n",
            ",",
            ";",
            "\t",
            "|",
            "#",
            "=",
            "[",
            "]",
        ),
        *(
            "[[rides]]",
            "true",
            "null",
            "1979-05-27",
            "2026-02-30T25:61:61Z",
            "0001-01-01T00:00:00+23:59",
            "VRB",
            "M00/",
        ),
        *("9999-12-31T23:59:59-23:59", "////", "00000KT", "Q0000", "A9999", "RMK", "T10001000", "311259Z", "METAR"),
    )
)


def mutants(seeds: Sequence[bytes], *, count: int, text: bool, seed: int) -> Iterator[bytes]:
    """Yield that many mutants, each of one to six changes."""
    chance = random.Random(seed)
    for number in range(count):
        data = bytearray(seeds[number % len(seeds)])
        for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
            change = chance.choice(TEXT if text and chance.random() < 0.7 else BYTES)
            change(data, chance, seeds)
        yield bytes(data)


def _place(data: bytearray, chance: random.Random) -> int:
    return chance.randrange(len(data) + 1)


def _flip(data: bytearray, chance: random.Random, _: Sequence[bytes]) -> None:
    if data:
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)


def _put(data: bytearray, chance: random.Random, _: Sequence[bytes]) -> None:
    at, new = _place(data, chance), chance.choice(NUMBERS)
    data[at : at + len(new)] = new


def _insert(data: bytearray, chance: random.Random, _: Sequence[bytes]) -> None:
    at = _place(data, chance)
    data[at:at] = chance.randbytes(chance.choice((1, 2, 4, 30)))


def _drop(data: bytearray, chance: random.Random, _: Sequence[bytes]) -> None:
    at = _place(data, chance)
    del data[at : at + chance.choice((1, 2, 8, 100))]


def _cut(data: bytearray, chance: random.Random, _: Sequence[bytes]) -> None:
    del data[_place(data, chance) :]


def _twice(data: bytearray, chance: random.Random, _: Sequence[bytes]) -> None:
    at = _place(data, chance)
    data[at:at] = data[at : at + chance.choice((4, 40, 400))]


def _splice(data: bytearray, chance: random.Random, seeds: Sequence[bytes]) -> None:
    other = chance.choice(seeds)
    data[_place(data, chance) :] = other[chance.randrange(len(other)) :]


def _word(data: bytearray, chance: random.Random, _: Sequence[bytes]) -> None:
    at = _place(data, chance)
    data[at:at] = chance.choice(WORDS)


def _swap_number(data: bytearray, chance: random.Random, _: Sequence[bytes]) -> None:
    """Put a word where a number stood."""
    digits = [k for k, byte in enumerate(data) if 48 <= byte <= 57 and (k == 0 or not 48 <= data[k - 1] <= 57)]
    if digits:
        first = end = chance.choice(digits)
        while end < len(data) and (48 <= data[end] <= 57 or data[end] in b".-+e"):
            end += 1
        data[first:end] = chance.choice(WORDS)


def _swap_lines(data: bytearray, chance: random.Random, _: Sequence[bytes]) -> None:
    mark = b">" if data.count(b"\n") < 3 else b"\n"
    lines = bytes(data).split(mark)
    a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]
    data[:] = mark.join(lines)


def _drop_line(data: bytearray, chance: random.Random, _: Sequence[bytes]) -> None:
    mark = b">" if data.count(b"\n") < 3 else b"\n"
    lines = bytes(data).split(mark)
    del lines[chance.randrange(len(lines))]
    data[:] = mark.join(lines)


BYTES = (_flip, _flip, _put, _insert, _drop, _cut, _twice, _splice)
TEXT = (_word, _swap_number, _swap_number, _swap_lines, _drop_line, _twice)
