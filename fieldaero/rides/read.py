"""One ride file in, one :class:`fieldaero.rides.ride.Ride` out."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from fieldaero.basics.errors import RideError
from fieldaero.rides.detect import RideFile, bytes_of, recognise
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
        Read a trainer or virtual ride too; it met no air, so nothing aerodynamic is in it.

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
    """Read a ride file whose bytes are at hand already, as from a page; see :func:`read_ride`.

    Parameters
    ----------
    content
        The file, as it was recorded, packed with gzip or not.
    name
        What the file is called in messages and in the result.
    allow_indoor
        As for :func:`read_ride`.

    Raises
    ------
    RideError
        If it cannot be read or holds no ride; the message says what it is.
    """
    file = recognise(content, name=name)
    try:
        recording = _recording(file)
        check_laps(len(recording.lap_marks), file.name)
        if recording.indoor and not allow_indoor:
            raise RideError(
                f"{file.name}: recorded as {recording.indoor}: on a trainer or a virtual road there is no air to "
                "measure. Give an outdoor ride."
            )
        source = RideSource(
            file=file.name,
            format=f"{recording.format} (gzip)" if file.packed else recording.format,
            size_bytes=file.size_bytes,
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
    # Decoders are loaded where they are needed: the table of a FIT profile alone takes a fifth of a second.
    if file.kind == "FIT":
        from fieldaero.rides.formats.fit import read_fit

        recording = read_fit(file)
    elif file.kind == "CSV":
        from fieldaero.rides.formats.csv import read_csv

        recording = read_csv(file)
    else:
        from fieldaero.rides.formats.gpx import read_gpx
        from fieldaero.rides.formats.tcx import read_tcx
        from fieldaero.rides.formats.xml_points import Walk

        walk = Walk(file)
        readers = {"trainingcenterdatabase": read_tcx, "gpx": read_gpx}
        if walk.root not in readers:
            raise RideError(
                f"{file.name}: an XML file that begins with <{walk.root}>, not a ride file; "
                "TCX begins with <TrainingCenterDatabase>, GPX with <gpx>"
            )
        recording = readers[walk.root](file, walk)
    return replace(recording, notes=(*file.notes, *recording.notes))
