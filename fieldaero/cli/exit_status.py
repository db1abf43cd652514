"""How a command ends: with its output, or with one line on stderr and a status.

======  ==========================================================
0       done
1       the input is in order, but the data cannot answer
2       wrong use or bad input; also a fault of fieldaero itself
130     interrupted from the keyboard
141     the reader of the output went away
======  ==========================================================

The last two are what shells make of the signals SIGINT and SIGPIPE: 128 + 2 and
128 + 13 (common practice; POSIX only asks for more than 128).
"""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Sequence
from contextlib import suppress
from typing import Any, NoReturn

import click

from fieldaero.basics.errors import FieldaeroError
from fieldaero.basics.formatting import one_line

__all__ = ["DEBUG", "Commands"]

DEBUG = "FIELDAERO_DEBUG"
PROGRAM = "fieldaero"
COMPLETION = "_FIELDAERO_COMPLETE"
WRONG_USE = 2
INTERRUPTED = 130
READER_GONE = 141


class Commands(click.Group):
    """A group of commands that never shows a traceback, unless FIELDAERO_DEBUG=1 asks for it."""

    def main(  # type: ignore[override]
        self, args: Sequence[str] | None = None, prog_name: str | None = None, **extra: Any
    ) -> NoReturn:
        """Run one command and leave with its status."""
        extra["standalone_mode"] = False
        try:
            status = super().main(args=args, prog_name=PROGRAM, **extra)
            sys.stdout.flush()
        except SystemExit:
            if COMPLETION in os.environ:  # the shell asked for the names of commands, and has them
                raise
            # Apart from that click leaves by itself in one case only: nobody reads its output any more.
            _leave_quietly()
        except Exception as error:
            _leave(error)
        sys.exit(status if isinstance(status, int) else 0)


def _leave(error: Exception) -> NoReturn:
    if isinstance(error, BrokenPipeError):
        _leave_quietly()
    if isinstance(error, click.Abort):
        with suppress(OSError):
            sys.stdout.flush()
        sys.exit(INTERRUPTED)
    if os.environ.get(DEBUG) == "1":
        traceback.print_exception(error)
    status, message = _said(error)
    with suppress(OSError):
        sys.stdout.flush()
    with suppress(OSError):
        click.echo(f"{PROGRAM}: {one_line(message)}", err=True)
    sys.exit(status)


def _said(error: Exception) -> tuple[int, str]:
    """Status and sentence for an error."""
    if isinstance(error, FieldaeroError):
        return error.exit_status, str(error)
    if isinstance(error, click.UsageError):
        command = error.ctx.command_path if error.ctx else PROGRAM
        message = error.format_message().rstrip(".")
        return WRONG_USE, f"{message}{'' if message.endswith('?') else ';'} {command} --help says what is allowed"
    if isinstance(error, click.ClickException):
        return WRONG_USE, error.format_message()
    if isinstance(error, OSError) and error.strerror:
        where = f"{error.filename}: " if isinstance(error.filename, str | os.PathLike) else "a file "
        return WRONG_USE, f"{where}cannot be read or written ({error.strerror}); check the place and try again"
    if isinstance(error, MemoryError):
        return WRONG_USE, "not enough memory for this job; close other programs, or analyse fewer rides at once"
    kind = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    return WRONG_USE, f"this is a fault of {PROGRAM}, not of your input ({kind}); {DEBUG}=1 shows the details"


def _leave_quietly() -> NoReturn:
    # Python flushes once more on its way out and would complain about the closed pipe then.
    with suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(READER_GONE)
