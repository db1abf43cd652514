"""What a test in a draft still lacks for an answer, and what would make the answer stronger."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fieldaero.basics.errors import FieldaeroError
from fieldaero.draft.air import air_over_rides
from fieldaero.draft.draft import Draft

__all__ = ["Missing", "still_missing"]

Place = Literal["rides", "bike", "weather", "laps"]


@dataclass(frozen=True, kw_only=True)
class Missing:
    """One thing to do, and where; ``needed`` if there is no answer without it."""

    sentence: str
    place: Place
    needed: bool = True


def still_missing(draft: Draft) -> tuple[Missing, ...]:
    """Return what is missing, what an answer needs first.

    Examples
    --------
    >>> from fieldaero.draft.draft import empty_draft
    >>> [missing.place for missing in still_missing(empty_draft())]
    ['rides', 'bike', 'weather']
    """
    found = [*_rides(draft), *_bike(draft), *_weather(draft), *_laps(draft)]
    if not any(missing.needed for missing in found):
        try:
            draft.run_sheet()
        except FieldaeroError as problem:
            found.append(Missing(sentence=str(problem), place="bike"))
    return tuple(sorted(found, key=lambda missing: not missing.needed))


def _rides(draft: Draft) -> list[Missing]:
    if not draft.rides:
        return [Missing(sentence="There is no ride yet: add the file of a ride with power.", place="rides")]
    return [
        Missing(sentence=f"{ride.name} has no laps yet. {_sentence(ride.problem)}", place="laps")
        for ride in draft.rides
        if ride.listing is None
    ]


def _bike(draft: Draft) -> list[Missing]:
    if draft.tables.system.get("mass_kg") is not None:
        return []
    return [
        Missing(
            sentence="The mass is not given: weigh rider, bike, bottles, clothes and tools together, as ridden.",
            place="bike",
        )
    ]


def _weather(draft: Draft) -> list[Missing]:
    try:
        airs = air_over_rides(draft)
    except FieldaeroError as problem:
        return [Missing(sentence=_sentence(str(problem)), place="weather")]
    return [
        Missing(sentence=f"{air.ride}: {warning}", place="weather", needed=False)
        for air in airs
        for warning in air.warnings
    ]


def _laps(draft: Draft) -> list[Missing]:
    if not draft.laps:
        return []
    laps = draft.balance().laps
    ridden = [name for name, count in laps.items() if count]
    found = []
    if not ridden:
        return [
            Missing(
                sentence="No lap is given to a setup yet: pick whole laps and give them to their setups.", place="laps"
            )
        ]
    if draft.baseline not in ridden:
        found.append(Missing(sentence=f"No lap is given to the baseline, {draft.baseline}.", place="laps"))
    if len(ridden) < 2:
        found.append(
            Missing(
                sentence="All laps belong to one setup: it gets a drag area, but there is nothing to compare it with.",
                place="laps",
                needed=False,
            )
        )
    found += [
        Missing(
            sentence=f"{name} has only one lap, so the scatter of its laps is unknown. Ride two or more; four are "
            "better.",
            place="laps",
            needed=False,
        )
        for name in ridden
        if laps[name] == 1
    ]
    return found


def _sentence(text: str) -> str:
    end = "" if text.endswith((".", ")")) else "."
    return text[:1].upper() + text[1:] + end
