"""A result told in plain text: the warnings first, then the answer, then what it rests on."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from fieldaero.answers.tables import Table, lap_table, setup_table
from fieldaero.answers.wording import (
    NOTHING_TO_COMPARE,
    also_found,
    cross_check_sections,
    verdict_head,
    verdict_reasons,
)
from fieldaero.basics.formatting import UNBROKEN, name, table, unbroken

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldaero.answers.result import Result
    from fieldaero.answers.rows import InputFile, LapResult

__all__ = ["bullet", "inputs_sentence", "section", "summary_text", "titled"]

COLUMNS = 100


def summary_text(result: Result) -> str:
    """Return the result as text, the same for the same result."""
    answers = [f"{verdict_head(c)} {verdict_reasons(c, result)}" for c in result.comparison_results]
    laps = "\n".join([_columns(lap_table(result)), *map(bullet, _lap_notes(result.lap_results))])
    parts = [
        titled(result.title),
        section("Warnings", result.warnings),
        section("What the laps say", answers or [NOTHING_TO_COMPARE]),
        *(section(title, told) for title, told in cross_check_sections(result)),
        f"Setups\n{_columns(setup_table(result))}",
        f"Laps\n{laps}",
        section("Also found", [*also_found(result), inputs_sentence(result.inputs, result.version)]),
    ]
    return "\n\n".join(filter(None, parts)) + "\n"


def titled(title: str) -> str:
    """Underline a title."""
    return title + "\n" + "=" * min(len(title), COLUMNS)


def section(title: str, sentences: Sequence[str]) -> str:
    """Return a title with sentences below it, empty without any."""
    return "\n".join([title, *map(bullet, sentences)]) if sentences else ""


def bullet(sentence: str, *, indent: str = "- ") -> str:
    """Wrap a sentence for a terminal, the lines after the first set below its first word."""
    filled = textwrap.fill(
        unbroken(sentence), COLUMNS, initial_indent=indent, subsequent_indent=" " * len(indent), break_on_hyphens=False
    )
    return filled.replace(UNBROKEN, " ")


def inputs_sentence(inputs: Sequence[InputFile], version: str) -> str:
    """Name the files that went in and the fieldaero that read them."""
    return f"Inputs: {', '.join(f'{item.file} ({item.sha256[:12]})' for item in inputs)}; fieldaero {version}."


def _columns(cells: Table) -> str:
    """Lay a table out for a terminal, units below the names."""
    names, units = zip(*(heading.replace("]", "").partition(" [")[::2] for heading in cells.header), strict=True)
    return table(names, [units, *cells.rows], left=cells.words)


def _lap_notes(rows: Sequence[LapResult]) -> list[str]:
    several = len({row.ride for row in rows}) > 1
    return [
        f"{f'{name(row.ride)}, lap' if several else 'Lap'} {row.lap}: {sentence}"
        for row in rows
        if row.used or row.why_not
        for sentence in row.flag_sentences
    ]
