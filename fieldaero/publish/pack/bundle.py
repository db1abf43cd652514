"""The pack itself: files gathered, analysed once more as they lie in the pack, and bound into a ZIP."""

from __future__ import annotations

import hashlib
import io
import tempfile
import warnings
import zipfile
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

from fieldaero.answers.analysis import analyse
from fieldaero.answers.result import Result
from fieldaero.basics.errors import FieldaeroError, RunSheetError
from fieldaero.basics.output_files import json_text
from fieldaero.estimate.session import Session
from fieldaero.publish import figures as plots
from fieldaero.publish.pack.readme import readme
from fieldaero.publish.pack.rides import Disguise, disguise_of, ride_in
from fieldaero.publish.pack.sheet import packed_sheet
from fieldaero.publish.photos import photo
from fieldaero.publish.report import html_report
from fieldaero.rides import write_csv
from fieldaero.rides.local_positions import is_local

__all__ = ["SHEET", "pack_bytes"]

SHEET = "runsheet.toml"
STAMP = (1980, 1, 1, 0, 0, 0)  # the first moment that a ZIP can tell: the same content is the same file


def pack_bytes(
    result: Result, *, with_positions: bool = False, with_originals: bool = False, strict_photos: bool = True
) -> bytes:
    """Return the data pack of a result as the bytes of a ZIP.

    The same for the same result and files, from where the session read them.  Without ``with_positions`` rides
    leave in metres around the start line and on a clock that begins with the session.  With ``with_originals``
    the ride files go along as they were recorded, with all that is in them: place, time, device, heart rate.  A
    photograph that cannot be used is an error, or left out with ``strict_photos=False``.
    """
    session = result.session
    files = _inputs(session, with_positions=with_positions, strict_photos=strict_photos)
    originals = _originals(session) if with_originals else {}  # first, because it can fail
    again, report = _analysed(files)
    files |= {"report.html": report.encode("utf-8"), **_outputs(again), **originals}
    text = readme(
        result,
        again,
        files=tuple(sorted(files)),
        with_positions=with_positions,
        with_originals=with_originals,
    )
    files["README.txt"] = text.encode("utf-8")
    sums = "".join(f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files))
    files["SHA256SUMS"] = sums.encode("ascii")
    return _zipped(files)


def _inputs(session: Session, *, with_positions: bool, strict_photos: bool) -> dict[str, bytes]:
    """Run sheet, rides and photographs, as they lie in the pack."""
    sheet = session.run_sheet
    observations = sheet.observations(date=session.rides[0].ride.start_time)
    times = [one.time for one in observations if one.time is not None]
    disguise = None if with_positions else disguise_of(session, times)
    names = [f"rides/ride-{k}.csv" for k in range(1, len(session.rides) + 1)]
    files = {name: _csv(session, k, disguise) for k, name in enumerate(names)}
    photos: dict[str, list[str]] = {}
    for k, setup in enumerate(sheet.setups, start=1):
        for i, file in enumerate(setup.photos, start=1):
            name = f"photos/setup-{k}-{i}.jpg"
            try:
                files[name] = photo(sheet.path.parent, file).jpeg
            except RunSheetError:
                if strict_photos:
                    raise
                continue
            photos.setdefault(setup.name, []).append(name)
    text = packed_sheet(
        sheet,
        rides=names,
        photos=photos,
        observations=observations,
        disguise=disguise,
        latitude_deg=_latitude_deg(session),
    )
    files[SHEET] = text.encode("utf-8")
    return files


def _csv(session: Session, k: int, disguise: Disguise | None) -> bytes:
    ride = session.rides[k].ride
    with tempfile.TemporaryDirectory(prefix="fieldaero-") as folder:
        written = write_csv(ride if disguise is None else ride_in(ride, disguise), Path(folder, "ride.csv"))
        return written.read_bytes()


def _latitude_deg(session: Session) -> float | None:
    """Latitude that gravity was worked out for; None where nobody knows it."""
    given = session.run_sheet.course.latitude_deg
    line = session.course.start_line
    if given is not None or line is None or is_local(line.latitude_deg, line.longitude_deg):
        return given
    return line.latitude_deg


def _analysed(files: Mapping[str, bytes]) -> tuple[Result, str]:
    """Analyse and report the pack's own files: what it says comes from them and from nothing else."""
    with tempfile.TemporaryDirectory(prefix="fieldaero-") as folder:
        for name, content in files.items():
            path = Path(folder, *PurePosixPath(name).parts)
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)
        result = analyse(Path(folder, SHEET))
        return result, html_report(result)


def _outputs(result: Result) -> dict[str, bytes]:
    texts = {"results.json": json_text(result.to_dict()) + "\n", "summary.txt": result.summary().rstrip("\n") + "\n"}
    frames = {
        "laps": result.laps,
        "setups": result.setups,
        "comparisons": result.comparisons,
        "claims": result.claims,
        "tunnel": result.tunnel,
        "races": result.races,
        "known_drag": result.known_drag,
        "yaw": result.yaw,
        "budget": result.budget,
    }
    texts |= {f"tables/{name}.csv": frame.to_csv(index=False, lineterminator="\n") for name, frame in frames.items()}
    files = {name: text.encode("utf-8") for name, text in texts.items()}
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")  # a figure's font has not every script
        files |= {
            f"figures/{name}.svg": plots.figure_bytes(draw(result), ".svg") for name, draw in plots.FIGURES.items()
        }
    return files


def _originals(session: Session) -> dict[str, bytes]:
    files = {}
    for k, (entry, ride) in enumerate(zip(session.run_sheet.rides, session.rides, strict=True), start=1):
        try:
            content = entry.path.read_bytes()
        except OSError as problem:
            raise FieldaeroError(
                f"{entry.file}: the original cannot be read ({problem.strerror or 'unreadable'}); put it back beside "
                "the run sheet, or leave the originals out"
            ) from None
        if hashlib.sha256(content).hexdigest() != ride.ride.source.sha256:
            raise FieldaeroError(f"{entry.file}: has changed since it was analysed; analyse the run sheet again")
        files[f"originals/{k}-{PurePosixPath(entry.file.replace(chr(92), '/')).name}"] = content
    return files


def _zipped(files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bound:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, STAMP)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # as on Unix, wherever it is made
            entry.external_attr = 0o644 << 16
            bound.writestr(entry, files[name])
    return out.getvalue()
