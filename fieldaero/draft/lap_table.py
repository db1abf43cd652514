"""A row per lap in a draft: what it was given to, how it was ridden, and what is particular about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fieldaero.basics.errors import FieldaeroError
from fieldaero.draft.air import air_density_of_ride_kg_m3, draft_system, lap_winds_m_s
from fieldaero.draft.draft import Draft, DraftLap
from fieldaero.laps.lap import flag_words
from fieldaero.physics.system import System

__all__ = ["LapRow", "lap_rows", "laps_within"]


@dataclass(frozen=True, kw_only=True)
class LapRow:
    """One lap; ``setup`` is "-" where it is not used, what is not known is NaN or None.

    Distance and speed are by the wheel, the wind is the mean observed one at the rider's height.  ``flags`` are words,
    ``sentences`` the evidence of each flag and what is particular about the lap's ends.
    """

    of: DraftLap
    setup: str
    start: datetime | None
    start_s: float
    end_s: float
    duration_s: float
    distance_m: float
    speed_km_h: float
    power_w: float
    wind_m_s: float | None
    complete: bool
    flags: tuple[str, ...]
    sentences: tuple[str, ...]


def lap_rows(draft: Draft) -> tuple[LapRow, ...]:
    """Return all laps of a draft in order, judged by its own rider, bike and air; of a ride without laps none."""
    winds, system = lap_winds_m_s(draft), _system(draft)
    rows = []
    for draft_ride in draft.rides:
        if draft_ride.listing is None:
            continue
        listing = draft_ride.listing.flagged(
            system=system, air_density_kg_m3=air_density_of_ride_kg_m3(draft, draft_ride)
        )
        for lap, setup in zip(listing.laps, draft_ride.setups, strict=True):
            words = list(flag_words(lap.flag_names))
            complete = lap.number in listing.complete
            if not complete and "incomplete" not in words:
                words.insert(0, "not a whole lap")
            rows.append(
                LapRow(
                    of=DraftLap(ride=draft_ride.name, lap=lap.number),
                    setup=setup,
                    start=draft_ride.ride.clock(lap.start_s),
                    start_s=lap.start_s,
                    end_s=lap.end_s,
                    duration_s=lap.duration_s,
                    distance_m=lap.distance_m,
                    speed_km_h=3.6 * lap.speed_m_s,
                    power_w=listing.power_w(lap),
                    wind_m_s=winds.get((draft_ride.name, lap.number)),
                    complete=complete,
                    flags=tuple(words),
                    sentences=(*(flag.sentence for flag in lap.flags), *([lap.note] if lap.note else [])),
                )
            )
    return tuple(rows)


def _system(draft: Draft) -> System | None:
    try:
        return draft_system(draft)
    except FieldaeroError:
        return None  # what is typed cannot be used yet


def laps_within(rows: Sequence[LapRow], *, start_s: float, end_s: float) -> tuple[DraftLap, ...]:
    """Return the laps of one ride that lie for the greater part between two moments on its clock."""
    low, high = sorted((start_s, end_s))
    return tuple(row.of for row in rows if min(row.end_s, high) - max(row.start_s, low) > 0.5 * row.duration_s > 0.0)
