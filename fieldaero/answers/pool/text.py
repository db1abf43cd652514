"""A pooled result told in plain text: warnings, answer, forest plot, what happens without each session."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldaero.answers.summary import bullet, inputs_sentence, section, titled
from fieldaero.answers.wording import difference_sentence, pair_words, worth_sentence
from fieldaero.basics.formatting import (
    MISSING,
    counted,
    interval,
    number,
    p_value,
    percent,
    table,
    value_with_uncertainty,
)

if TYPE_CHECKING:
    from fieldaero.answers.pool.pooled import Pooled, PooledComparison

__all__ = ["pooled_text"]

PLOT_COLUMNS = 41  # odd, so that there is a middle
EMPTY = "·"  # a table keeps no runs of spaces


def pooled_text(pooled: Pooled) -> str:
    """Return the pooled result as text, the same for the same result."""
    parts = [
        titled(f"{len(pooled.sheets)} sessions pooled, against {pooled.versus}"),
        section("Warnings", pooled.warnings),
        "What the sessions say together\n" + "\n".join(map(_answer, pooled.pooled_comparisons)),
    ]
    for c in pooled.pooled_comparisons:
        pair = pair_words(c.setup, c.versus)
        parts.append(f"{pair}, session by session [m²]\n{_forest(c)}")
        if any(one.interval95_m2 is not None for one in c.left_out):
            parts.append(f"{pair}, without one session [m²]\n{_left_out(c)}")
    parts.append(bullet(inputs_sentence(pooled.inputs, pooled.version)))
    return "\n\n".join(filter(None, parts)) + "\n"


def _answer(c: PooledComparison) -> str:
    link = f" (indirect, by way of {', '.join(c.via)})" if c.link == "indirect" else ""
    told = [f"{pair_words(c.setup, c.versus)}{link}: {c.verdict}."]
    if c.interval95_m2 is not None:
        told.append(difference_sentence(c.delta_cda_m2, c.se_m2, c.interval95_m2, p_value=c.p_value))
    elif c.interval95_without_session_scatter_m2 is not None:
        own, which = c.interval95_without_session_scatter_m2, "95 % interval without scatter between sessions"
        told.append(difference_sentence(c.delta_cda_m2, c.se_m2, own, p_value=None, which=which))
    told.append(worth_sentence(c.watts, c.seconds))
    if c.further_sessions is not None:
        more = c.further_sessions
        told.append(f"{counted(more, 'further session')} like these would settle it.")
    lines = [bullet(" ".join(told))]
    if c.session_sd_m2 is not None:
        spread = (
            f"Scatter between sessions {number(c.session_sd_m2, places=4)} m², I² {percent(c.i_squared)}, "
            f"Q {number(c.q, places=1)} (p {p_value(c.q_p_value)})"
        )
        if c.prediction95_m2 is not None:
            spread += f"; one further session, 95 %: {interval(*c.prediction95_m2, unit='m²', signed=True)}"
        lines.append(bullet(spread + ".", indent="  "))
    return "\n".join([*lines, *(bullet(note, indent="  ") for note in c.notes)])


def _forest(c: PooledComparison) -> str:
    mean = c.interval95_m2 or c.interval95_without_session_scatter_m2
    spans = [row.interval95_m2 for row in c.sessions]
    # A pooled interval of two sessions would squeeze the rest to points: it is cut off at the edge instead.
    width = 1.15 * max(abs(bound) for span in spans for bound in span)
    rows = [
        [
            row.sheet if c.link == "direct" else f"{row.sheet}: {row.setup} - {row.versus}",
            _drawn(row.delta_cda_m2, row.interval95_m2, width, "■"),
            value_with_uncertainty(row.delta_cda_m2, row.se_m2, signed=True),
            interval(*row.interval95_m2, signed=True),
            percent(row.weight),
        ]
        for row in c.sessions
    ]
    rows.append(
        [
            "together" if c.link == "direct" else f"together: {c.setup} - {c.versus}",
            _drawn(c.delta_cda_m2, mean, width, "◆"),
            value_with_uncertainty(c.delta_cda_m2, c.se_m2, signed=True),
            interval(*mean, signed=True) if mean else MISSING,
            "",
        ]
    )
    low, high = number(-width, places=3), number(width, places=3, signed=True)
    scale = (low.ljust(PLOT_COLUMNS // 2, EMPTY) + "0").ljust(PLOT_COLUMNS - len(high), EMPTY) + high
    return table(["", scale, "difference", "95 % interval", "weight"], rows, left=(0, 1))


def _drawn(value: float, bounds: tuple[float, float] | None, width: float, mark: str) -> str:
    """Draw one line of the forest: the interval, its middle, and zero."""

    def column(x: float) -> int:
        return round((x / width + 1.0) / 2.0 * (PLOT_COLUMNS - 1))

    cells = [EMPTY] * PLOT_COLUMNS
    if bounds is not None:
        for k in range(max(column(bounds[0]), 0), min(column(bounds[1]), PLOT_COLUMNS - 1) + 1):
            cells[k] = "─"
        if bounds[0] < -width:
            cells[0] = "◂"
        if bounds[1] > width:
            cells[-1] = "▸"
    cells[PLOT_COLUMNS // 2] = "│" if cells[PLOT_COLUMNS // 2] == EMPTY else "┼"
    cells[min(max(column(value), 0), PLOT_COLUMNS - 1)] = mark
    return "".join(cells)


def _left_out(c: PooledComparison) -> str:
    rows = [
        [
            one.sheet,
            number(one.delta_cda_m2, places=4, signed=True),
            interval(*one.interval95_m2, signed=True) if one.interval95_m2 else MISSING,
            one.verdict,
        ]
        for one in c.left_out
    ]
    return table(["without", "difference", "95 % interval", "verdict"], rows, left=(0, 3))
