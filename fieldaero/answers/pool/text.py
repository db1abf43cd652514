"""A pooled result told in plain text: warnings, answer, forest plot, what happens without each session."""

from __future__ import annotations

import textwrap

from fieldaero.answers.pool.pooled import Pooled, PooledComparison
from fieldaero.basics.formatting import MISSING, interval, number, p_value, percent, table, value_with_uncertainty

__all__ = ["pooled_text"]

COLUMNS = 100
PLOT_COLUMNS = 41  # odd, so that there is a middle
EMPTY = "·"  # a table keeps no runs of spaces


def pooled_text(pooled: Pooled) -> str:
    """Return the pooled result as text, the same for the same result."""
    title = f"{len(pooled.sheets)} sessions pooled, against {pooled.versus}"
    parts = [title + "\n" + "=" * min(len(title), COLUMNS)]
    if pooled.warnings:
        parts.append("Mind first\n" + "\n".join(_bullet(sentence) for sentence in pooled.warnings))
    parts.append("What the sessions say together\n" + "\n".join(_answer(c) for c in pooled.pooled_comparisons))
    for c in pooled.pooled_comparisons:
        parts.append(f"{c.setup} against {c.versus}, session by session [m²]\n" + _forest(c))
        if any(one.interval95_m2 is not None for one in c.left_out):
            parts.append(f"{c.setup} against {c.versus}, without one session [m²]\n" + _left_out(c))
    inputs = ", ".join(f"{item.file} ({item.sha256[:12]})" for item in pooled.inputs)
    parts.append("Taken\n" + _bullet(f"Inputs: {inputs}; fieldaero {pooled.version}."))
    return "\n\n".join(part.rstrip() for part in parts) + "\n"


def _bullet(sentence: str, *, indent: str = "- ") -> str:
    return textwrap.fill(
        sentence, COLUMNS, initial_indent=indent, subsequent_indent=" " * len(indent), break_on_hyphens=False
    )


def _answer(c: PooledComparison) -> str:
    link = f" (indirect, by way of {', '.join(c.via)})" if c.link == "indirect" else ""
    text = f"{c.setup} against {c.versus}{link}: drag area "
    text += value_with_uncertainty(c.delta_cda_m2, c.se_m2, unit="m²", signed=True)
    if c.interval95_m2 is not None:
        text += f", 95 % interval {interval(*c.interval95_m2, unit='m²', signed=True)}, p {p_value(c.p_value)}"
    elif c.interval95_without_session_scatter_m2 is not None:
        own = interval(*c.interval95_without_session_scatter_m2, unit="m²", signed=True)
        text += f", 95 % interval without scatter between sessions {own}"
    text += f". Verdict: {c.verdict}."
    if c.further_sessions is not None:
        more = c.further_sessions
        text += f" {more} further session{'s' if more > 1 else ''} like these would settle it."
    lines = [_bullet(text), _bullet(_currencies(c), indent="  ")]
    if c.session_sd_m2 is not None:
        spread = (
            f"Scatter between sessions {number(c.session_sd_m2, places=4)} m², I² {percent(c.i_squared, 0.01)}, "
            f"Q {number(c.q, places=1)} (p {p_value(c.q_p_value)})"
        ).replace(" ± 1.0 %", " %")
        if c.prediction95_m2 is not None:
            spread += f"; one further session, 95 %: {interval(*c.prediction95_m2, unit='m²', signed=True)}"
        lines.append(_bullet(spread + ".", indent="  "))
    return "\n".join([*lines, *(_bullet(note, indent="  ") for note in c.notes)])


def _currencies(c: PooledComparison) -> str:
    def told(value: float, bounds: tuple[float, float] | None, unit: str) -> str:
        text = f"{number(value, places=1, signed=True)} {unit}"
        return text + (f" ({interval(*bounds, signed=True)})" if bounds else " (no interval)")

    text = f"At {c.watts.speed_km_h:g} km/h {told(c.watts.value, c.watts.interval95, 'W')}"
    if c.seconds is not None:
        text += f"; over {c.seconds.distance_km:g} km at {c.seconds.power_w:g} W " + told(
            c.seconds.value, c.seconds.interval95, "s"
        )
    return text + "."


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
            percent(row.weight, 0.1).split(" ")[0] + " %",
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
