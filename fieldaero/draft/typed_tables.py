"""Claims and tunnel sweeps as rows of a table that somebody types, and back to the run sheet's tables."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from fieldaero.basics.errors import FieldaeroError, RunSheetError
from fieldaero.draft.draft import Draft

__all__ = [
    "CLAIM_COLUMNS",
    "TUNNEL_COLUMNS",
    "claim_rows",
    "claims_from_rows",
    "sweeps_from_rows",
    "tunnel_rows",
    "with_cross_checks",
]

CLAIM_COLUMNS = ("setup", "versus", "saves", "unit", "distance_km", "power_w", "speed_km_h", "note")
TUNNEL_COLUMNS = ("setup", "yaw_deg", "cda_m2", "sd_m2")
ASIDE = ("mirrored", "file", "note")  # of a sweep, kept where its setup is still there

Row = Mapping[str, Any]


def claim_rows(claims: Sequence[Row]) -> list[dict[str, Any]]:
    """Return one row per claim, every column there."""
    return [{name: claim.get(name) for name in CLAIM_COLUMNS} for claim in claims]


def claims_from_rows(rows: Sequence[Row], *, former: Sequence[Row] = ()) -> list[dict[str, Any]]:
    """Return the claims that were typed; empty rows and cells are passed over.

    Missing cells are None or NaN.  What the columns do not show stays with a ``former`` claim of the same setups and
    unit.

    Examples
    --------
    >>> claims_from_rows([{"setup": "aero", "versus": "", "saves": 12, "unit": "s", "power_w": float("nan")}])
    [{'setup': 'aero', 'saves': 12.0, 'unit': 's'}]
    """
    out = []
    for k, row in enumerate(rows, start=1):
        claim = _filled(row, CLAIM_COLUMNS)
        if not claim:
            continue
        missing = [name for name in ("setup", "saves", "unit") if name not in claim]
        if missing:
            raise RunSheetError(f"claim {k}: {missing[0]} is missing; give setup, saving and unit")
        before = next((c for c in former if all(c.get(n) == claim.get(n) for n in ("setup", "versus", "unit"))), {})
        out.append({**{n: v for n, v in before.items() if n not in CLAIM_COLUMNS}, **claim})
    return out


def tunnel_rows(sweeps: Sequence[Row]) -> list[dict[str, Any]]:
    """Return one row per point of the sweeps that are typed in; those of a file have no rows."""
    out = []
    for sweep in sweeps:
        sd = sweep.get("sd_m2")
        for k, (yaw, cda) in enumerate(zip(sweep.get("yaw_deg", ()), sweep.get("cda_m2", ()), strict=False)):
            own = sd[k] if isinstance(sd, list | tuple) else sd
            out.append({"setup": sweep["setup"], "yaw_deg": yaw, "cda_m2": cda, "sd_m2": own})
    return out


def sweeps_from_rows(rows: Sequence[Row], *, former: Sequence[Row] = ()) -> list[dict[str, Any]]:
    """Return the sweeps that were typed, a sweep per setup, by rising yaw.

    Each row is a point, missing cells None or NaN.  Notes of ``former`` sweeps stay, and so do sweeps from a file.
    """
    points: dict[str, list[dict[str, Any]]] = {}
    for k, row in enumerate(rows, start=1):
        point = _filled(row, TUNNEL_COLUMNS)
        if not point:
            continue
        missing = [name for name in TUNNEL_COLUMNS[:3] if name not in point]
        if missing:
            raise RunSheetError(f"tunnel row {k}: {missing[0]} is missing; give setup, yaw and drag area")
        points.setdefault(point["setup"], []).append(point)
    out: list[dict[str, Any]] = [dict(sweep) for sweep in former if sweep.get("file")]
    for setup, own in points.items():
        own.sort(key=lambda point: float(point["yaw_deg"]))
        before = next((s for s in former if s["setup"] == setup and not s.get("file")), {})
        sweep: dict[str, Any] = {
            "setup": setup,
            "yaw_deg": [p["yaw_deg"] for p in own],
            "cda_m2": [p["cda_m2"] for p in own],
            **{name: before[name] for name in ASIDE if name in before},
        }
        sds = [p.get("sd_m2") for p in own]
        if all(sd is not None for sd in sds):
            sweep["sd_m2"] = sds[0] if len(set(sds)) == 1 else sds
        elif any(sd is not None for sd in sds):
            raise RunSheetError(f"{setup}: sd_m2 is given for some points only; give it for all of them or for none")
        out.append(sweep)
    return out


def with_cross_checks(draft: Draft, name: str, rows: Sequence[Row]) -> Draft:
    """Put the claims ("claims") or the tunnel table ("tunnel") that were typed in the draft.

    They are refused where they cannot be, but a draft that was not complete before is not asked to be.
    """
    read = claims_from_rows if name == "claims" else sweeps_from_rows
    new = draft.with_table(name, read(rows, former=getattr(draft.tables, name)))
    try:
        draft.run_sheet()
    except FieldaeroError:
        return new
    new.run_sheet()
    return new


def _filled(row: Row, columns: Sequence[str]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name in columns:
        value = row.get(name)
        if value is None or (isinstance(value, float) and math.isnan(value)):
            continue
        if isinstance(value, str):
            if value.strip():
                out[name] = value.strip()
        else:
            out[name] = float(value)
    return out
