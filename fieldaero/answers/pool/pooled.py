"""What pooling found, as values, a table and JSON.  What is not known is None, never 0 or NaN."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any, Literal

import pandas as pd

from fieldaero.answers.pool.text import pooled_text
from fieldaero.answers.rows import InputFile, SecondsResult, WattsResult
from fieldaero.compare.verdict import Verdict

__all__ = ["LeftOut", "Link", "Pooled", "PooledComparison", "PooledSession"]

SCHEMA = 1

Link = Literal["direct", "indirect"]
Interval = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class PooledSession:
    """A session in a comparison: its own difference, and its weight in the pooled one (a bare fraction).

    ``setup`` and ``versus`` are what was compared in it, which in an indirect comparison is one leg of the way.
    """

    sheet: str
    setup: str
    versus: str
    delta_cda_m2: float
    se_m2: float
    df: float
    interval95_m2: Interval
    weight: float


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """The pooled difference without one of its sessions; no interval where a single one is left."""

    sheet: str
    delta_cda_m2: float
    interval95_m2: Interval | None
    verdict: Verdict


@dataclass(frozen=True, kw_only=True)
class PooledComparison:
    """A setup minus another over all sessions [m2]: negative means less drag.

    Attributes
    ----------
    link, via
        "direct" where sessions had both setups; "indirect" where the way leads over the setups ``via``.
    sessions
        The rows of the forest plot.
    delta_cda_m2, se_m2, df
        The mean effect over sessions; ``df`` is None where the scatter between sessions is not known.
    interval95_m2, p_value
        For all comparisons of the result together; the verdict is made of these.
    interval95_alone_m2, prediction95_m2
        For this comparison alone: the mean effect, and the true effect in one further session.
    interval95_without_session_scatter_m2
        Where a single session stands for a leg: what the sessions' own errors allow, and no more.
    session_sd_m2, i_squared, q, q_p_value
        Heterogeneity: standard deviation of the true effect between sessions (tau), I2, and Cochran's test.
    shared_se_m2
        The part of ``se_m2`` from inputs that the sessions have in common, which more sessions do not reduce.
    further_sessions
        Sessions that would settle it if difference and scatter stay; None where it is settled or more
        than 50 would be needed.
    notes
        Plain sentences on how far to believe it.
    """

    setup: str
    versus: str
    link: Link
    via: tuple[str, ...]
    sessions: tuple[PooledSession, ...]
    delta_cda_m2: float
    se_m2: float
    df: float | None
    interval95_m2: Interval | None
    interval95_alone_m2: Interval | None
    p_value: float | None
    prediction95_m2: Interval | None
    interval95_without_session_scatter_m2: Interval | None
    session_sd_m2: float | None
    i_squared: float | None
    q: float | None
    q_p_value: float | None
    shared_se_m2: float
    smallest_difference_m2: float | None
    verdict: Verdict
    watts: WattsResult
    seconds: SecondsResult | None
    further_sessions: int | None
    left_out: tuple[LeftOut, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Pooled:
    """Several sessions pooled.

    Attributes
    ----------
    versus
        Setup that all others are compared with.
    version, inputs
        The fieldaero that made this, and run sheets and rides with their SHA-256.
    sheets
        The sessions, as they are called here.
    pooled_comparisons
        The rows behind :attr:`comparisons`.
    warnings
        What weakens the result, one plain sentence each.
    """

    versus: str
    version: str
    inputs: tuple[InputFile, ...]
    sheets: tuple[str, ...]
    pooled_comparisons: tuple[PooledComparison, ...]
    warnings: tuple[str, ...]

    @property
    def comparisons(self) -> pd.DataFrame:
        """One row per comparison, columns as in the JSON, intervals split in low and high."""
        return pd.DataFrame([_flat(asdict(c), leave_out=("sessions", "left_out")) for c in self.pooled_comparisons])

    @property
    def sessions(self) -> pd.DataFrame:
        """One row per session and comparison: ``comparison`` names the latter."""
        return pd.DataFrame(
            [
                {"comparison": f"{c.setup} - {c.versus}", **_flat(asdict(row))}
                for c in self.pooled_comparisons
                for row in c.sessions
            ]
        )

    def summary(self) -> str:
        """Tell the result in plain text, the warnings first."""
        return pooled_text(self)

    def to_dict(self) -> dict[str, Any]:
        """Return the result in the shape of the JSON, schema 1; nothing in it is NaN."""
        return {
            "schema": SCHEMA,
            "fieldaero": self.version,
            "versus": self.versus,
            "inputs": [asdict(one) for one in self.inputs],
            "sheets": list(self.sheets),
            "pooling": [asdict(c) for c in self.pooled_comparisons],
            "warnings": list(self.warnings),
        }


def _flat(row: dict[str, Any], *, leave_out: tuple[str, ...] = ()) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, value in row.items():
        kind, _, unit = name.partition("95")
        if name in leave_out:
            continue
        if kind in ("interval", "prediction"):
            out[f"{kind}95_low{unit}"], out[f"{kind}95_high{unit}"] = value or (math.nan, math.nan)
        elif name in ("watts", "seconds"):
            out[name] = value["value"] if value else math.nan
            out[f"{name}_interval95_low"], out[f"{name}_interval95_high"] = (value and value["interval95"]) or (
                math.nan,
                math.nan,
            )
        elif name in ("via", "notes"):
            out[name] = " | ".join(value)
        else:
            out[name] = math.nan if value is None else value
    return out
