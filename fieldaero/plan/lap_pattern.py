"""The order of setups as testers write it down: A B B A, with A for the first setup, or the names themselves."""

from __future__ import annotations

import string
from collections.abc import Sequence

from fieldaero.basics.errors import RunSheetError
from fieldaero.run_sheet.schema import NOT_USED

__all__ = ["letters_of", "pattern_of", "usual_patterns"]


def letters_of(setups: Sequence[str]) -> dict[str, str]:
    """Return the letter that stands for each setup, in their order; beyond Z there is none.

    Examples
    --------
    >>> letters_of(["road bar", "low bar"])
    {'A': 'road bar', 'B': 'low bar'}
    """
    return dict(zip(string.ascii_uppercase, setups, strict=False))


def pattern_of(text: str, setups: Sequence[str]) -> tuple[str, ...]:
    """Read a pattern: letters with or without spaces, or names with commas; "-" is a lap that is not used.

    Examples
    --------
    >>> pattern_of("A B b-", ["road bar", "low bar"])
    ('road bar', 'low bar', 'low bar', '-')
    >>> pattern_of("low bar, road bar", ["road bar", "low bar"])
    ('low bar', 'road bar')
    """
    letters = letters_of(setups)
    names = {name.casefold(): name for name in setups} | {NOT_USED: NOT_USED}
    parts = [part.strip() for part in text.split(",")] if "," in text or text.strip().casefold() in names else None
    if parts is None:
        parts = [sign for word in text.split() for sign in ([word] if word.casefold() in names else word)]
    found = []
    for part in filter(None, parts):
        name = names.get(part.casefold()) or letters.get(part.upper())
        if name is None:
            allowed = ", ".join(f"{letter} for {setup}" for letter, setup in letters.items())
            raise RunSheetError(
                f'"{part}" in the pattern is no setup; write {allowed}, or - for a lap that is not used'
            )
        found.append(name)
    if not found:
        raise RunSheetError("the pattern is empty; write setups in the order they were ridden, like A B B A")
    return tuple(found)


def usual_patterns(setups: Sequence[str]) -> tuple[str, ...]:
    """Return patterns that balance a steady drift, and the plain alternation, for up to four setups.

    Examples
    --------
    >>> usual_patterns(["road bar", "low bar"])
    ('A B B A', 'A B')
    >>> usual_patterns(["a", "b", "c"])
    ('A B C C B A', 'A B C')
    """
    signs = list(letters_of(setups))[:4]
    if len(signs) < 2:
        return ("A",) if signs else ()
    return (" ".join([*signs, *reversed(signs)]), " ".join(signs))
