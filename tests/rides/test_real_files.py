"""Ride files as devices and exporters write them: each gives a sane ride or a reason, and no other exception.

The files are not part of the project; they lie in the folder FIELDAERO_REAL_RIDES, or
in a folder ``*/rides`` beside the repository, with a list of where they came from.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from fieldaero.basics.errors import RideError
from fieldaero.rides import read_ride, write_csv
from fieldaero.rides.ride import COLUMNS

BESIDE = sorted(Path(__file__).resolve().parents[3].glob("*/rides/PROVENANCE.csv"))
FOLDER = Path(os.environ.get("FIELDAERO_REAL_RIDES") or (BESIDE[0].parent if BESIDE else "rides"))
LARGEST_BYTES = int(os.environ.get("FIELDAERO_REAL_RIDES_UP_TO_BYTES", "100000"))
FILES = sorted(
    path
    for path in (FOLDER.rglob("*") if FOLDER.is_dir() else ())
    if path.suffix in (".fit", ".tcx", ".gpx") and path.stat().st_size <= LARGEST_BYTES
)
ABSENT = pytest.param(
    None, marks=pytest.mark.skip(reason="no real ride files; name their folder in FIELDAERO_REAL_RIDES")
)


@pytest.mark.parametrize("path", FILES or [ABSENT], ids=lambda path: path.name if path else "none")
def test_a_real_file_gives_a_sane_ride_or_a_reason(path, tmp_path):
    try:
        ride = read_ride(path, allow_indoor=True)
    except RideError as error:
        assert str(error).startswith(path.name)  # noqa: PT017
        assert "stops reading" not in str(error)  # noqa: PT017
        return
    assert tuple(ride.table.columns) == COLUMNS
    t = ride.time_s
    assert np.all(np.diff(t) > 0.0)
    assert t[0] == 0.0
    assert not np.isinf(ride.table.to_numpy()).any()
    distance = ride.column("distance_m")
    assert np.all(np.diff(distance[np.isfinite(distance)]) >= 0.0)
    for one, after in zip(ride.lap_marks[:-1], ride.lap_marks[1:], strict=True):
        assert one.start_s < one.end_s
        assert one.start_s <= after.start_s
    for one, after in zip(ride.pauses[:-1], ride.pauses[1:], strict=True):
        assert one.end_s <= after.start_s
    gaps = np.flatnonzero(np.diff(t) > 30.0)
    assert all(any(p.start_s <= t[i] and p.end_s >= t[i + 1] for p in ride.pauses) for i in gaps)
    back = read_ride(write_csv(ride, tmp_path / "back.csv"))
    assert back.table.equals(ride.table)
