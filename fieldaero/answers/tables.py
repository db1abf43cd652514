"""Tables of a result, cells ready to be shown: terminal, pages and report only lay them out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from fieldaero.answers.lap_rows import lap_points
from fieldaero.answers.wording import pair_words
from fieldaero.basics.formatting import (
    LAP_HEADINGS,
    MISSING,
    UNBROKEN,
    clock,
    decimals,
    duration,
    interval,
    km_h,
    name,
    number,
    p_value,
    value_with_uncertainty,
)
from fieldaero.laps.lap import flag_words
from fieldaero.rides.local_positions import is_relative
from fieldaero.run_sheet.schema import NOT_USED

if TYPE_CHECKING:
    from fieldaero.answers.result import Result

__all__ = [
    "SHIFT",
    "Table",
    "behind_table",
    "comparison_table",
    "lap_table",
    "setup_table",
    "table",
    "value_with_interval",
]

SHIFT = "without it [m²]"


@dataclass(frozen=True, kw_only=True)
class Table:
    """Cells as text under headings "name [unit]"; the first column names the row.

    ``words`` are the columns of words by index, all others are numbers; ``muted`` are the rows of what does not count.
    """

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: tuple[int, ...] = (0,)
    muted: tuple[int, ...] = ()


def table(
    caption: str,
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    words: Sequence[int] = (0,),
    muted: Sequence[int] = (),
) -> Table:
    """Return a table without the columns that say nothing in any row.

    Examples
    --------
    >>> table("Laps", ["lap", "CdA", "note"], [["1", "0.25", ""], ["2", "0.26", ""]]).header
    ('lap', 'CdA')
    """
    said = [k for k in range(len(header)) if k == 0 or not rows or any(row[k] not in ("", MISSING) for row in rows)]
    return Table(
        caption=caption,
        header=tuple(header[k] for k in said),
        rows=tuple(tuple(row[k] for k in said) for row in rows),
        words=tuple(said.index(k) for k in words if k in said),
        muted=tuple(muted),
    )


def lap_table(result: Result, *, shifts: bool = False) -> Table:
    """Every lap; one that does not count with the reason.

    With ``shifts`` also by how much the first difference would move without the lap, under the heading ``SHIFT``.
    """
    rows = result.lap_results
    several = len({row.ride for row in rows}) > 1
    starts = [None if row.start is None else datetime.fromisoformat(row.start) for row in rows]
    pair = next((c for c in result.comparison_results if c.lap_shifts), None) if shifts else None
    moved = {} if pair is None else {(s.ride, s.lap): s.shift_m2 for s in pair.lap_shifts}
    header = (
        "lap",
        "setup",
        "since the start" if any(map(is_relative, starts)) else LAP_HEADINGS["start"],
        LAP_HEADINGS["duration"],
        LAP_HEADINGS["speed"],
        LAP_HEADINGS["power"],
        "air [kg/m³]",
        "yaw [°]",
        "CdA ± s.e. [m²]",
        "closure [m²]",
        SHIFT,
        "remarks",
    )
    cells = [
        [
            f"{name(row.ride)} {row.lap}" if several else str(row.lap),
            MISSING if row.setup == NOT_USED else name(row.setup),
            clock(start),
            duration(row.duration_s, places=1),
            km_h(row.speed_m_s, places=2),
            number(row.power_w),
            number(row.air_density_kg_m3, places=4),
            number(row.yaw_deg_median, places=1),
            value_with_uncertainty(row.cda_m2, row.cda_se_m2),
            number(row.closure_cda_m2, places=4),
            number(moved.get((row.ride, row.lap)), places=5, signed=True),
            point.reason
            if not row.used
            else ", ".join(flag_words(["outlier", *row.flags] if row.outlier else row.flags)),
        ]
        for row, start, point in zip(rows, starts, lap_points(rows), strict=True)
    ]
    unused = [k for k, row in enumerate(rows) if not row.used]
    last = len(header) - 1
    return table("Every lap, with the standard error of its drag area", header, cells, words=(0, 1, last), muted=unused)


def setup_table(result: Result) -> Table:
    """Drag area of every setup."""
    rows = [
        [
            name(s.setup),
            str(s.laps),
            value_with_uncertainty(s.cda_m2, s.se_m2),
            interval(*(s.interval95_m2 or (None, None))),
        ]
        for s in result.setup_results
    ]
    return table(
        "Mean drag area of each setup, with standard error; most of it is common to all setups",
        ("setup", "laps", "CdA ± s.e. [m²]", "95 % interval [m²]"),
        rows,
    )


def comparison_table(result: Result) -> Table:
    """Every difference with its interval in square metres, per cent, watts and seconds."""
    choices = result.supporting_data.choices
    share = {(row.setup, row.versus): row for row in result.supporting_data.differences_pct}
    rows = []
    for c in result.comparison_results:
        own = share.get((c.setup, c.versus))
        rows.append(
            [
                name(c.setup),
                name(c.versus),
                c.verdict,
                value_with_interval(c.delta_cda_m2, c.interval95_m2),
                MISSING if own is None else value_with_interval(own.delta_pct, own.interval95_pct),
                MISSING if c.watts is None else value_with_interval(c.watts.value, c.watts.interval95),
                MISSING if c.seconds is None else value_with_interval(c.seconds.value, c.seconds.interval95),
            ]
        )
    header = (
        "setup",
        "against",
        "verdict",
        "drag area [m²]",
        "drag area [%]",
        f"power at {choices.report_speed_km_h:g} km/h [W]",
        f"time over {choices.report_distance_km:g} km at {choices.report_power_w:g} W [s]",
    )
    return table("Differences with 95 % intervals; negative is less", header, rows, words=(0, 1, 2))


def behind_table(result: Result) -> Table:
    """Tell what the differences rest on: standard error, degrees of freedom, p, the interval alone, plain closure."""
    rows = [
        [
            pair_words(c.setup, c.versus),
            _finest(c.se_m2),
            number(c.df, places=1),
            p_value(c.p_value),
            interval(*(c.interval95_alone_m2 or (None, None)), signed=True),
            value_with_uncertainty(c.closure_delta_cda_m2, c.closure_se_m2, signed=True),
            _finest(c.smallest_difference_m2),
            MISSING if c.further_laps is None else str(c.further_laps),
        ]
        for c in result.comparison_results
    ]
    header = (
        "comparison",
        "standard error [m²]",
        "degrees of freedom",
        "p",
        "95 % interval of this one alone [m²]",
        "by plain closure [m²]",
        "smallest difference that matters [m²]",
        "further laps to settle it",
    )
    return table("What the differences rest on", header, rows)


def _finest(value: float | None) -> str:
    return MISSING if value is None else number(value, places=decimals(value))


def value_with_interval(value: float | None, interval95: tuple[float, float] | None) -> str:
    """Return "value (low to high)"; a line may break before the bracket, not within."""
    if value is None:
        return MISSING
    if interval95 is None:
        return f"{number(value, places=decimals(value, digits=3), signed=True)} (no{UNBROKEN}interval)"
    half = (interval95[1] - interval95[0]) / 2.0
    together = interval(*interval95, signed=True).replace(" ", UNBROKEN)
    return f"{number(value, places=decimals(half), signed=True)} ({together})"
