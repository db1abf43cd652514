"""The option of every command that reads rides."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

__all__ = ["no_cache"]

Command = TypeVar("Command", bound=Callable[..., Any])


def no_cache(command: Command) -> Command:
    """Add ``--no-cache`` to a command."""
    return click.option(
        "--no-cache",
        is_flag=True,
        expose_value=False,
        callback=_do_without,
        help="Decode the rides anew, and keep nothing for the next time.",
    )(command)


def _do_without(context: click.Context, parameter: click.Parameter, value: bool) -> None:  # noqa: FBT001 (click calls it)
    if value:
        from fieldaero.rides.cache import without_cache

        context.with_resource(without_cache())
