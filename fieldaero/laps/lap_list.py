"""The laps of a ride as a list, for people who have yet to say which of them count.

Where no source of laps is named, presses of the lap button are taken if they give
repeated laps of one course, and the road's own repetition if not.  Marks that the device
set by itself, every so many kilometres, are no presses.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.errors import CannotAnswerError, FieldaeroError
from fieldaero.basics.formatting import LAP_HEADINGS, MISSING, clock, counted, duration, km_h, number, one_line, table
from fieldaero.laps.course import Course, complete_laps, find_course
from fieldaero.laps.find_laps import find_laps
from fieldaero.laps.flags import flag_laps
from fieldaero.laps.lap import Lap, LapSource, flag_words, mean_power_w
from fieldaero.laps.lap_button import presses_of
from fieldaero.laps.sensor_dropouts import false_samples
from fieldaero.laps.start_line import StartLine
from fieldaero.laps.track import Track, track_of
from fieldaero.physics.moist_air import USUAL_AIR_DENSITY_KG_M3
from fieldaero.physics.system import System
from fieldaero.rides.ride import Ride

__all__ = ["LapListing", "course_in_words", "laps_as_found", "list_laps"]

FEWEST_REPEATED = 2


@dataclass(frozen=True, kw_only=True)
class LapListing:
    """The laps of one ride, and how they were found.

    Attributes
    ----------
    why
        Why that source, one sentence.
    laps
        In the order of the ride; with flags once :meth:`flagged`, where there is a course to judge them by.
    course
        What the complete laps share; None where they share none.
    no_course
        Why there is no course, else empty.
    """

    ride: Ride
    track: Track = field(compare=False)
    lap_source: LapSource
    why: str
    laps: tuple[Lap, ...]
    course: Course | None
    no_course: str = ""

    def flagged(
        self, *, system: System | None = None, air_density_kg_m3: float = USUAL_AIR_DENSITY_KG_M3
    ) -> LapListing:
        """Return the listing with each lap's flags; without a system by a rider and bike of usual mass."""
        if self.course is None:
            return self
        judged_by = (system, air_density_kg_m3)
        if judged_by not in self._last_flagged:
            laps = flag_laps(
                self.ride,
                self.laps,
                self.course,
                system=system,
                air_density_kg_m3=air_density_kg_m3,
                track=self.track,
            )
            self._last_flagged.clear()
            self._last_flagged[judged_by] = replace(self, laps=laps)
        return self._last_flagged[judged_by]

    @cached_property
    def _last_flagged(self) -> dict[tuple[System | None, float], LapListing]:
        """The listing as it was flagged last: a page asks for the same one each time it is drawn."""
        return {}

    @cached_property
    def complete(self) -> frozenset[int]:
        """Numbers of the laps that have the course's length; none without a course."""
        if self.course is None:
            return frozenset()
        return frozenset(lap.number for lap in complete_laps(self.laps))

    @cached_property
    def _false_power(self) -> NDArray[np.bool_]:
        return false_samples(self.ride, self.laps, self.track)[0]

    def power_w(self, lap: Lap) -> float:
        """Mean power of one of the laps [W], without what its flags call false; NaN where none is known."""
        return mean_power_w(self.ride, lap, false_power=self._false_power)

    def summary(self) -> str:
        """Tell the laps in plain text: how they were found, the table, the flags, the notes of the reader."""
        ride = self.ride
        head = [one_line(ride.source.file) + (f", {ride.start_time:%Y-%m-%d}" if ride.start_time else "")]
        head.append(f'Laps by "{self.lap_source}": {self.why}')
        head.append(self.no_course if self.course is None else course_in_words(self.course))
        time = LAP_HEADINGS["start" if ride.start_time else "start in ride"]
        header = ["lap", time, *(LAP_HEADINGS[name] for name in ("duration", "distance", "speed", "power")), "flags"]
        rows = [
            [
                str(lap.number),
                clock(ride.clock(lap.start_s)) if ride.start_time else duration(lap.start_s),
                duration(lap.duration_s, places=1),
                number(lap.distance_m),
                km_h(lap.speed_m_s),
                number(self.power_w(lap)),
                ", ".join(flag_words(lap.flag_names)) or MISSING,
            ]
            for lap in self.laps
        ]
        parts = ["\n".join(head), table(header, rows, left=(6,))]
        said = [f"lap {lap.number}: {one_line(flag.sentence)}" for lap in self.laps for flag in lap.flags]
        said += [f"lap {lap.number}: {one_line(lap.note)}" for lap in self.laps if lap.note]
        if said:
            parts.append("\n".join(said))
        if ride.notes:
            parts.append("\n".join(["About the file:", *(f"  {one_line(note)}" for note in ride.notes)]))
        return "\n\n".join(parts)

    def to_dict(self) -> dict[str, Any]:
        """Give the same in JSON's own types; what is not known is null."""
        ride, course = self.ride, self.course
        return {
            "schema": 1,
            "ride": {"file": ride.source.file, "sha256": ride.source.sha256, "format": ride.source.format},
            "lap_source": self.lap_source,
            "why": self.why,
            "course": None
            if course is None
            else {
                "length_m": course.length_m,
                "closed": course.closed,
                "out_and_back": course.out_and_back,
                "lap_numbers": list(course.lap_numbers),
            },
            "laps": [
                {
                    "lap": lap.number,
                    "start": None if (at := ride.clock(lap.start_s)) is None else at.isoformat(timespec="milliseconds"),
                    "start_s": lap.start_s,
                    "duration_s": lap.duration_s,
                    "distance_m": lap.distance_m,
                    "speed_m_s": _or_none(lap.speed_m_s),
                    "power_w": _or_none(self.power_w(lap)),
                    "complete": lap.number in self.complete,
                    "flags": list(lap.flag_names),
                    "flag_sentences": [flag.sentence for flag in lap.flags],
                    "note": lap.note,
                }
                for lap in self.laps
            ],
            "notes": list(ride.notes),
        }


