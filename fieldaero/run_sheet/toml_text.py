"""Run sheets written as TOML; what stood in a sheet stays as it stood: order, comments, digits, layout."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from difflib import SequenceMatcher
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array

__all__ = ["quoted", "toml_text"]

NAMED_BY = ("name", "file", "setup", "versus", "time")  # what tells one row of a table from another


def quoted(text: str) -> str:
    """Return a text as TOML writes it, quotes and all."""
    return tomlkit.item(text).as_string()


def toml_text(tables: Mapping[str, Any], *, former: str = "") -> str:
    """Write the tables of a run sheet; values that are None are left out.

    ``former`` is the text of an earlier state of the sheet: only what differs from it is written anew.

    Examples
    --------
    >>> toml_text({"title": "New"}, former='title = "Old"  # a working title')
    'title = "New"  # a working title'
    """
    wanted = _plain(tables)
    if former:
        with suppress(TOMLKitError):
            document = tomlkit.parse(former)
            _update(document, wanted)
            text = tomlkit.dumps(document)
            # Not every edit of tables that stand in pieces comes out whole.
            if _reads_as(text, wanted):
                return text
    values = {key: value for key, value in wanted.items() if not _is_section(value)}
    parts = [tomlkit.dumps(values)] if values else []
    for key, value in wanted.items():
        if isinstance(value, dict):
            parts.append(tomlkit.dumps({key: value}))
        elif _is_section(value):
            parts += [tomlkit.dumps({key: [row]}) for row in value]
    return "\n".join(parts)


def _update(into: Any, wanted: Mapping[str, Any]) -> None:
    for key in [key for key in into if key not in wanted]:
        del into[key]
    for key, value in wanted.items():
        old = into.get(key)
        if old == value:
            continue
        if isinstance(old, Mapping) and isinstance(value, dict):
            _update(old, value)
        elif isinstance(old, AoT) and _is_section(value):
            _update_rows(old, value)
        elif isinstance(old, Array) and isinstance(value, list) and len(old) == len(value):
            for k, one in enumerate(value):
                if old[k] != one:
                    old[k] = one
        else:
            into[key] = value


def _update_rows(into: AoT, wanted: Sequence[Mapping[str, Any]]) -> None:
    steps = SequenceMatcher(None, [_name(row) for row in into], [_name(row) for row in wanted], autojunk=False)
    for _, a, b, c, d in reversed(steps.get_opcodes()):
        both = min(b - a, d - c)
        for k in range(both):
            _update(into[a + k], wanted[c + k])
        for k in range(b - 1, a + both - 1, -1):
            del into[k]
        for k in range(c + both, d):
            row = tomlkit.table()
            row.update(wanted[k])
            row.add(tomlkit.nl())
            into.insert(a + k - c, row)


def _name(row: Mapping[str, Any]) -> str:
    return repr([row.get(key) for key in NAMED_BY])


def _reads_as(text: str, wanted: Mapping[str, Any]) -> bool:
    try:
        return tomllib.loads(text) == wanted
    except tomllib.TOMLDecodeError:
        return False


def _is_section(value: Any) -> bool:
    return isinstance(value, dict) or (
        isinstance(value, list) and bool(value) and all(isinstance(row, dict) for row in value)
    )


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(one) for key, one in value.items() if one is not None}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return value
