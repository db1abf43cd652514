"""What an analysis found, as values, tables and JSON.

The JSON is schema 1: keys may be added, none is renamed.  A number that could not
be worked out is null in JSON and NaN in a table, never 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

import pandas as pd

from fieldaero.answers.rows import (
    ClaimResult,
    ComparisonResult,
    CrrResult,
    DriftResult,
    InputFile,
    KnownDragResult,
    LapResult,
    RaceResult,
    SetupResult,
    TunnelResult,
    WindResult,
    YawResult,
)
from fieldaero.answers.summary import summary_text
from fieldaero.answers.supporting_rows import SupportingData
from fieldaero.compare.budget import BudgetRow
from fieldaero.compare.session_comparison import Estimates
from fieldaero.estimate.session import Session

__all__ = ["Result"]

SCHEMA = 1
NOT_IN_TABLES = ("lap_shifts", "yaw_ridden", "sweep_yaw_deg", "sweep_cda_m2", "sweep_sd_m2")  # only in the JSON


@dataclass(frozen=True, kw_only=True)
class Result:
    """What a run sheet's laps say.

    Attributes
    ----------
    title, baseline, version
        From the run sheet, and the fieldaero that made this.
    inputs
        Run sheet and rides with their SHA-256.
    lap_results, setup_results, comparison_results
        The rows behind :attr:`laps`, :attr:`setups` and :attr:`comparisons`.
    crr, wind, lap_scatter_m2, drift_m2_per_h
        What else was found; the scatter from lap to lap is None where no setup has two laps.
    budget_rows
        Uncertainty budget, rows for each comparison.
    claim_results, tunnel_results, race_results, known_drag_results, yaw_result
        The laps against numbers from outside, and what they say of yaw; see
        :mod:`fieldaero.answers.rows`.
    supporting_data
        System, choices, course, air per lap, yaw ridden, elevations, repeat check.
    estimates, session
        The fit and the data behind the numbers, for figures and further questions.
    warnings
        What weakens the result, one plain sentence each.
    """

    title: str
    baseline: str
    version: str
    inputs: tuple[InputFile, ...]
    lap_results: tuple[LapResult, ...]
    setup_results: tuple[SetupResult, ...]
    comparison_results: tuple[ComparisonResult, ...]
    crr: CrrResult
    wind: WindResult
    lap_scatter_m2: float | None
    drift_m2_per_h: DriftResult
    budget_rows: tuple[BudgetRow, ...]
    claim_results: tuple[ClaimResult, ...]
    tunnel_results: tuple[TunnelResult, ...]
    race_results: tuple[RaceResult, ...]
    known_drag_results: tuple[KnownDragResult, ...]
    yaw_result: YawResult
    supporting_data: SupportingData
    estimates: Estimates
    session: Session
    warnings: tuple[str, ...]

    @property
    def laps(self) -> pd.DataFrame:
        """One row per lap, columns as in the JSON."""
        return _frame(self.lap_results, LapResult)

    @property
    def setups(self) -> pd.DataFrame:
        """One row per setup, columns as in the JSON, intervals split in low and high."""
        return _frame(self.setup_results, SetupResult)

    @property
    def comparisons(self) -> pd.DataFrame:
        """One row per comparison, columns as in the JSON, nested ones joined by an underscore."""
        return _frame(self.comparison_results, ComparisonResult)

    @property
    def budget(self) -> pd.DataFrame:
        """One row per input and comparison."""
        return _frame(self.budget_rows, BudgetRow)

    @property
    def claims(self) -> pd.DataFrame:
        """One row per claim of the run sheet."""
        return _frame(self.claim_results, ClaimResult)

    @property
    def tunnel(self) -> pd.DataFrame:
        """One row per sweep of a tunnel, and per difference of two swept setups."""
        return _frame(self.tunnel_results, TunnelResult)

    @property
    def races(self) -> pd.DataFrame:
        """One row per course that the run sheet asks for and comparison."""
        return _frame(self.race_results, RaceResult)

    @property
    def known_drag(self) -> pd.DataFrame:
        """One row per setup whose added drag area was known beforehand."""
        return _frame(self.known_drag_results, KnownDragResult)

    @property
    def yaw(self) -> pd.DataFrame:
        """One row: how drag area changes with yaw, as far as the laps tell."""
        return _frame((self.yaw_result,), YawResult)

    def summary(self) -> str:
        """Tell the result in plain text, the warnings first."""
        return summary_text(self)

    def to_dict(self) -> dict[str, Any]:
        """Return the result in the shape of the JSON, schema 1; nothing in it is NaN."""
        return {
            "schema": SCHEMA,
            "title": self.title,
            "fieldaero": self.version,
            "baseline": self.baseline,
            "inputs": _plain(self.inputs),
            "laps": _plain(self.lap_results),
            "setups": _plain(self.setup_results),
            "comparisons": _plain(self.comparison_results),
            "claims": _plain(self.claim_results),
            "tunnel": _plain(self.tunnel_results),
            "races": _plain(self.race_results),
            "known_drag": _plain(self.known_drag_results),
            "yaw": _plain(self.yaw_result),
            "budget": _plain(self.budget_rows),
            "crr": _plain(self.crr),
            "wind": _plain(self.wind),
            "lap_scatter_m2": _plain(self.lap_scatter_m2),
            "drift_m2_per_h": _plain(self.drift_m2_per_h),
            "warnings": _plain(self.warnings),
            "background": _plain(self.supporting_data),
        }


def _plain(value: Any) -> Any:
    """Value in JSON's own types: frozen records become objects, NaN becomes null."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, str | bool | int) or value is None:
        return value
    if isinstance(value, Iterable):
        return [_plain(v) for v in value]
    number = float(value)
    return number if math.isfinite(number) else None


def _frame(rows: Iterable[Any], kind: type) -> pd.DataFrame:
    flat = [_flat(row) for row in rows]
    # Without rows the columns are those of a row of which nothing is known.
    columns = list(flat[0] if flat else _flat(kind(**dict.fromkeys(f.name for f in fields(kind)))))
    return pd.DataFrame(flat, columns=columns)


def _flat(row: Any) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for f in fields(row):
        value = getattr(row, f.name)
        if f.name.startswith("interval95"):
            unit = f.name.removeprefix("interval95")
            out["interval95_low" + unit], out["interval95_high" + unit] = value or (math.nan, math.nan)
        elif f.name in NOT_IN_TABLES:
            continue
        elif f.name in ("watts", "seconds"):
            low, high = (value.interval95 or (math.nan, math.nan)) if value else (math.nan, math.nan)
            out[f.name] = value.value if value else math.nan
            out[f"{f.name}_interval95_low"], out[f"{f.name}_interval95_high"] = low, high
        else:
            out[f.name] = math.nan if value is None and "float" in str(f.type) else value
    return out
