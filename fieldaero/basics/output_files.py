"""Output files: all of them or none, and never over an input.

Everything is written into a new folder beside the target first.  Only when the last
byte is on the disk do the files move to their places; if a move fails, those already
moved go back.

What remains after the process is killed: a folder that was new is there with all its
files or not at all; in a folder that was there every file is the old or the new one, none
is half written or missing.  Being asked to end (Ctrl+C, SIGTERM) between two moves waits for
the last one.  Only SIGKILL or a power cut in that fraction of a millisecond can leave the
first files new and the rest old.  Two processes that write into one folder take turns.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import signal
import threading
import time
import uuid
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fieldaero.basics.errors import FieldaeroError

__all__ = ["json_text", "write_bytes", "write_files", "write_text"]

STAGE = ".fieldaero-"
LONGEST_WAIT_S = 60.0


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
        If the folder cannot be written, or one of the names is taken by an input.  Then nothing was changed.
    """
    target = Path(folder)
    inputs = set(inputs_sha256)
    _refuse_inputs(target, content, inputs)
    try:
        made = _made(target.parent)
        try:
            if not _made_whole(content, target):
                with _alone_in(target):
                    _refuse_inputs(target, content, inputs)
                    with _staged(content, target) as beside:
                        _swap(tuple(content), beside, target)
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
    """Write one file at once or not at all; an existing one only with ``replace``.

    Raises
    ------
    FieldaeroError
        As :func:`write_text`.
    """
    target = Path(path)
    try:
        with _alone_in(target.parent), _staged({target.name: data}, target.parent) as beside:
            ready = beside / target.name
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


def _made_whole(content: Mapping[str, bytes], target: Path) -> bool:
    """Make a folder that is not there together with its files; False where it is there."""
    if target.exists() or target.is_symlink():
        return False
    with _alone_in(target.parent), _staged(content, target.parent) as beside:
        try:
            beside.rename(target)
        except OSError:
            if target.is_dir():  # somebody was quicker
                return False
            raise
    return True


@contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Let one process at a time write into a folder; others wait.

    The lock is the system's own and ends with the process, however that ends.  Where there are no
    such locks (Windows, some network drives) files are still written at one stroke each.
    """
    try:
        import fcntl
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        until = time.monotonic() + LONGEST_WAIT_S
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                for left in folder.glob(f"{STAGE}*"):  # by a process that was killed: nobody else is at work here
                    shutil.rmtree(left, ignore_errors=True)
                break
            except BlockingIOError:
                if time.monotonic() > until:
                    raise FieldaeroError(
                        f"{folder}: another fieldaero has been writing there for {LONGEST_WAIT_S:.0f} s; wait for it, "
                        "or choose another folder"
                    ) from None
                time.sleep(0.02)
            except OSError:
                break
        yield
    finally:
        os.close(handle)


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


def _swap(names: Iterable[str], beside: Path, target: Path) -> None:
    """Put each file in its place at one stroke, and all of them without a break; back to what was if one fails."""
    places = [(beside / name, target / name, beside / f"{name}.before") for name in names]
    for _, path, before in places:
        if path.is_dir():
            raise IsADirectoryError(errno.EISDIR, f"{path.name} is a folder there")
        if path.exists() or path.is_symlink():
            _double(path, before)
    with _unhurried():
        moved: list[tuple[Path, Path]] = []
        try:
            for ready, path, before in places:
                ready.replace(path)
                moved.append((path, before))
        except BaseException:
            for path, before in reversed(moved):
                if before.exists() or before.is_symlink():
                    before.replace(path)
                else:
                    path.unlink()
            raise


def _double(path: Path, second: Path) -> None:
    try:
        os.link(path, second, follow_symlinks=False)
    except (OSError, NotImplementedError):  # file systems without hard links
        shutil.copy2(path, second, follow_symlinks=False)


@contextmanager
def _unhurried() -> Iterator[None]:
    """Have requests to end the process wait for the end of the block, which takes less than a millisecond."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    asked: list[int] = []
    ends = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {end: signal.signal(end, lambda number, _: asked.append(number)) for end in ends}
    try:
        yield
    finally:
        for end, handler in before.items():
            signal.signal(end, handler)
        for number in asked:
            signal.raise_signal(number)
