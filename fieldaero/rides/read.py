"""One ride file in, one :class:`fieldaero.rides.ride.Ride` out."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from fieldaero.basics.errors import RideError
from fieldaero.rides.detect import RideFile, bytes_of, recognise
from fieldaero.rides.formats.csv import read_csv
from fieldaero.rides.formats.gpx import read_gpx
from fieldaero.rides.formats.tcx import read_tcx
from fieldaero.rides.formats.xml_points import Walk
from fieldaero.rides.recording import Recording, check_laps
from fieldaero.rides.repair.repair import ride_of
from fieldaero.rides.ride import Ride, RideSource

__all__ = ["read_ride", "read_ride_bytes"]


def read_ride(path: str | os.PathLike[str], *, allow_indoor: bool = False) -> Ride:
    r"""Read a ride file: FIT, TCX, GPX or CSV, also packed with gzip, told by its content.

    Parameters
    ----------
    path
        The file; it is never changed.
    allow_indoor
        Read a trainer or virtual ride too; it says nothing about drag.

    Returns
    -------
    The ride in SI units, its time strictly rising; what was repaired, dropped or is
    missing stands in its notes.

    Raises
    ------
    RideError
        If the file cannot be read or holds no ride; the message says what it is.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp(), "ride.csv")
    >>> _ = path.write_text("time_s,power_w,speed_m_s\n0,210,9.8\n1,214,9.9\n2,208,10.0\n")
    >>> read_ride(path).column("power_w").tolist()
    [210.0, 214.0, 208.0]
    """
    name = Path(path).name or str(path)
    return read_ride_bytes(bytes_of(path), name=name, allow_indoor=allow_indoor)


def read_ride_bytes(content: bytes, *, name: str, allow_indoor: bool = False) -> Ride:
    """Read a ride as :func:`read_ride` does, from the bytes of a file with that name."""
    file = recognise(content, name=name)
    try:
        recording = _recording(file)
        recording = replace(recording, notes=(*file.notes, *recording.notes))
        check_laps(len(recording.lap_marks), file.name)
        if recording.indoor and not allow_indoor:
            raise RideError(
                f"{file.name}: recorded as {recording.indoor}: a trainer or a virtual road has no air to measure. "
                "Give an outdoor ride."
            )
        source = RideSource(
            file=file.name,
            format=f"{recording.format} (gzip)" if file.packed else recording.format,
            sha256=file.sha256,
        )
        return ride_of(recording, source)
    except RideError:
        raise
    except Exception as error:  # damaged bytes can raise anything in a decoder; people get one sentence
        raise RideError(
            f"{file.name}: damaged in a way that stops reading ({type(error).__name__}: {error}); "
            "copy it from the device again"
        ) from error


def _recording(file: RideFile) -> Recording:
    if file.kind == "FIT":
        from fieldaero.rides.formats.fit import read_fit  # its decoder is heavy, and the first page needs no ride

        return read_fit(file)
    if file.kind == "CSV":
        return read_csv(file)
    walk = Walk(file)
    if walk.root == "trainingcenterdatabase":
        return read_tcx(file, walk)
    if walk.root == "gpx":
        return read_gpx(file, walk)
    raise RideError(
        f"{file.name}: an XML file that begins with <{walk.root}>, not a ride file; "
        "TCX begins with <TrainingCenterDatabase>, GPX with <gpx>"
    )
