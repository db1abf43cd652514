"""A ride as CSV with the contract's columns, precise enough to repeat an analysis."""

from __future__ import annotations

import csv
import io
import os
from datetime import UTC, timedelta
from pathlib import Path

import numpy as np

from fieldaero.basics.errors import RideError
from fieldaero.basics.output_files import write_bytes
from fieldaero.rides.formats.csv_columns import LOCAL_COLUMNS, WRITTEN_ORDER, lap_columns
from fieldaero.rides.local_positions import LOCAL_FRAME, is_local
from fieldaero.rides.repair.pauses import cut_steps
from fieldaero.rides.ride import COLUMNS, Ride

__all__ = ["write_csv"]

ALWAYS = {"power_w", "speed_m_s"}
MICROMETRES = 6
FINEST_STEP_S = 1.5e-6  # stamps are written to the microsecond


def write_csv(ride: Ride, path: str | os.PathLike[str]) -> Path:
    """Write a ride as CSV, so that :func:`read_ride` gives the same table and lap marks back.

    Columns as in :mod:`fieldaero.rides.formats.csv_columns`: ``timestamp`` where the ride has a
    clock, else ``time_s``; columns without any value are left out, power and speed apart.
    Positions in local metres are written as ``east_m`` and ``north_m``, to the micrometre.
    Numbers keep all their digits; stamps are written to the microsecond.

    Parameters
    ----------
    ride
        The ride to write.
    path
        Replaced at one stroke if it is there, so that no half-written file is left.

    Returns
    -------
    The path.

    Raises
    ------
    FieldaeroError
        If the file cannot be written or is the one the ride was read from, or if the ride's
        steps are too short for the stamps.
    """
    columns = _columns(ride)
    if set(LOCAL_COLUMNS) <= columns.keys():
        del columns["latitude_deg"], columns["longitude_deg"]
    names = [name for name in WRITTEN_ORDER if name in columns]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    writer.writerows(zip(*(columns[name] for name in names), strict=True))
    return write_bytes(out.getvalue().encode("utf-8"), path, replace=True, inputs_sha256=[ride.source.sha256])


def _columns(ride: Ride) -> dict[str, list[str]]:
    columns = {
        name: [_cell(x) for x in ride.column(name).tolist()] for name in COLUMNS if name in ALWAYS or ride.has(name)
    }
    if ride.has("latitude_deg"):
        columns |= _local(ride)
    if ride.start_time is not None:
        if float(np.min(np.diff(ride.time_s))) < FINEST_STEP_S:
            raise RideError(
                f"{ride.source.file}: steps of {np.min(np.diff(ride.time_s)):.3g} s are too short for time stamps; "
                "allowed are steps from 2 microseconds"
            )
        start = ride.start_time.astimezone(UTC)
        stamps = (start + timedelta(seconds=t) for t in ride.time_s.tolist())
        columns["timestamp"] = [stamp.isoformat().replace("+00:00", "Z") for stamp in stamps]
        del columns["time_s"]
    columns |= lap_columns(ride)
    stops = [pause for pause in ride.pauses if pause.cause == "timer"]
    if stops:
        stopped = np.concatenate([[False], cut_steps(ride.time_s, stops)])
        columns["pause"] = ["timer" if one else "" for one in stopped.tolist()]
    if ride.speed_from != "recorded":
        columns["speed_from"] = [ride.speed_from] * len(ride.table)
    return columns


def _local(ride: Ride) -> dict[str, list[str]]:
    """Columns of local metres; none for a ride with real positions."""
    latitude, longitude = ride.column("latitude_deg"), ride.column("longitude_deg")
    ends = [(float(pick(latitude)), float(pick(longitude))) for pick in (np.nanmin, np.nanmax)]
    if not all(is_local(*end) for end in ends):
        return {}
    places = LOCAL_FRAME.to_metres(latitude, longitude)
    return {
        name: [_cell(round(x, MICROMETRES)) for x in metres.tolist()]
        for name, metres in zip(LOCAL_COLUMNS, places, strict=True)
    }


def _cell(value: float) -> str:
    return "" if value != value else repr(value).removesuffix(".0")
