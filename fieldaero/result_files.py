"""A result as files: all of them or none, and never over an input.

Everything is written into a new folder beside the target first.  Only when the last
byte is on the disk do the files move to their places; if a move fails, those already
moved go back.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldaero.errors import FieldaeroError

if TYPE_CHECKING:
    from fieldaero.result import Result

__all__ = ["RESULT_FILES", "json_text", "write_bytes", "write_files", "write_result_files", "write_text"]

RESULT_FILES = ("result.json", "laps.csv", "setups.csv", "comparisons.csv", "summary.txt")


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


def write_result_files(result: Result, folder: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write result.json, laps.csv, setups.csv, comparisons.csv and summary.txt into a folder.

    Parameters
    ----------
    result
        From :func:`fieldaero.analysis.analyse`.
    folder
        Made where it is not there; earlier results in it are replaced.

    Returns
    -------
    The paths written.

    Raises
    ------
    FieldaeroError
        If the folder cannot be written, or one of the names is taken by an input of
        the analysis.  Then nothing was changed.
    """
    texts = {
        "result.json": json_text(result.to_dict()) + "\n",
        "laps.csv": result.laps.to_csv(index=False, lineterminator="\n"),
        "setups.csv": result.setups.to_csv(index=False, lineterminator="\n"),
        "comparisons.csv": result.comparisons.to_csv(index=False, lineterminator="\n"),
        "summary.txt": result.summary().rstrip("\n") + "\n",
    }
    content = {name: text.encode("utf-8") for name, text in texts.items()}
    return write_files(content, folder, inputs_sha256={one.sha256 for one in result.inputs})


def write_files(
    content: Mapping[str, bytes], folder: str | os.PathLike[str], *, inputs_sha256: Iterable[str] = ()
) -> tuple[Path, ...]:
    """Write several files into a folder, all or none.

    Parameters
    ----------
    content
        File names, without folders, and their bytes.
    folder
        Made where it is not there.
    inputs_sha256
        Files with one of these contents are inputs and are not replaced.

    Raises
    ------
    FieldaeroError
        As in :func:`write_result_files`.
    """
    target = Path(folder)
    _refuse_inputs(target, content, set(inputs_sha256))
    try:
        made = _made(target)
        try:
            _move_in(content, target)
        except BaseException:
            for new in made:  # innermost first; nothing of ours is left in them
                new.rmdir()
            raise
    except OSError as error:
        raise FieldaeroError(
            f"{target}: cannot be written ({error.strerror or error}); nothing was changed. Choose another folder, or "
            "make room."
        ) from error
    return tuple(target / name for name in content)


def write_text(text: str, path: str | os.PathLike[str], *, replace: bool = False) -> Path:
    """Write one text file at once or not at all; an existing one only with ``replace``.

    Raises
    ------
    FieldaeroError
        If the file is there already and ``replace`` is not given, or it cannot be written.
    """
    return write_bytes(text.encode("utf-8"), path, replace=replace)


def write_bytes(data: bytes, path: str | os.PathLike[str], *, replace: bool = False) -> Path:
    """Write one file at once or not at all; see :func:`write_text`."""
    target = Path(path)
    try:
        with tempfile.TemporaryDirectory(prefix=".fieldaero-", dir=target.parent) as beside:
            ready = Path(beside, target.name)
            ready.write_bytes(data)
            if replace:
                ready.replace(target)
            else:
                # A link fails where the name is taken, also if somebody took it a moment ago.
                _link(ready, target)
    except FileExistsError as error:
        raise FieldaeroError(f"{target}: is there already and was left as it is; choose another name") from error
    except OSError as error:
        raise FieldaeroError(
            f"{target}: cannot be written ({error.strerror or error}); choose another place"
        ) from error
    return target


def _link(ready: Path, target: Path) -> None:
    if target.exists() or target.is_symlink():
        raise FileExistsError
    try:
        os.link(ready, target)
    except FileExistsError:
        raise
    except OSError:  # file systems without hard links
        ready.replace(target)


def _refuse_inputs(target: Path, names: Iterable[str], inputs_sha256: set[str]) -> None:
    for name in names:
        path = target / name
        if path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() in inputs_sha256:
            raise FieldaeroError(
                f"{path}: is an input of this analysis, and no input is replaced; choose another folder"
            )


def _made(target: Path) -> list[Path]:
    """Make the folder with its parents; return those that are new, innermost first."""
    new = [path for path in (target, *target.parents) if not path.exists()]
    target.mkdir(parents=True, exist_ok=True)
    return new


def _move_in(content: Mapping[str, bytes], target: Path) -> None:
    beside = Path(tempfile.mkdtemp(prefix=".fieldaero-", dir=target))
    try:
        for name, data in content.items():
            with (beside / name).open("xb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
        _swap(tuple(content), beside, target)
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _swap(names: Iterable[str], beside: Path, target: Path) -> None:
    """Move the files in, those that were there before aside; back to what was if one move fails."""
    moved: list[tuple[Path, Path]] = []  # from where to where
    try:
        for name in names:
            path, before = target / name, beside / f"{name}.before"
            if path.is_dir():
                raise IsADirectoryError(errno.EISDIR, f"{name} is a folder there")
            if path.exists() or path.is_symlink():
                path.rename(before)
                moved.append((path, before))
            (beside / name).rename(path)
            moved.append((beside / name, path))
    except BaseException:
        for source, goal in reversed(moved):
            goal.rename(source)
        raise
