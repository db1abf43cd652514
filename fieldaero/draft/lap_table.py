"""A row per lap in a draft: what it was given to, how it was ridden, and what is particular about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fieldaero.draft.air import lap_winds_m_s
from fieldaero.draft.draft import Draft, DraftLap

__all__ = ["LapRow", "lap_rows", "laps_within"]


@dataclass(frozen=True, kw_only=True)
class LapRow:
    """One lap.

    Attributes
    ----------
    of
        Which lap.
    setup
        "-" for a lap that is not used.
    start
        Aware time, None where the ride has no clock.
    start_s, end_s, duration_s
        On the ride's clock.
    distance_m, speed_km_h, power_w
        By the wheel; means over the lap, NaN where unknown.
    wind_m_s
        Mean observed wind at the rider's height; None where none was observed.
    complete
        Whether it has the course's length.
    flags
        In words, each once.
    sentences
        The evidence of each flag, and what is particular about the lap's ends.
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
    """Return all laps of a draft in order; those of a ride without laps are none."""
    winds = lap_winds_m_s(draft)
    rows = []
    for draft_ride in draft.rides:
        if draft_ride.listing is None:
            continue
        whole = draft_ride.listing.complete
        for lap, setup in zip(draft_ride.listing.laps, draft_ride.setups, strict=True):
            words = [flag.name.replace("_", " ") for flag in lap.flags]
            complete = lap.number in whole
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
                    power_w=draft_ride.listing.power_w(lap),
                    wind_m_s=winds.get((draft_ride.name, lap.number)),
                    complete=complete,
                    flags=tuple(dict.fromkeys(words)),
                    sentences=(*(flag.sentence for flag in lap.flags), *([lap.note] if lap.note else [])),
                )
            )
    return tuple(rows)


def laps_within(rows: Sequence[LapRow], *, start_s: float, end_s: float) -> tuple[DraftLap, ...]:
    """Return the laps of one ride that lie for the greater part between two moments on its clock."""
    low, high = sorted((start_s, end_s))
    return tuple(row.of for row in rows if min(row.end_s, high) - max(row.start_s, low) > 0.5 * row.duration_s > 0.0)
