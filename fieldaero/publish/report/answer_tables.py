"""Tables of what the laps were held against, and of what the uncertainty is made of."""

from __future__ import annotations

from collections.abc import Sequence

from fieldaero.answers.result import Result
from fieldaero.answers.rows import ClaimResult
from fieldaero.answers.tables import Table, table, value_with_interval
from fieldaero.answers.wording import UNIT_SIGNS, pair_words, probability_words
from fieldaero.basics.formatting import (
    MISSING,
    decimals,
    duration,
    interval,
    name,
    note,
    number,
    value_with_uncertainty,
)

__all__ = ["budget_tables", "claims_table", "known_drag_table", "races_table", "sweep_table", "tunnel_table"]


def claims_table(rows: Sequence[ClaimResult]) -> Table:
    """Claims against what was found."""
    cells = []
    for row in rows:
        unit = UNIT_SIGNS.get(row.unit, row.unit)
        half = None if row.interval95 is None else (row.interval95[1] - row.interval95[0]) / 2.0
        cells.append(
            [
                pair_words(row.setup, row.versus),
                f"{row.saves:g} {unit}",
                row.verdict,
                MISSING if row.found is None else f"{number(row.found, places=decimals(half or row.found))} {unit}",
                interval(*(row.interval95 or (None, None)), unit=unit),
                MISSING if row.probability is None else probability_words(row.probability),
            ]
        )
    header = ("claim for", "claimed saving", "verdict", "found", "95 % interval", "probability of at least the claim")
    return table("Published savings against what the laps found", header, cells, words=(0, 2))


def tunnel_table(result: Result) -> Table:
    """Field against tunnel."""
    rows = [
        [
            name(t.setup) if t.versus is None else pair_words(t.setup, t.versus),
            value_with_uncertainty(t.field_m2, t.field_se_m2, signed=t.versus is not None),
            value_with_uncertainty(t.tunnel_m2, t.tunnel_se_m2, signed=t.versus is not None),
            interval(*(t.interval95_m2 or (None, None)), signed=True),
            number(t.normalised_error, places=2),
            MISSING if t.agrees is None else "agree" if t.agrees else "differ",
        ]
        for t in result.tunnel_results
    ]
    header = ("setup", "field [m²]", "tunnel [m²]", "field − tunnel, 95 % [m²]", "En", "")
    return table("Field and tunnel; the tunnel is weighted with the yaw ridden", header, rows, words=(0, 5))


def sweep_table(result: Result) -> Table:
    """Points of the tunnel's sweeps."""
    rows = [
        [
            name(t.setup),
            number(yaw, places=1),
            number(cda, places=4),
            number(sd, places=4) if sd is not None else MISSING,
        ]
        for t in result.tunnel_results
        for yaw, cda, sd in zip(
            t.sweep_yaw_deg,
            t.sweep_cda_m2,
            t.sweep_sd_m2 or (None,) * len(t.sweep_yaw_deg),
            strict=True,
        )
    ]
    return table("The sweeps as given", ("setup", "yaw [°]", "CdA [m²]", "standard uncertainty [m²]"), rows)


def races_table(result: Result) -> Table:
    """Seconds over courses."""
    rows = [
        [
            pair_words(r.setup, r.versus),
            name(r.race),
            number(r.distance_km, places=1),
            number(r.ascent_m),
            number(r.power_w),
            duration(r.versus_time_s),
            MISSING if r.delta_s is None else value_with_interval(r.delta_s, r.interval95_s),
        ]
        for r in result.race_results
    ]
    header = ("comparison", "course", "distance [km]", "climbing [m]", "power [W]", "time", "difference [s]")
    return table("Time over a course; negative is time saved", header, rows, words=(0, 1))


def known_drag_table(result: Result) -> Table:
    """Known additions of drag and what the laps recovered of them."""
    rows = [
        [
            pair_words(k.setup, k.versus),
            value_with_uncertainty(k.known_m2, k.known_sd_m2, signed=True),
            value_with_uncertainty(k.recovered_m2, k.se_m2, signed=True),
            interval(*(k.interval95_m2 or (None, None)), signed=True),
            number(k.normalised_error, places=2),
            MISSING if k.agrees is None else "recovered" if k.agrees else "not recovered",
        ]
        for k in result.known_drag_results
    ]
    header = ("comparison", "known [m²]", "found [m²]", "95 % interval [m²]", "En", "")
    return table("Known drag", header, rows, words=(0, 5))


def budget_tables(result: Result) -> tuple[Table, ...]:
    """Uncertainty budget of each comparison."""
    pairs = list(dict.fromkeys((row.setup, row.versus) for row in result.budget_rows))
    header = (
        "input",
        "value",
        "standard uncertainty",
        "in the drag area [m²]",
        "in the difference [m²]",
        "share of the drag area [%]",
        "share of the difference [%]",
    )
    tables = []
    for setup, versus in pairs:
        rows = [
            [
                note(row.input),
                _of_unit(row.value, row.standard_uncertainty, row.unit),
                _of_unit(row.standard_uncertainty, row.standard_uncertainty, row.unit),
                number(row.contribution_cda_m2, places=5, signed=True),
                number(row.contribution_delta_m2, places=5, signed=True),
                number(100.0 * row.share_cda, places=1),
                number(100.0 * row.share_delta, places=1),
            ]
            for row in result.budget_rows
            if (row.setup, row.versus) == (setup, versus)
        ]
        tables.append(table(pair_words(setup, versus), header, rows))
    return tuple(tables)


def _of_unit(value: float | None, uncertainty: float, unit: str) -> str:
    return MISSING if value is None else f"{number(value, places=decimals(uncertainty))} {_sign(unit)}".strip()


def _sign(unit: str) -> str:
    return unit.replace("m2", "m²").replace("m3", "m³")
