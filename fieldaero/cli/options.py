"""What several commands share: names of files that end as they must, and progress on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import click

__all__ = ["ending_in", "progress"]

Check = Callable[[click.Context, click.Parameter, str | None], str | None]


def ending_in(*suffixes: str) -> Check:
    """Return the check of an option whose file name ends in one of these."""

    def check(context: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
        if value is not None and Path(value).suffix.lower() not in suffixes:
            raise click.BadParameter(f'"{value}": the name must end in {" or ".join(suffixes)}.')
        return value

    return check


def progress() -> Callable[[str], None] | None:
    """Say on a terminal what is going on; into a file or pipe nothing."""
    if not sys.stderr.isatty():
        return None
    return lambda step: click.echo(f"{step} ...", err=True)
