"""Air speed in FIT files: a developer field, known by its declared name and units."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

__all__ = ["air_speed_scale", "left_out_air_speed"]

NAMES = {"airspeed", "airspeedms", "airspeedkmh", "airspeedmph"}
SCALES = {
    **dict.fromkeys(("m/s", "mps", "ms-1", "m/sec", "meters/second", "metres/second"), 1.0),
    **dict.fromkeys(("km/h", "kmh", "kph", "km/hr", "kmph"), 1.0 / 3.6),
    **dict.fromkeys(("mph", "mi/h", "miles/hour"), 0.44704),  # the international mile, exact
}


def air_speed_scale(name: object, units: object) -> float | None:
    """Factor from the field's declared unit to m/s; None if it is no air speed in a known unit.

    Examples
    --------
    >>> air_speed_scale("Air Speed", "mph")
    0.44704
    >>> air_speed_scale("Speed", "m/s") is None
    True
    """
    if not _is_air_speed(name):
        return None
    return SCALES.get(str(units or "").lower().replace(" ", "").replace("·", "").replace("^", ""))


def left_out_air_speed(fields: Mapping[Any, float | None]) -> list[str]:
    """Return notes on air-speed fields whose unit is missing or unknown."""
    lost: Iterable[Any] = (one for one, scale in fields.items() if scale is None and _is_air_speed(one.name))
    return sorted(
        {
            f"the developer field {one.name!r} has "
            f"{f'the unit {one.units!r}' if one.units else 'no unit'} and was left out; "
            "air speed is read in m/s, km/h or mph"
            for one in lost
        }
    )


def _is_air_speed(name: object) -> bool:
    return re.sub(r"[^a-z]", "", str(name or "").lower()) in NAMES