def list_laps(ride: Ride, *, lap_source: LapSource | None = None, start_line: StartLine | None = None) -> LapListing:
    """Find the laps of a ride as :func:`laps_as_found`, and say what is particular about each for a usual rider."""
    return laps_as_found(ride, lap_source=lap_source, start_line=start_line).flagged()


def laps_as_found(
    ride: Ride, *, lap_source: LapSource | None = None, start_line: StartLine | None = None
) -> LapListing:
    """Find the laps of a ride, without flags.

    Without a source take the lap button where it gives repeated laps, and else the road's repetition. Where
    there are no laps the CannotAnswerError tells what was tried.
    """
    track = track_of(ride)
    if lap_source is not None:
        laps = find_laps(ride, lap_source=lap_source, start_line=start_line, track=track)
        return _listing(ride, track, laps, lap_source, "as asked for.")
    presses = [press for press in presses_of(ride.lap_marks) if press.by_hand]
    if presses:
        times = f"the button was pressed {counted(len(presses), 'time')} on the way"
        laps = find_laps(ride, lap_source="button", start_line=start_line, track=track)
        by_button = _listing(ride, track, laps, "button", "")
        if len(by_button.complete) >= FEWEST_REPEATED:
            return replace(by_button, why=f"{times} and {len(by_button.complete)} laps are alike.")
        not_button = f"{times}, and that gives no repeated laps"
    elif ride.lap_marks:
        not_button = "no lap was marked by hand"
    else:
        not_button = "the ride has no lap marks"
    if not ride.has("latitude_deg"):
        raise CannotAnswerError(
            f"no laps found: {not_button}, and without positions the road cannot be searched for "
            "repetition. Record positions, or press the lap button at the start line.",
            where=ride.source.file,
        )
    try:
        laps = find_laps(ride, lap_source="repeat", start_line=start_line, track=track)
    except CannotAnswerError as error:
        hint = 'To see the marks as they are, ask for lap_source = "button".' if ride.lap_marks else ""
        raise CannotAnswerError(
            f"{error.message} ({_capital(not_button)}.)", where=ride.source.file, hint=hint
        ) from error
    return _listing(ride, track, laps, "repeat", f"{not_button}, but the road repeats itself.")


def course_in_words(course: Course) -> str:
    """Return one line about the course: shape, length, and the laps it was taken from."""
    shape = "there and back on one road" if course.out_and_back else "closed" if course.closed else "open"
    count = len(course.lap_numbers)
    line = f"Course: {shape}, {number(course.length_m)} m, from {counted(count, 'lap')}."
    if not course.closed:
        line += " A lap that does not end where it began can gain height, so give the difference in the run sheet."
    return line


def _listing(ride: Ride, track: Track, laps: tuple[Lap, ...], lap_source: LapSource, why: str) -> LapListing:
    course, no_course = None, ""
    try:
        course = find_course(ride, laps, track=track)
    except FieldaeroError as error:
        no_course = f"No course: {error.message}"
    return LapListing(
        ride=ride, track=track, lap_source=lap_source, why=why, laps=laps, course=course, no_course=no_course
    )


def _or_none(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
