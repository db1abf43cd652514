"""A comparison told to somebody who reads one sentence only, and in three currencies for a table."""

from __future__ import annotations

from fieldaero.answers.result import ComparisonResult, Result
from fieldaero.basics.formatting import MISSING, decimals, interval, number, value_with_uncertainty
from fieldaero.compare.verdict import NOT_RESOLVED

__all__ = ["comparison_cells", "is_resolved", "verdict_sentence"]


def is_resolved(row: ComparisonResult) -> bool:
    """Say whether the laps gave an answer."""
    return row.verdict is not None and row.verdict != NOT_RESOLVED


def verdict_sentence(row: ComparisonResult) -> str:
    """Tell what the laps say of a setup, its interval and what it is worth, in plain words."""
    pair = f"{row.setup} against {row.versus}"
    if row.delta_cda_m2 is None:
        return f"{pair}: not resolved, for one of the two has no lap that can be used."
    delta = value_with_uncertainty(row.delta_cda_m2, row.se_m2, unit="m²", signed=True)
    if row.interval95_m2 is None:
        return f"{pair}: not resolved, for how much laps scatter is not known. Drag area {delta}."
    told = f"{pair}: {row.verdict}"
    if not is_resolved(row):
        told += ", this test cannot tell"
    told += f". Drag area {delta}, 95 % interval {interval(*row.interval95_m2, unit='m²', signed=True)}"
    worth = [
        f"{number(found.value, places=1, signed=True)} {unit} {where}"
        for found, unit, where in (
            (row.watts, "W", row.watts and f"at {row.watts.speed_km_h:g} km/h"),
            (row.seconds, "s", row.seconds and f"over {row.seconds.distance_km:g} km at {row.seconds.power_w:g} W"),
        )
        if found is not None
    ]
    told += f"; that is {' and '.join(worth)}." if worth else "."
    if not is_resolved(row):
        told += (
            f" About {row.further_laps} further laps like these would settle it."
            if row.further_laps is not None
            else " No reasonable number of further laps like these would settle it: wait for calmer air."
        )
    return told


def comparison_cells(row: ComparisonResult, result: Result) -> dict[str, str]:
    """Return the cells of a table, headings with units: the difference in m², per cent, W and s, each with interval."""
    base = next((s.cda_m2 for s in result.setup_results if s.setup == row.versus), None)
    low, high = row.interval95_m2 or (None, None)
    share = [None if v is None or not base else 100.0 * v / base for v in (row.delta_cda_m2, low, high)]
    cells = {
        "setup": row.setup,
        "against": row.versus,
        "verdict": row.verdict or MISSING,
        "ΔCdA ± s.e. [m²]": value_with_uncertainty(row.delta_cda_m2, row.se_m2, signed=True),
        "95 % interval [m²]": interval(low, high, signed=True),
        "difference [%]": _with_interval(*share),
    }
    if row.watts is not None:
        bounds = row.watts.interval95 or (None, None)
        cells[f"power at {row.watts.speed_km_h:g} km/h [W]"] = _with_interval(row.watts.value, *bounds)
    if row.seconds is not None:
        heading = f"time over {row.seconds.distance_km:g} km at {row.seconds.power_w:g} W [s]"
        bounds = row.seconds.interval95 or (None, None)
        cells[heading] = _with_interval(row.seconds.value, *bounds)
    if row.closure_delta_cda_m2 is not None:
        cells["by plain closure [m²]"] = value_with_uncertainty(
            row.closure_delta_cda_m2, row.closure_se_m2, signed=True
        )
    return cells


def _with_interval(value: float | None, low: float | None, high: float | None) -> str:
    if value is None:
        return MISSING
    if low is None or high is None:
        return f"{number(value, places=1, signed=True)} (no interval)"
    places = max(decimals((high - low) / 2.0), 1)
    return f"{number(value, places=places, signed=True)} ({interval(low, high, signed=True)})"
