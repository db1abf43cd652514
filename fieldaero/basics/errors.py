"""The errors of fieldaero: one small family, each message made for a person.

FieldaeroError
    RideError           a ride file cannot be read or lacks what is asked of it
    RunSheetError       the run sheet says something it may not say
    WeatherError        an observation is missing, unreadable or impossible
    OutOfRangeError     a physical quantity outside the validity of a formula
    CannotAnswerError   the input is in order but the data cannot answer

A message says what was found, where, what is allowed and what to do.  The
command line turns it into one line on stderr and the exit status that the
class carries; nothing else catches it.
"""

from __future__ import annotations

__all__ = [
    "CannotAnswerError",
    "FieldaeroError",
    "OutOfRangeError",
    "RideError",
    "RunSheetError",
    "WeatherError",
]


class FieldaeroError(Exception):
    """Base of all errors that fieldaero raises on purpose; exit status 2.

    Parameters
    ----------
    message
        What is wrong and what to do, in sentences.
    where
        The file it is about; stands before the message on a line of its own, and not where the file stands beside it.
    hint
        A further way that the command line offers; a page words its own.
    """

    exit_status: int = 2

    def __init__(self, message: str, *, where: str = "", hint: str = "") -> None:
        super().__init__(f"{f'{where}: ' if where else ''}{message}{f' {hint}' if hint else ''}")
        self.message = message
        self.hint = hint


class RideError(FieldaeroError):
    """A ride file cannot be read, or does not hold what is asked of it."""


class RunSheetError(FieldaeroError):
    """A run sheet holds an unknown key, a wrong type or an impossible value."""


class WeatherError(FieldaeroError):
    """A weather observation is missing, unreadable or impossible."""


class OutOfRangeError(FieldaeroError, ValueError):
    """A quantity lies outside the range in which a formula is valid."""


class CannotAnswerError(FieldaeroError):
    """The input is in order, but these data cannot answer; exit status 1."""

    exit_status = 1
