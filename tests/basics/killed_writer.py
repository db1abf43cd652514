"""A process that writes generation after generation, to be killed.

Run as ``python -m tests.basics.killed_writer FOLDER LABEL FIRST LAST``.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fieldaero.basics.output_files import write_bytes, write_files

NAMES = ("a.json", "b.csv", "c.txt")
LINES = 4000


def content(label: str, generation: int) -> bytes:
    """Many equal lines, so that a half-written or a mixed file shows."""
    return f"{label} {generation:06d}\n".encode() * LINES


def generation_in(path: Path) -> tuple[str, int]:
    """Which writer and generation a file is of; it must be whole."""
    data = path.read_bytes()
    label, _, number = data[: data.index(b"\n")].decode().partition(" ")
    assert data == content(label, int(number)), f"{path.name} is no whole file"
    return label, int(number)


def main(folder: str, label: str, first: int, last: int) -> None:
    for generation in range(first, last + 1):
        data = content(label, generation)
        write_files(dict.fromkeys(NAMES, data), folder)
        write_bytes(data, Path(folder, "single.html"), replace=True)
        write_files(dict.fromkeys(NAMES, data), Path(folder, f"new-{label}-{generation}"))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
