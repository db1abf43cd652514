"""A result told in plain text: the warnings first, then the answer, then what it rests on."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from fieldaero.answers.wording import cross_check_sections
from fieldaero.basics.formatting import (
    MISSING,
    clock,
    decimals,
    duration,
    interval,
    number,
    p_value,
    table,
    value_with_uncertainty,
)
from fieldaero.compare.verdict import MOST_FURTHER_LAPS, NOT_RESOLVED

if TYPE_CHECKING:
    from fieldaero.answers.result import ComparisonResult, LapResult, Result, SetupResult

__all__ = ["summary_text"]

COLUMNS = 100


def summary_text(result: Result) -> str:
    """Return the result as text, the same for the same result."""
    parts = [result.title + "\n" + "=" * min(len(result.title), COLUMNS)]
    if result.warnings:
        parts.append("Mind first\n" + "\n".join(_bullet(sentence) for sentence in result.warnings))
    if result.comparison_results:
        parts.append(
            "What the laps say\n" + "\n".join(_bullet(_sentence(c, result)) for c in result.comparison_results)
        )
    parts += [f"{title}\n" + "\n".join(map(_bullet, told)) for title, told in cross_check_sections(result) if told]
    parts.append("Setups\n" + _setups(result.setup_results))
    parts.append("Laps\n" + _laps(result.lap_results) + "\n" + _lap_notes(result.lap_results))
    parts.append("Taken and found\n" + "\n".join(_bullet(sentence) for sentence in _facts(result)))
    return "\n\n".join(part.rstrip() for part in parts) + "\n"


def _bullet(sentence: str) -> str:
    return textwrap.fill(sentence, COLUMNS, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)


def _sentence(c: ComparisonResult, result: Result) -> str:
    base = next((s.cda_m2 for s in result.setup_results if s.setup == c.versus), None)
    head = f"{c.setup} against {c.versus}: "
    if c.delta_cda_m2 is None or c.delta_cda_m2 != c.delta_cda_m2:
        return head + "no lap of one of the two can be used."
    delta = value_with_uncertainty(c.delta_cda_m2, c.se_m2, unit="m²", signed=True)
    places = decimals(100.0 * c.se_m2 / base) if base and c.se_m2 else 1
    share = f" ({number(100.0 * c.delta_cda_m2 / base, places=places, signed=True)} %)" if base else ""
    text = head + f"drag area {delta}{share}"
    if c.interval95_m2 is None:
        return text + ", from a single lap of one of the two: how much laps scatter is not known."
    text += f", 95 % interval {interval(*c.interval95_m2, unit='m²', signed=True)}, p {p_value(c.p_value)}."
    text += _currencies(c)
    if c.verdict:
        text += f" Verdict: {c.verdict}."
    if c.verdict == NOT_RESOLVED and c.further_laps is not None:
        text += f" About {c.further_laps} further laps like these would settle it."
    elif c.verdict == NOT_RESOLVED and result.lap_scatter_m2 is not None:
        text += f" Even {MOST_FURTHER_LAPS} further laps like these would not settle it."
    return text


def _currencies(c: ComparisonResult) -> str:
    """Tell the difference as watts at a speed and seconds over a distance."""
    told = []
    for found, unit, where in (
        (c.watts, "W", c.watts and f"at {c.watts.speed_km_h:g} km/h"),
        (c.seconds, "s", c.seconds and f"over {c.seconds.distance_km:g} km at {c.seconds.power_w:g} W"),
    ):
        if found is not None:
            low, high = found.interval95 or (None, None)
            spread = f" ({interval(low, high, signed=True)})" if low is not None else ""
            half = None if low is None or high is None else (high - low) / 2.0
            places = 1 if half is None else decimals(half)
            told.append(f"{number(found.value, places=places, signed=True)} {unit}{spread} {where}")
    return f" That is {' and '.join(told)}." if told else ""


def _setups(rows: Sequence[SetupResult]) -> str:
    cells = [
        [
            row.setup,
            str(row.laps),
            value_with_uncertainty(row.cda_m2, row.se_m2),
            interval(*row.interval95_m2) if row.interval95_m2 else MISSING,
        ]
        for row in rows
    ]
    return table(["setup", "laps", "CdA [m²]", "95 % interval"], cells)


def _laps(rows: Sequence[LapResult]) -> str:
    several = len({row.ride for row in rows}) > 1
    header = ["lap", "setup", "start UTC", "time", "km/h", "W", "kg/m³", "CdA [m²]", "by closure", "flags"]
    cells = []
    for row in rows:
        start = None if row.start is None else datetime.fromisoformat(row.start)
        name = f"{row.ride} {row.lap}" if several else str(row.lap)
        cells.append(
            [
                name,
                row.setup if row.used else f"({row.setup})",
                clock(start),
                duration(row.duration_s, places=1),
                number(row.speed_m_s * 3.6, places=2),
                number(row.power_w, places=0),
                number(row.air_density_kg_m3, places=4),
                value_with_uncertainty(row.cda_m2, row.cda_se_m2),
                number(row.closure_cda_m2, places=4),
                ", ".join(flag.replace("_", " ") for flag in row.flags),
            ]
        )
    left = (0, 1, len(header) - 1)
    if not any(row.cda_m2 is not None for row in rows):
        gone = header.index("CdA [m²]")
        header = [*header[:gone], *header[gone + 1 :]]
        cells = [[*row[:gone], *row[gone + 1 :]] for row in cells]
        left = (0, 1, len(header) - 1)
    return table(header, cells, left=left)


def _lap_notes(rows: Sequence[LapResult]) -> str:
    several = len({row.ride for row in rows}) > 1
    return "\n".join(
        _bullet(f"{f'{row.ride}, lap' if several else 'Lap'} {row.lap}: {sentence}")
        for row in rows
        if row.used or row.why_not
        for sentence in row.flag_sentences
    )


def _facts(result: Result) -> list[str]:
    crr = result.crr
    how = (
        f"from the run sheet's {value_with_uncertainty(crr.given, crr.given_sd)} and the laps"
        if crr.estimated
        else "as the run sheet gives it, for laps at about one speed do not tell it"
    )
    found = [f"Crr {value_with_uncertainty(crr.value, crr.se)}, {how}."]
    if result.wind is None:
        found.append("Wind: not known.")
    else:
        origin = result.wind.from_deg
        whence = ", from a direction that is not known" if origin is None else f" from {number(origin)}°"
        found.append(f"Wind at the rider's height {number(result.wind.mean_m_s, places=1)} m/s{whence}.")
    if result.lap_scatter_m2 is not None:
        found.append(f"Scatter from lap to lap {number(result.lap_scatter_m2, places=4)} m².")
    inputs = ", ".join(f"{item.file} ({item.sha256[:12]})" for item in result.inputs)
    return [*found, f"Inputs: {inputs}; fieldaero {result.version}."]
