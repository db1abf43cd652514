"""Run sheets written as TOML; what stood in a sheet stays as it stood: order, comments, digits, layout.

A former text is cut into blocks, one for each heading.  Blank lines and comments at the end of
a block explain what comes next, so they keep their place when a block is added or taken out.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array

__all__ = ["FILL_IN", "toml_text", "toml_value"]

NAMED_BY = ("name", "file", "setup", "versus", "time")  # what tells one row of a table from another
FILL_IN = "FILL IN: "  # marks the comment of a key that has no value yet
HEADING = re.compile(r"^[ \t]*(\[\[?)[ \t]*[\"']?([\w-]+)[\"']?[ \t]*\]\]?[ \t]*(?:#.*)?\n", re.MULTILINE)
COMMENTED_KEY = re.compile(r"[ \t]*#[ \t]*[\w-]+[ \t]*=")
COMMENTED_HEADING = re.compile(r"[ \t]*#[ \t]*\[")


@dataclass(eq=False)  # two of them may read the same
class _Block:
    """A heading with its keys, or what stands before the first heading, and the lines that lead to the next one."""

    name: str
    bracket: str
    text: str
    below: str


def toml_value(value: Any) -> str:
    """Return a plain value as TOML writes it, text in quotes."""
    text: str = tomlkit.item(value).as_string()
    return text


def toml_text(tables: Mapping[str, Any], *, former: str = "") -> str:
    """Write the tables of a run sheet; values that are None are left out.

    ``former`` is the text of an earlier state of the sheet: only what differs from it is written anew.

    Examples
    --------
    >>> toml_text({"title": "New"}, former='title = "Old"  # a working title')
    'title = "New"  # a working title'
    """
    wanted = _plain(tables)
    if _reads_as(former, wanted):
        return former
    text = ""
    if former:
        with suppress(TOMLKitError, tomllib.TOMLDecodeError):
            text = _changed(former.replace("\r\n", "\n"), wanted)
    # Not every layout comes out whole.
    if not _reads_as(text, wanted):
        text = _written(wanted)
    return text.replace("\n", "\r\n") if "\r\n" in former else text


def _written(wanted: Mapping[str, Any]) -> str:
    values = {key: value for key, value in wanted.items() if not _bracket(value)}
    parts = [tomlkit.dumps(values)] if values else []
    for key, value in wanted.items():
        if isinstance(value, dict):
            parts.append(tomlkit.dumps({key: value}))
        elif _bracket(value):
            parts += [tomlkit.dumps({key: [row]}) for row in value]
    return "\n".join(parts)


def _changed(former: str, wanted: Mapping[str, Any]) -> str:
    old = tomllib.loads(former)
    blocks = _blocks(former if former.endswith("\n") else f"{former}\n", old)
    for block in blocks[:0:-1]:
        if block.bracket != _bracket(wanted.get(block.name)):
            _take_out(blocks, block)
    headed = {block.name for block in blocks[1:]}
    first = {k: v for k, v in wanted.items() if k not in headed and (k in old or not _bracket(v))}
    _update_block(blocks[0], first)
    for key in headed:
        own = [block for block in blocks if block.name == key]
        if isinstance(old[key], dict):
            _update_block(own[0], wanted[key])
        elif len(own) == len(old[key]):  # not so where a line of a long text looks like a heading
            _update_rows(blocks, own, old[key], wanted[key])
    text = "".join(block.text + block.below for block in blocks)
    new = {k: v for k, v in wanted.items() if k not in headed and k not in first}
    if new:
        text += "\n" + _written(new)
    return text if former.endswith("\n") else text.removesuffix("\n")


def _blocks(text: str, tables: Mapping[str, Any]) -> list[_Block]:
    """Cut a text at the headings of its tables; those of tables in tables stay with the outer one."""
    cuts = [("", "", 0)]
    cuts += [(m[2], m[1], m.start()) for m in HEADING.finditer(text) if _bracket(tables.get(m[2])) == m[1]]
    ends = [start for *_, start in cuts[1:]] + [len(text)]
    return [
        _Block(name, bracket, *_parted(text[start:end])) for (name, bracket, start), end in zip(cuts, ends, strict=True)
    ]


def _parted(text: str) -> tuple[str, str]:
    """Part a block from the lines below it; keys in comments belong to the block, and so does what follows at once."""
    lines = re.findall(r".*\n", text)
    said = [k for k, line in enumerate(lines) if line.strip() and not line.lstrip().startswith("#")]
    end = said[-1] + 1 if said else 0
    another = next((k for k in range(end, len(lines)) if COMMENTED_HEADING.match(lines[k])), len(lines))
    end = max((k + 1 for k in range(end, another) if COMMENTED_KEY.match(lines[k])), default=end)
    end = next((k for k in range(end, len(lines)) if not lines[k].strip()), end)
    return "".join(lines[:end]), "".join(lines[end:])


def _update_rows(
    blocks: list[_Block], own: Sequence[_Block], old: Sequence[Mapping[str, Any]], wanted: Sequence[Mapping[str, Any]]
) -> None:
    steps = SequenceMatcher(None, [_name(row) for row in old], [_name(row) for row in wanted], autojunk=False)
    for _, a, b, c, d in reversed(steps.get_opcodes()):
        both = min(b - a, d - c)
        for k in range(both):
            _update_block(own[a + k], wanted[c + k])
        for block in reversed(own[a + both : b]):
            _take_out(blocks, block)
        for k, row in enumerate(wanted[c + both : d]):
            at = blocks.index(own[a + both - 1]) + 1 + k if a + both else blocks.index(own[0])
            _put_in(blocks, at, _Block(own[0].name, "[[", tomlkit.dumps({own[0].name: [row]}), "\n"))


def _put_in(blocks: list[_Block], at: int, block: _Block) -> None:
    above = blocks[at - 1]
    if above.name == block.name:
        above.below, block.below = "\n", above.below
    blocks.insert(at, block)


def _take_out(blocks: list[_Block], block: _Block) -> None:
    at = blocks.index(block)
    above = blocks[at - 1]
    if above.name == block.name:
        above.below = block.below  # what leads to a row goes with it
    elif block.below.strip():
        above.below += block.below
    del blocks[at]


def _update_block(block: _Block, wanted: Mapping[str, Any]) -> None:
    if _keys_of(block.text, block.name) == wanted:
        return
    for key, value in wanted.items():
        block.text = _with_commented(block, key, value)
    document: Any = tomlkit.parse(block.text)
    _update(_keys_of(document, block.name), wanted)
    block.text = tomlkit.dumps(document)


def _keys_of(document: Any, name: str) -> Any:
    """Return the table of a block: of its text as plain values, of a document as it can be changed."""
    held = tomllib.loads(document) if isinstance(document, str) else document
    if not name:
        return held
    return held[name][0] if isinstance(held[name], list) else held[name]


def _with_commented(block: _Block, key: str, value: Any) -> str:
    """Return the text of a block with a new value in the place of its key in a comment, if there is one."""
    line = re.search(rf"^[ \t]*#[ \t]*{re.escape(key)}[ \t]*=([^#\n]*)(#.*)?$", block.text, re.MULTILINE)
    if line is None or isinstance(value, dict) or key in _keys_of(block.text, block.name):
        return block.text
    written, remark = f"{key} = {toml_value(value)}", line[2]
    if remark:
        written = f"{written.ljust(line.start(2) - line.start() - 1)} {remark.replace(FILL_IN, '')}"
    elif line[1].strip() and not _is_value(line[1]):  # words, no value
        return block.text
    text = block.text[: line.start()] + written + block.text[line.end() :]
    with suppress(tomllib.TOMLDecodeError):
        if _keys_of(text, block.name).get(key) == value:
            return text
    return block.text  # the comment stands in a list, or in a table of the table


def _is_value(text: str) -> bool:
    try:
        tomllib.loads(f"value = {text}")
    except tomllib.TOMLDecodeError:
        return False
    return True


def _update(into: Any, wanted: Mapping[str, Any]) -> None:
    for key in [key for key in into if key not in wanted]:
        del into[key]
    for key, value in wanted.items():
        old = into.get(key)
        if old == value:
            continue
        if isinstance(old, Mapping) and isinstance(value, dict):
            _update(old, value)
        elif isinstance(old, Array) and isinstance(value, list) and len(old) == len(value):
            for k, one in enumerate(value):
                if old[k] != one:
                    old[k] = one
        else:
            into[key] = value


def _name(row: Mapping[str, Any]) -> str:
    return repr([row.get(key) for key in NAMED_BY])


def _reads_as(text: str, wanted: Mapping[str, Any]) -> bool:
    try:
        return tomllib.loads(text) == wanted
    except tomllib.TOMLDecodeError:
        return False


def _bracket(value: Any) -> str:
    """Return the bracket that a value's heading opens with: one for a table, two for rows of them, none for others."""
    if isinstance(value, dict):
        return "["
    rows = isinstance(value, list) and bool(value) and all(isinstance(row, dict) for row in value)
    return "[[" if rows else ""


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(one) for key, one in value.items() if one is not None}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return value
