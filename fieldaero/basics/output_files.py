"""Output files: each one whole or not there, and never over an input.

Everything is first written into a hidden folder beside its place, down to the disk, and then moved.
If the process is killed, a new folder is there with all its files or not at all; in a folder that
existed before, every file is the old or the new one, none half written. A kill between two moves, a
fraction of a millisecond, can leave the first files new and the rest old.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import uuid
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from fieldaero.basics.errors import FieldaeroError

__all__ = ["json_text", "write_bytes", "write_files", "write_text"]

STAGE = ".fieldaero-"


def json_text(content: Mapping[str, Any]) -> str:
    """Return JSON for people and programs: indented, in UTF-8, strictly by RFC 8259 (no NaN).

    Examples
    --------
    >>> print(json_text({"cda_m2": 0.25}))
    {
      "cda_m2": 0.25
    }
    """
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)


def write_files(
    content: Mapping[str, bytes], folder: str | os.PathLike[str], *, inputs_sha256: Iterable[str] = ()
) -> tuple[Path, ...]:
    """Write several files, by their names, into a folder, which is made if needed.

    A file whose content has one of the hashes ``inputs_sha256`` is an input and is not replaced:
    then, as where the folder cannot be written, an error is raised and no file is written.  Where a move fails or
    is interrupted halfway, the files already moved stay: each is the old or the new one.
    """
    target = Path(folder)
    new: list[Path] = []
    try:
        new += (path for path in (target, *target.parents) if not path.exists())  # innermost first
        _check_places([target / name for name in content], set(inputs_sha256))
        target.parent.mkdir(parents=True, exist_ok=True)
        with _staged(content, target.parent if new else target) as beside:
            if target.exists():
                for name in content:
                    (beside / name).replace(target / name)
            else:
                beside.rename(target)
    except BaseException as error:
        for path in new:
            with suppress(OSError):
                path.rmdir()
        if isinstance(error, OSError):
            raise FieldaeroError(
                f"{target}: cannot be written ({error.strerror or error}). Choose another folder, or make room."
            ) from error
        raise
    return tuple(target / name for name in content)


def write_text(text: str, path: str | os.PathLike[str], *, replace: bool = False) -> Path:
    """Write one text file as :func:`write_bytes` does."""
    return write_bytes(text.encode("utf-8"), path, replace=replace)


def write_bytes(
    data: bytes, path: str | os.PathLike[str], *, replace: bool = False, inputs_sha256: Iterable[str] = ()
) -> Path:
    """Write one file into a folder that exists, over an older one only with ``replace``, never over an input."""
    target = Path(path)
    if not target.parent.is_dir():
        raise FieldaeroError(f"{target}: cannot be written (no such folder); choose another place")
    if not replace and (target.exists() or target.is_symlink()):
        raise FieldaeroError(f"{target}: is there already and was left as it is; choose another name")
    write_files({target.name: data}, target.parent, inputs_sha256=inputs_sha256)
    return target


def _check_places(paths: Iterable[Path], inputs_sha256: set[str]) -> None:
    for path in paths:
        if path.is_dir():
            raise FieldaeroError(f"{path}: is a folder, so no file of that name can be written; choose another folder")
        if inputs_sha256 and path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() in inputs_sha256:
            raise FieldaeroError(
                f"{path}: is an input of this analysis, and no input is replaced; choose another place"
            )


@contextmanager
def _staged(content: Mapping[str, bytes], folder: Path) -> Iterator[Path]:
    """Write the files into a new folder inside a folder, down to the disk; it is gone after the block."""
    beside = folder / f"{STAGE}{uuid.uuid4().hex[:8]}"
    beside.mkdir()
    try:
        for name, data in content.items():
            with (beside / name).open("xb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
        yield beside
    finally:
        shutil.rmtree(beside, ignore_errors=True)
