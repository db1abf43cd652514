"""A row per lap on a desk: what it was given to, how it was ridden, and what is particular about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fieldaero.draft.air import lap_winds_m_s
from fieldaero.draft.draft import Desk, DeskLap
from fieldaero.laps.lap_list import mean_power_w

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

    of: DeskLap
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


def lap_rows(desk: Desk) -> tuple[LapRow, ...]:
    """Return all laps of a desk in order; those of a ride without laps are none."""
    winds = lap_winds_m_s(desk)
    rows = []
    for on_desk in desk.rides:
        if on_desk.listing is None:
            continue
        whole = on_desk.listing.complete
        for lap, setup in zip(on_desk.listing.laps, on_desk.setups, strict=True):
            words = [flag.name.replace("_", " ") for flag in lap.flags]
            complete = lap.number in whole
            if not complete and "incomplete" not in words:
                words.insert(0, "not a whole lap")
            rows.append(
                LapRow(
                    of=DeskLap(ride=on_desk.name, lap=lap.number),
                    setup=setup,
                    start=on_desk.ride.clock(lap.start_s),
                    start_s=lap.start_s,
                    end_s=lap.end_s,
                    duration_s=lap.duration_s,
                    distance_m=lap.distance_m,
                    speed_km_h=3.6 * lap.distance_m / lap.duration_s if lap.duration_s > 0.0 else float("nan"),
                    power_w=mean_power_w(on_desk.ride, lap),
                    wind_m_s=winds.get((on_desk.name, lap.number)),
                    complete=complete,
                    flags=tuple(dict.fromkeys(words)),
                    sentences=(*(flag.sentence for flag in lap.flags), *([lap.note] if lap.note else [])),
                )
            )
    return tuple(rows)


def laps_within(rows: Sequence[LapRow], *, start_s: float, end_s: float) -> tuple[DeskLap, ...]:
    """Return the laps of one ride that lie for the greater part between two moments on its clock."""
    low, high = sorted((start_s, end_s))
    return tuple(row.of for row in rows if min(row.end_s, high) - max(row.start_s, low) > 0.5 * row.duration_s > 0.0)
