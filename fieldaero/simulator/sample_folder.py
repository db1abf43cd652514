"""The sample session that ships with fieldaero: invented rides with their run sheet.

In a checkout it lies in ``sample_rides`` beside the package; in an installed package
inside of it.
"""

from __future__ import annotations

import os
from pathlib import Path

from fieldaero.basics.errors import FieldaeroError
from fieldaero.basics.output_files import write_files

__all__ = ["SAMPLE_SHEET", "copy_sample", "sample_folder"]

SAMPLE_SHEET = "bar-test.toml"
PACKAGE = Path(__file__).resolve().parents[1]
PLACES = (PACKAGE / "_sample_rides", PACKAGE.parent / "sample_rides")


def sample_folder() -> Path:
    """Return the folder of the sample session; it holds the rides and ``bar-test.toml``."""
    for place in PLACES:
        if (place / SAMPLE_SHEET).is_file():
            return place
    raise FieldaeroError("the sample session is not part of this installation; install fieldaero again")


def copy_sample(folder: str | os.PathLike[str]) -> Path:
    """Copy the sample session into a new or empty folder, and return the path of its run sheet."""
    target = Path(folder)
    if target.is_dir() and any(target.iterdir()):
        raise FieldaeroError(f"{target}: is not empty and was left as it is; name a new folder")
    if target.exists() and not target.is_dir():
        raise FieldaeroError(f"{target}: is a file; name a new folder")
    source = sample_folder()
    files = sorted(p for p in source.iterdir() if p.is_file() and not p.name.startswith((".", "__init__")))
    write_files({path.name: path.read_bytes() for path in files}, target)
    return target / SAMPLE_SHEET
