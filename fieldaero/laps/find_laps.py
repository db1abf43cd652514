"""Laps of a ride: from the lap button, from a start line, or from the road's own repetition.

"button"
    One lap per lap mark of the device, in its order.  A press is about 1 s early or
    late, so where positions are known it only says which lap is meant: the start line
    is the place most presses agree on, and each press moves to the nearest pass of that
    line.  A press far from every pass stays where it was.  Without positions the wheel
    alone corrects the presses.
"line"
    Laps between consecutive passes of a start line, given or derived from the presses
    or from the road most often repeated.  What lies before the first pass and after
    the last is no lap.
"repeat"
    The track is searched for repetition; approach and way home are no laps.

Passes are corrected by the fact that laps have one length (:mod:`fieldaero.laps.equal_laps`).
With satellite noise of 2 m that wanders over a minute and laps of 1500 m this brings
the crossing error from 1.9 m to about 1.0 m and that of the lap's length from 2.6 to
0.9 m; without positions, presses of +-1 s at 11 m/s from 6 m to about 2 m (simulated;
the tests hold it).
"""

from __future__ import annotations

from typing import get_args

import numpy as np

from fieldaero.basics.errors import CannotAnswerError, RideError, RunSheetError
from fieldaero.basics.quantities import Floats
from fieldaero.laps.equal_laps import LAPS_DIFFER, common_length_m
from fieldaero.laps.lap import Lap, LapSource
from fieldaero.laps.lap_button import presses_at_line, presses_by_wheel, presses_of, unmoved_press
from fieldaero.laps.repetition import find_repetition
from fieldaero.laps.start_line import (
    Passes,
    StartLine,
    line_from_presses,
    line_time_s,
    passes_of_equal_laps,
    passes_of_line,
)
from fieldaero.laps.track import Track, track_of
from fieldaero.rides.ride import Ride

__all__ = ["find_laps"]


def find_laps(
    ride: Ride, *, lap_source: LapSource, start_line: StartLine | None = None, track: Track | None = None
) -> tuple[Lap, ...]:
    """Return the laps of a ride in the order in which they were ridden.

    Parameters
    ----------
    ride
        The recorded ride.
    lap_source
        "button", "line" or "repeat".
    start_line
        Used instead of a derived one.  Rides of one session share a line, so that they
        share positions along the lap; with "repeat" it fixes where a lap begins.
    track
        The track of the ride, if it is already worked out.

    Returns
    -------
    The laps, numbered from 1, without flags.

    Raises
    ------
    RideError
        The ride has no lap marks, or no positions, and the source needs them.
    CannotAnswerError
        The line is not passed twice, or nothing is repeated.
    RunSheetError
        There is no such source.
    """
    track = track or track_of(ride)
    if lap_source == "button":
        return _button_laps(ride, track, start_line)
    if lap_source not in get_args(LapSource):
        raise RunSheetError(f'lap_source is "{lap_source}"; allowed are {", ".join(get_args(LapSource))}')
    if track.frame is None:
        raise RideError(
            f'lap_source = "{lap_source}" needs positions, and the ride has none. '
            'Use lap_source = "button" with lap marks.',
            where=ride.source.file,
        )
    if lap_source == "repeat" and start_line is None:
        repetition = find_repetition(track)
        if repetition is None:
            raise _nothing_repeated(ride)
        return _laps_between(track, repetition.laps_m[:, 0], repetition.laps_m[:, 1], trigger="repeat")
    line = start_line or _derived_line(ride, track)
    passed = passes_of_equal_laps(passes_of_line(track, line))
    if len(passed.first_m) < 2:
        times = "once" if len(passed.first_m) else "never"
        raise CannotAnswerError(
            f"the ride passes the start line {times} in its direction ({line.heading_deg:.0f} deg), so "
            "there is no lap between two passes. Check latitude, longitude and heading of the line.",
            where=ride.source.file,
        )
    start, end = passed.last_m[:-1], passed.first_m[1:]
    if lap_source == "repeat":
        alike = np.abs((end - start) / common_length_m(end - start) - 1.0) <= LAPS_DIFFER
        start, end = start[alike], end[alike]
    return _laps_between(track, start, end, trigger=lap_source)


def _nothing_repeated(ride: Ride) -> CannotAnswerError:
    return CannotAnswerError(
        "no lap was found that is ridden at least twice in the same direction. "
        "Ride several laps of one course, or mark the laps with the lap button.",
        where=ride.source.file,
    )


def _derived_line(ride: Ride, track: Track) -> StartLine:
    line = line_from_presses(track, [press.time_s for press in presses_of(ride.lap_marks) if press.by_hand])
    if line is not None:
        return line[0]
    repetition = find_repetition(track)
    if repetition is None:
        raise _nothing_repeated(ride)
    return repetition.line


def _laps_between(track: Track, start_m: Floats, end_m: Floats, *, trigger: str) -> tuple[Lap, ...]:
    laps = []
    for number, (start, end) in enumerate(zip(start_m.tolist(), end_m.tolist(), strict=True), start=1):
        (_, begun_s), (ended_s, _) = line_time_s(track, start, start), line_time_s(track, end, end)
        laps.append(
            Lap(
                number=number,
                start_s=begun_s,
                end_s=max(ended_s, begun_s),
                distance_m=float(end - start),
                start_m=start,
                trigger=trigger,
            )
        )
    return tuple(laps)


def _button_laps(ride: Ride, track: Track, start_line: StartLine | None) -> tuple[Lap, ...]:
    if not ride.lap_marks:
        raise RideError(
            'lap_source = "button", and the ride has no lap marks. Use lap_source = "line" or "repeat".',
            where=ride.source.file,
        )
    presses = presses_of(ride.lap_marks)
    if track.frame is None:
        boundaries = presses_by_wheel(ride, track, presses)
    elif start_line is not None:
        boundaries = presses_at_line(track, presses, passes_of_equal_laps(passes_of_line(track, start_line)))
    else:
        agreed = line_from_presses(track, [press.time_s for press in presses if press.by_hand])
        if agreed is None:
            boundaries = [unmoved_press(track, press, "no two presses agree on a start line") for press in presses]
        else:
            line, ahead_m = agreed
            passed = passes_of_equal_laps(passes_of_line(track, line))
            passed = Passes(first_m=passed.first_m - ahead_m, last_m=passed.last_m - ahead_m)
            boundaries = presses_at_line(track, presses, passed)
    starts = [b for b, press in zip(boundaries, presses, strict=True) if press.begins]
    ends = [b for b, press in zip(boundaries, presses, strict=True) if press.ends]
    laps = []
    for number, (mark, start, end) in enumerate(zip(ride.lap_marks, starts, ends, strict=True), start=1):
        notes = [f"{which}: {b.note}" for which, b in (("start", start), ("end", end)) if b.note]
        laps.append(
            Lap(
                number=number,
                start_s=start.departure_s,
                end_s=max(end.arrival_s, start.departure_s),
                distance_m=max(end.arrival_m - start.departure_m, 0.0),
                start_m=start.departure_m,
                trigger=mark.trigger,
                note="; ".join(notes),
            )
        )
    return tuple(laps)
