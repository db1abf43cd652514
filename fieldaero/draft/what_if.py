"""A desk with a few things changed to see what they do, the original left as it is."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass
from typing import Literal

from fieldaero.draft.draft import Desk, DeskLap
from fieldaero.run_sheet.sheet import NOT_USED

__all__ = ["WIND_CHOICES", "WhatIf", "WindChoice", "what_if", "wind_can_change"]

WindChoice = Literal["as observed", "half as strong", "half as strong again", "not observed"]
WIND_CHOICES: tuple[WindChoice, ...] = ("as observed", "half as strong", "half as strong again", "not observed")
FACTORS = {"half as strong": 0.5, "half as strong again": 1.5}
SMALLEST = ("smallest_difference_m2", "smallest_difference_w", "smallest_difference_s")


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """What is to be different; None and empty for what stays.

    Attributes
    ----------
    left_out
        Laps that do not count.
    mass_kg, crr, crr_sd
        Of rider and bike.
    wind
        What the fit is told of the wind beforehand.
    smallest_difference_m2
        Smallest difference that matters.
    """

    left_out: frozenset[DeskLap] = frozenset()
    mass_kg: float | None = None
    crr: float | None = None
    crr_sd: float | None = None
    wind: WindChoice = "as observed"
    smallest_difference_m2: float | None = None


def what_if(desk: Desk, changes: WhatIf) -> Desk:
    """Return the desk with the changes.

    Parameters
    ----------
    desk
        The original, which stays as it is.
    changes
        What is to be different.

    Examples
    --------
    >>> from fieldaero.draft.draft import empty_desk
    >>> what_if(empty_desk(), WhatIf(mass_kg=80.0)).tables["system"]["mass_kg"]
    80.0
    """
    out = desk
    if changes.left_out:
        out = out.assigned(sorted(changes.left_out, key=lambda lap: (lap.ride, lap.lap)), NOT_USED)
    system = {
        name: value
        for name, value in (("mass_kg", changes.mass_kg), ("crr", changes.crr), ("crr_sd", changes.crr_sd))
        if value is not None
    }
    if system:
        out = out.with_table("system", {**out.tables.get("system", {}), **system})
    if changes.smallest_difference_m2 is not None:
        kept = {k: v for k, v in out.tables.get("analysis", {}).items() if k not in SMALLEST}
        out = out.with_table("analysis", {**kept, "smallest_difference_m2": changes.smallest_difference_m2})
    if changes.wind != "as observed":
        out = out.with_table("weather", [_other_wind(entry, changes.wind) for entry in out.tables.get("weather", ())])
    return out


def wind_can_change(desk: Desk) -> bool:
    """Say whether the weather's wind is given as readings, which alone can be changed."""
    return any("wind_speed_m_s" in entry for entry in desk.tables.get("weather", ()))


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
