"""A result, of one session or pooled, as files in a folder: all of them or none, and never over an input."""

from __future__ import annotations

import os
from pathlib import Path

from fieldaero.answers.pool.pooled import Pooled
from fieldaero.answers.result import Result
from fieldaero.basics.output_files import json_text, write_files

__all__ = ["write_pooled_files", "write_result_files"]

RESULT_FILES = ("result.json", "laps.csv", "setups.csv", "comparisons.csv", "summary.txt")
POOLED_FILES = ("pooled.json", "pooled.csv", "pooled_sessions.csv", "pooled.txt")


def write_result_files(result: Result, folder: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write result.json, laps.csv, setups.csv, comparisons.csv and summary.txt into a folder.

    Earlier results in the folder are replaced.  Where it cannot be written, or one of the names is taken by an input of
    the analysis, nothing is changed.
    """
    texts = (
        json_text(result.to_dict()) + "\n",
        result.laps.to_csv(index=False, lineterminator="\n"),
        result.setups.to_csv(index=False, lineterminator="\n"),
        result.comparisons.to_csv(index=False, lineterminator="\n"),
        result.summary().rstrip("\n") + "\n",
    )
    content = {name: text.encode("utf-8") for name, text in zip(RESULT_FILES, texts, strict=True)}
    return write_files(content, folder, inputs_sha256={one.sha256 for one in result.inputs})


def write_pooled_files(pooled: Pooled, folder: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write pooled.json, pooled.csv, pooled_sessions.csv and pooled.txt into a folder.

    As :func:`write_result_files` does.
    """
    texts = (
        json_text(pooled.to_dict()) + "\n",
        pooled.comparisons.to_csv(index=False, lineterminator="\n"),
        pooled.sessions.to_csv(index=False, lineterminator="\n"),
        pooled.summary(),
    )
    content = {name: text.encode("utf-8") for name, text in zip(POOLED_FILES, texts, strict=True)}
    return write_files(content, folder, inputs_sha256={one.sha256 for one in pooled.inputs})
