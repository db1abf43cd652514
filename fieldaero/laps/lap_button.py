"""Presses of the lap button, and where each of them belongs.

A press is about 1 s early or late: 12 m at racing speed.  Where positions are known
it only tells which pass of the start line is meant; without them the fact that laps have
one length, which the wheel measures to about 0.1 %, corrects the presses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fieldaero.laps.equal_laps import equal_lap_crossings_m
from fieldaero.laps.start_line import Passes, line_time_s
from fieldaero.laps.track import Track
from fieldaero.rides.ride import LapMark, Ride

__all__ = ["Boundary", "Press", "presses_at_line", "presses_by_wheel", "presses_of", "unmoved_press"]

SAME_PRESS_S = 2.0  # the end of one mark and the start of the next are one press
PRESS_REACH_S = 5.0  # a pass further from the press in time ...
PRESS_REACH_M = 60.0  # ... or in distance is not the one that was meant
PRESS_SD_S = 0.6  # +-1 s, evenly spread; common practice, no source
SELF_MADE = ("distance", "time", "session_end", "heart")  # triggers that are no press at a line


@dataclass(frozen=True, kw_only=True)
class Press:
    """One moment that ends a lap, begins one, or does both where laps meet."""

    time_s: float
    ends: bool
    begins: bool
    by_hand: bool


@dataclass(frozen=True, kw_only=True)
class Boundary:
    """Where a press ended up; arrival and departure differ where the rider stood or hung about."""

    arrival_m: float
    departure_m: float
    arrival_s: float
    departure_s: float
    note: str = ""


def presses_of(marks: Sequence[LapMark]) -> list[Press]:
    """Every start and end of the marks, once; start and stop of the recording are not counted as by hand.

    Examples
    --------
    >>> marks = [LapMark(start_s=0.0, end_s=60.0, trigger="manual"), LapMark(start_s=60.0, end_s=90.0)]
    >>> [(press.time_s, press.ends, press.begins) for press in presses_of(marks)]
    [(0.0, False, True), (60.0, True, True), (90.0, True, False)]
    """
    if not marks:
        return []
    presses = [Press(time_s=marks[0].start_s, ends=False, begins=True, by_hand=False)]
    for before, after in pairwise(marks):
        by_hand = not before.trigger.lower().startswith(SELF_MADE)
        apart = after.start_s - before.end_s > SAME_PRESS_S
        if apart:
            presses.append(Press(time_s=before.end_s, ends=True, begins=False, by_hand=by_hand))
        presses.append(Press(time_s=after.start_s, ends=not apart, begins=True, by_hand=by_hand))
    presses.append(Press(time_s=marks[-1].end_s, ends=True, begins=False, by_hand=False))
    return presses


def unmoved_press(track: Track, press: Press, why: str) -> Boundary:
    """Leave the press where it was; a press by hand gets a note with the reason."""
    time = float(np.clip(press.time_s, track.time_s[0], track.time_s[-1]))
    at = float(track.distance_at_m(time))
    note = f"press kept, {why}" if press.by_hand else ""
    return Boundary(arrival_m=at, departure_m=at, arrival_s=time, departure_s=time, note=note)


def presses_at_line(track: Track, presses: list[Press], passed: Passes) -> list[Boundary]:
    """Move each press to the pass nearest to it; a pass ends one lap and begins one."""
    line = []
    for first, last in zip(passed.first_m.tolist(), passed.last_m.tolist(), strict=True):
        arrival, departure = line_time_s(track, first, last)
        line.append(Boundary(arrival_m=first, departure_m=last, arrival_s=arrival, departure_s=departure))
    candidates: list[tuple[float, int, int]] = []
    arrivals = track.riding_s(np.array([b.arrival_s for b in line]))
    departures = track.riding_s(np.array([b.departure_s for b in line]))
    for k, press in enumerate(presses):
        at, when = float(track.distance_at_m(press.time_s)), float(track.riding_s(press.time_s))
        for p, one in enumerate(line):
            wait = max(float(arrivals[p]) - when, when - float(departures[p]), 0.0)
            away = max(one.arrival_m - at, at - one.departure_m, 0.0)
            if wait <= PRESS_REACH_S and away <= PRESS_REACH_M:
                candidates.append((wait, k, p))
    # Nearest first: of two presses at one pass the other one was a slip.
    taken: set[tuple[int, str]] = set()
    moved: dict[int, Boundary] = {}
    at_pass: dict[int, int] = {}
    for _, k, p in sorted(candidates):
        roles = {(p, role) for role in ("ends", "begins") if getattr(presses[k], role)}
        if k not in moved and not roles & taken:
            taken |= roles
            moved[k], at_pass[k] = line[p], p
    # The slip goes there too, and the laps on either side stay whole: what lies between is empty.
    for _, k, p in sorted(candidates):
        if k not in moved and presses[k].by_hand and p in (at_pass.get(k - 1), at_pass.get(k + 1)):
            moved[k] = replace(line[p], note="pressed twice at one pass of the start line")
    why = f"no pass of the start line within {PRESS_REACH_S:g} s of it"
    return [moved.get(k) or unmoved_press(track, press, why) for k, press in enumerate(presses)]


def presses_by_wheel(ride: Ride, track: Track, presses: list[Press]) -> list[Boundary]:
    """Without positions: move the presses so that laps have one length by the wheel."""
    speed = ride.column("speed_m_s")
    moving = speed[speed > 1.0]
    at = track.distance_at_m(np.array([press.time_s for press in presses]))
    by_hand = np.flatnonzero([press.by_hand for press in presses])
    corrected = at.copy()
    if len(moving):
        events, place = np.unique(at[by_hand], return_inverse=True)
        corrected[by_hand] = equal_lap_crossings_m(events, sd_m=PRESS_SD_S * float(np.median(moving)))[place]
    boundaries = []
    for press, raw, even in zip(presses, at.tolist(), corrected.tolist(), strict=True):
        if even == raw:
            boundaries.append(unmoved_press(track, press, "the ride has no positions"))
            continue
        arrival, departure = line_time_s(track, even, even)
        boundaries.append(
            Boundary(
                arrival_m=even,
                departure_m=even,
                arrival_s=arrival,
                departure_s=departure,
                note=f"press moved {even - raw:+.1f} m by the wheel",
            )
        )
    return boundaries
