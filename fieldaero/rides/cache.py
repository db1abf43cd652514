"""Decoded rides kept in the user's cache folder, so that a ride is decoded once and not at every analysis.

An entry is found by the hash of the file's bytes and of everything that decodes them: another
version reads anew.  It holds the ride's numbers bit for bit, and no code: numpy's npz without
pickles, and JSON.  The cache never matters to a result: an entry that cannot be read is passed over
and replaced, a folder that cannot be written is done without.  The oldest entries go when there are
too many.

``FIELDAERO_CACHE=off`` does without, ``FIELDAERO_CACHE=/some/folder`` keeps them there.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, replace
from datetime import datetime
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from fieldaero.basics.version import VERSION
from fieldaero.rides.ride import COLUMNS, LapMark, Pause, Ride, RideSource

__all__ = ["cache_folder", "entry_key", "keep_ride", "kept_ride", "without_cache"]

SWITCH = "FIELDAERO_CACHE"
LAYOUT = 1  # of an entry
MOST_ENTRIES = 200
MOST_BYTES = 250_000_000
SMALLEST_BYTES = 10_000  # a file below that is read as fast as its entry
ENDING = ".ride.npz"
ABANDONED_S = 3600.0
DECODERS = ("fitdecode", "defusedxml")


def cache_folder() -> Path | None:
    """Return where rides are kept; None if the cache is switched off."""
    told = os.environ.get(SWITCH, "").strip()
    if told.lower() == "off":
        return None
    if told:
        return Path(told)
    from platformdirs import user_cache_path

    return user_cache_path("fieldaero", appauthor=False) / "rides"


@contextmanager
def without_cache() -> Iterator[None]:
    """Do without the cache inside the block, in this process and those it starts."""
    before = os.environ.get(SWITCH)
    os.environ[SWITCH] = "off"
    try:
        yield
    finally:
        if before is None:
            del os.environ[SWITCH]
        else:
            os.environ[SWITCH] = before


def entry_key(content: bytes, *, allow_indoor: bool) -> str | None:
    """Return the name of a file's entry; None where it is not worth one, or the cache is off."""
    if len(content) < SMALLEST_BYTES or cache_folder() is None:
        return None
    return hashlib.sha256(hashlib.sha256(content).digest() + _decoder() + bytes([allow_indoor])).hexdigest()


def kept_ride(key: str | None, *, name: str) -> Ride | None:
    """Return the ride that was kept under a key, None where there is none that can be read.

    Parameters
    ----------
    key
        From :func:`entry_key`.
    name
        What the file is called this time.
    """
    folder = cache_folder()
    if key is None or folder is None:
        return None
    path = folder / f"{key}{ENDING}"
    try:
        ride = _ride_of(path.read_bytes(), key)
    except FileNotFoundError:
        return None
    except Exception:  # damaged bytes raise anything; the ride file itself is still there
        with suppress(OSError):
            path.unlink()
        return None
    with suppress(OSError):
        _used_now(path)
    return replace(ride, source=replace(ride.source, file=name))


def keep_ride(ride: Ride, key: str | None) -> None:
    """Keep a ride under a key from :func:`entry_key`; where that fails, nothing happens."""
    folder = cache_folder()
    if key is None or folder is None:
        return
    data = _entry_of(ride, key)
    if len(data) > MOST_BYTES // 4:
        return
    with suppress(OSError):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        beside = tempfile.NamedTemporaryFile(dir=folder, suffix=".part", delete=False)  # noqa: SIM115 (renamed below)
        try:
            with beside:
                beside.write(data)
            _used_now(Path(beside.name))
            Path(beside.name).replace(folder / f"{key}{ENDING}")
        finally:
            Path(beside.name).unlink(missing_ok=True)
        _trim(folder)


@cache
def _decoder() -> bytes:
    """Hash of all that turns bytes into a ride: the readers' own text, and the versions of what they use."""
    told = hashlib.sha256(f"{LAYOUT} {VERSION}".encode())
    for package in DECODERS:
        with suppress(PackageNotFoundError):
            told.update(version(package).encode())
    here = Path(__file__)
    for path in sorted([*here.with_name("readers").glob("*.py"), here.with_name("ride.py")]):
        with suppress(OSError):
            told.update(path.read_bytes())
    return told.digest()


def _entry_of(ride: Ride, key: str) -> bytes:
    about = {
        "key": key,
        "source": asdict(ride.source),
        "start_time": None if ride.start_time is None else ride.start_time.isoformat(),
        "lap_marks": [asdict(mark) for mark in ride.lap_marks],
        "pauses": [asdict(pause) for pause in ride.pauses],
        "device": ride.device,
        "sport": ride.sport,
        "speed_from": ride.speed_from,
        "notes": ride.notes,
    }
    out = io.BytesIO()
    np.savez(out, table=ride.table.to_numpy(), about=np.frombuffer(json.dumps(about).encode(), dtype=np.uint8))
    return out.getvalue()


def _ride_of(data: bytes, key: str) -> Ride:
    with np.load(io.BytesIO(data), allow_pickle=False) as entry:
        # Each column in one piece, as from a reader: some functions round otherwise on scattered numbers.
        table: np.ndarray = np.asfortranarray(entry["table"])
        about: dict[str, Any] = json.loads(entry["about"].tobytes())
    if about["key"] != key or table.dtype != np.float64 or table.ndim != 2:
        raise ValueError("an entry of something else")
    start = about["start_time"]
    return Ride(
        table=pd.DataFrame(table, columns=list(COLUMNS)),
        source=RideSource(**about["source"]),
        start_time=None if start is None else datetime.fromisoformat(start),
        lap_marks=tuple(LapMark(**mark) for mark in about["lap_marks"]),
        pauses=tuple(Pause(**pause) for pause in about["pauses"]),
        device=about["device"],
        sport=about["sport"],
        speed_from=about["speed_from"],
        notes=tuple(about["notes"]),
    )


def _used_now(path: Path) -> None:
    """Stamp an entry: those not used for longest go first.

    The clock of a file system may tick a hundred times a second only, which is too coarse.
    """
    now = time.time_ns()
    os.utime(path, ns=(now, now))


def _trim(folder: Path) -> None:
    found = []
    for path in folder.iterdir():
        about = path.stat()
        if path.name.endswith(ENDING):
            found.append((about.st_mtime_ns, about.st_size, path))
        elif path.suffix == ".part" and time.time() - about.st_mtime > ABANDONED_S:
            path.unlink(missing_ok=True)
    size = 0
    for number, (_, size_bytes, path) in enumerate(sorted(found, reverse=True), start=1):
        size += size_bytes
        if number > MOST_ENTRIES or size > MOST_BYTES:
            path.unlink(missing_ok=True)
