"""A draft with a few things changed to see what they do, or with the setups of a plan; the original stays as it is."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass
from typing import Literal

from fieldaero.draft.draft import Draft, DraftLap
from fieldaero.plan.plan import Plan
from fieldaero.run_sheet.schema import NOT_USED

__all__ = ["WIND_CHOICES", "WhatIf", "WindChoice", "what_if", "wind_can_change", "with_plan"]

WindChoice = Literal["as observed", "half as strong", "half as strong again", "not observed"]
WIND_CHOICES: tuple[WindChoice, ...] = ("as observed", "half as strong", "half as strong again", "not observed")
FACTORS = {"half as strong": 0.5, "half as strong again": 1.5}
SMALLEST = ("smallest_difference_m2", "smallest_difference_w", "smallest_difference_s")


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """What is to be different; None and empty for what stays."""

    left_out: frozenset[DraftLap] = frozenset()
    mass_kg: float | None = None
    crr: float | None = None
    crr_sd: float | None = None
    wind: WindChoice = "as observed"
    smallest_difference_m2: float | None = None


def what_if(draft: Draft, changes: WhatIf) -> Draft:
    """Return the draft with the changes.

    Examples
    --------
    >>> from fieldaero.draft.draft import empty_draft
    >>> what_if(empty_draft(), WhatIf(mass_kg=80.0)).tables.system["mass_kg"]
    80.0
    """
    out = draft
    if changes.left_out:
        out = out.assigned(sorted(changes.left_out, key=lambda lap: (lap.ride, lap.lap)), NOT_USED)
    system = {
        name: value
        for name, value in (("mass_kg", changes.mass_kg), ("crr", changes.crr), ("crr_sd", changes.crr_sd))
        if value is not None
    }
    if system:
        out = out.with_table("system", {**out.tables.system, **system})
    if changes.smallest_difference_m2 is not None:
        kept = {k: v for k, v in out.tables.analysis.items() if k not in SMALLEST}
        out = out.with_table("analysis", {**kept, "smallest_difference_m2": changes.smallest_difference_m2})
    if changes.wind != "as observed":
        out = out.with_table("weather", [_other_wind(entry, changes.wind) for entry in out.tables.weather])
    return out


def wind_can_change(draft: Draft) -> bool:
    """Say whether the weather's wind is given as readings, which alone can be changed."""
    return any("wind_speed_m_s" in entry for entry in draft.tables.weather)


def with_plan(draft: Draft, plan: Plan) -> Draft:
    """Return the draft with the plan's setups, the baseline first.

    What the draft says of a setup of the same name stays, and so does a setup with laps.
    """
    own = {str(setup["name"]): setup for setup in draft.tables.setups}
    ridden = {draft.setup_of(lap) for lap in draft.laps}
    kept = [name for name in own if name in ridden and name not in plan.setups]
    setups = [own.get(name, {"name": name}) for name in (*plan.setups, *kept)]
    out = draft.with_table("setups", setups).with_table("baseline", plan.setups[0])
    return what_if(out, WhatIf(smallest_difference_m2=round(plan.smallest_difference_m2, 5)))


def _other_wind(entry: dict[str, object], wind: WindChoice) -> dict[str, object]:
    changed = deepcopy(entry)
    speed = changed.get("wind_speed_m_s")
    if not isinstance(speed, int | float):
        return changed
    if wind == "not observed":
        for name in ("wind_speed_m_s", "wind_from_deg", "wind_height_m"):
            changed.pop(name, None)
    else:
        changed["wind_speed_m_s"] = FACTORS[wind] * speed
    return changed
