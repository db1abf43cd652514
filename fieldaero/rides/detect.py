"""Bytes of a ride file, and what they are: the content tells, not the name."""

from __future__ import annotations

import codecs
import hashlib
import os
import re
import stat
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from fieldaero.basics.errors import RideError
from fieldaero.basics.input_limits import HOW_TO_LIFT, beyond

__all__ = ["RideFile", "bytes_of", "load", "recognise", "text_of"]

Kind = Literal["FIT", "XML", "CSV"]

GZIP = b"\x1f\x8b"

LARGEST_BYTES = 200_000_000  # a day at 1 s is 10 MB of FIT and 100 MB of XML
RATIO_FROM_BYTES = 10_000_000
MOST_MEMBERS = 16
PIECE_BYTES = 65536
LARGEST_RATIO = 250.0  # text of ride files shrinks 5 to 30 times, a dull CSV 100 times, a bomb 1000 times

READABLE = "fieldaero reads FIT, TCX, GPX and CSV, also packed with gzip"

# First bytes of files that people take for rides, and what to do about them.
STRANGERS: tuple[tuple[bytes, str], ...] = (
    (b"PK\x03\x04", "a ZIP archive; unpack it first"),
    (b"PK\x05\x06", "an empty ZIP archive"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\x89PNG", "a PNG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"BZh", "a bzip2 archive; unpack it first"),
    (b"\xfd7zXZ", "an xz archive; unpack it first"),
    (b"7z\xbc\xaf", "a 7z archive; unpack it first"),
    (b"Rar!", "a RAR archive; unpack it first"),
    (b"SQLite format 3", "a database"),
    (b"RIFF", "a sound, film or picture file"),
)
MARKS: tuple[tuple[bytes, str], ...] = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
NOT_IN_TEXT = re.compile(r"[\x00-\x08\x0b\x0e-\x19\x1b-\x1f\x7f]")


@dataclass(frozen=True, kw_only=True)
class RideFile:
    """One file; ``content`` is unpacked if it was gzipped, the hash is that of the file as given."""

    name: str
    kind: Kind
    content: bytes
    sha256: str
    packed: bool = False
    notes: tuple[str, ...] = ()


def load(path: str | os.PathLike[str]) -> RideFile:
    """Read a file and tell what it is; an error if it is not a ride file."""
    return recognise(bytes_of(path), name=Path(path).name or str(path))


def recognise(raw: bytes, *, name: str) -> RideFile:
    """Tell what the bytes of a file are; an error if they are too many or not a ride file."""
    if beyond(len(raw), LARGEST_BYTES):
        raise _too_large(name, len(raw))
    if not raw.strip(b"\0"):
        what = f"{len(raw)} zero bytes" if raw else "an empty file"
        raise RideError(f"{name}: {what}; copy it from the device again")
    packed = raw.startswith(GZIP)
    content, whole = _unpacked(raw, name) if packed else (raw, True)
    return RideFile(
        name=name,
        kind=_kind(content, name),
        content=content,
        sha256=hashlib.sha256(raw).hexdigest(),
        packed=packed,
        notes=() if whole else ("the gzip archive is damaged or cut short; what could be unpacked was read",),
    )


def text_of(content: bytes) -> str | None:
    """Text of the bytes by their byte order mark, as UTF-8 or as Windows-1252; None if they are no text.

    Examples
    --------
    >>> text_of("température".encode("cp1252"))
    'température'
    >>> text_of(bytes([0, 1, 2])) is None
    True
    """
    encodings = [encoding for mark, encoding in MARKS if content.startswith(mark)] or ["utf-8", "cp1252"]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        return None if NOT_IN_TEXT.search(text) else text
    return None


def bytes_of(path: str | os.PathLike[str]) -> bytes:
    """Read the bytes of a regular file that is not too large."""
    name = Path(path).name or str(path)
    try:
        about = os.stat(path)
        if stat.S_ISDIR(about.st_mode):
            raise RideError(f"{name}: a folder, not a file; give the path of one ride file")
        if not stat.S_ISREG(about.st_mode):
            raise RideError(f"{name}: not a regular file; give the path of one ride file")
        if beyond(about.st_size, LARGEST_BYTES):
            raise _too_large(name, about.st_size)
        return Path(path).read_bytes()
    except FileNotFoundError as error:
        raise RideError(f"{name}: no such file at {os.fspath(path)}; check the path") from error
    except OSError as error:
        raise RideError(f"{name}: cannot be read ({error.strerror or 'unreadable'})") from error
    except ValueError as error:
        raise RideError(f"{name!r}: cannot be a file name; check the path") from error


def _too_large(name: str, size_bytes: int) -> RideError:
    return RideError(
        f"{name}: {size_bytes / 1e6:.0f} MB; ride files up to {LARGEST_BYTES / 1e6:.0f} MB are read. Export the ride "
        f"alone, or {HOW_TO_LIFT}"
    )


def _unpacked(raw: bytes, name: str) -> tuple[bytes, bool]:
    """Unpack a gzip archive and say whether it was whole; never past the limits."""
    limit = int(min(LARGEST_BYTES, max(len(raw) * LARGEST_RATIO, RATIO_FROM_BYTES)))
    out: list[bytes] = []
    size, rest, whole = 0, raw, True
    for _ in range(MOST_MEMBERS):
        member = zlib.decompressobj(wbits=31)
        at = 0
        try:
            # In pieces, so that what came before a damaged one is kept.
            while at < len(rest) and not member.eof:
                # A piece may hold a thousand times its size, so it is asked for no more than one byte too many.
                most = limit - size + 1 if beyond(limit + 1, limit) else 0
                out.append(member.decompress(rest[at : at + PIECE_BYTES], most))
                at += PIECE_BYTES
                size += len(out[-1])
                if beyond(size, limit):
                    raise RideError(
                        f"{name}: unpacks to more than {limit / 1e6:.0f} MB from {len(raw) / 1e6:.2g} MB; allowed are "
                        f"{LARGEST_BYTES / 1e6:.0f} MB and {LARGEST_RATIO:.0f} times the packed size. Give the file "
                        f"unpacked, or {HOW_TO_LIFT}"
                    )
        except zlib.error:
            whole = False
            break
        whole = member.eof
        rest = member.unused_data + rest[at:]
        if not whole or not rest.startswith(GZIP):
            break
    content = b"".join(out)
    if not content.strip(b"\0"):
        raise RideError(f"{name}: an empty or damaged gzip archive; copy it from the device again")
    return content, whole


def _kind(content: bytes, name: str) -> Kind:
    if content[8:12] == b".FIT":
        return "FIT"
    for first, what in STRANGERS:
        if content.startswith(first):
            raise RideError(f"{name}: {what}, not a ride file; {READABLE}")
    if content.startswith(GZIP):
        raise RideError(f"{name}: packed twice with gzip; unpack it once")
    text = text_of(content)
    if text is None:
        # The XML parser names a faulty byte in a long file, with its line.
        if content.lstrip(codecs.BOM_UTF8 + b" \t\r\n").startswith(b"<?xml"):
            return "XML"
        raise RideError(f"{name}: binary data of an unknown kind, not a ride file; {READABLE}")
    start = text.lstrip()[:200].lower()
    if start.startswith(("<!doctype html", "<html")):
        raise RideError(f"{name}: a web page, not a ride file; the download may have asked for a login")
    if start.startswith("<"):
        return "XML"
    if start.startswith(("{", "[")):
        raise RideError(f"{name}: JSON, not a ride file; {READABLE}")
    if not start:
        raise RideError(f"{name}: only white space; copy it from the device again")
    return "CSV"
