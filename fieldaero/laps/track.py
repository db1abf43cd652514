"""The ride as a path: wheel distance, and where the road was at each distance.

Two instruments describe a path.  The wheel measures distance to about 0.1 % but
knows no place; satellite positions know the place to about 2 m, wander slowly
and keep wandering while the rider stands.  So everything here is a function of
wheel distance: positions are looked up by it, and standing still adds nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.quantities import Floats
from fieldaero.basics.runs import runs_where
from fieldaero.physics.earth import LocalFrame
from fieldaero.rides.intervals import is_gap
from fieldaero.rides.ride import Ride

__all__ = ["Track", "track_of", "wheel_distance_m"]

LONGEST_HOLE_M = 100.0  # beyond it the road between two known positions is unknown
# Limits are matters of judgement: common practice, no source.
RIDING_M_S = 2.0
HALTED_M_S = 1.0
HALT_S = 5.0
ROLLED_ON_S = 2.0  # a step of no more than this was rolled although the timer was paused
AT_ONE_PLACE_M = 25.0
FROZEN_STEP_M = 3.0  # a position that stays put while the wheel rolls further than this is a held one


@dataclass(frozen=True, kw_only=True)
class Track:
    """A ride's path, all arrays of shape (n,), one value per sample.

    Attributes
    ----------
    time_s, distance_m
        Ride clock and wheel distance since the first sample; distance never falls.
    latitude_deg, longitude_deg
        As recorded.
    east_m, north_m
        Position in ``frame``, NaN where unknown.
    frame
        Local metres of the track, None if the ride holds no position at all.
    """

    time_s: Floats
    distance_m: Floats
    latitude_deg: Floats
    longitude_deg: Floats
    east_m: Floats
    north_m: Floats
    frame: LocalFrame | None

    def in_frame(self, frame: LocalFrame | None) -> Track:
        """Return the same track in the metres of another place, such as the one that a course is drawn around."""
        if frame is None or self.frame is None or frame == self.frame:
            return self
        east, north = _positions_m(self.latitude_deg, self.longitude_deg, self.distance_m, frame)
        return replace(self, east_m=east, north_m=north, frame=frame)

    @property
    def length_m(self) -> float:
        """Wheel distance of the whole ride [m]."""
        return float(self.distance_m[-1])

    def riding_s(self, time_s: Floats | float) -> Floats:
        """Ride clock without its gaps: each counts as one step between samples."""
        step = np.diff(self.time_s)
        usual = np.where(is_gap(self.time_s), np.median(step), step)
        return np.asarray(np.interp(time_s, self.time_s, np.concatenate([[0.0], np.cumsum(usual)])))

    def distance_at_m(self, time_s: Floats | float) -> Floats:
        """Wheel distance at moments on the ride's clock."""
        return np.asarray(np.interp(time_s, self.time_s, self.distance_m))

    def arrival_s(self, distance_m: float) -> float:
        """First moment at which the wheel distance is reached."""
        return self._moment_s(distance_m, last=False)

    def departure_s(self, distance_m: float) -> float:
        """Last moment at that wheel distance: later than the arrival if the rider stood there."""
        return self._moment_s(distance_m, last=True)

    @cached_property
    def halts(self) -> Floats:
        """Standstills and short-way gaps: start and end [s], start and end [m], shape (halts, 4)."""
        t, d = self.time_s, self.distance_m
        gap = is_gap(t) & (np.diff(d) <= AT_ONE_PLACE_M)
        slow = (np.diff(d) <= HALTED_M_S * np.diff(t)) | gap
        runs = [(i, j + 1) for i, j in runs_where(slow, t[1:]) if t[j + 1] - t[i] >= HALT_S]
        return np.array([(t[i], t[j], d[i], d[j]) for i, j in runs]).reshape(-1, 4)

    def _moment_s(self, distance_m: float, *, last: bool) -> float:
        t, d = self.time_s, self.distance_m
        target = float(np.clip(distance_m, d[0], d[-1]))
        after = int(np.searchsorted(d, target, side="right" if last else "left"))
        if after >= len(d):
            return float(t[-1])
        if after == 0:
            return float(t[0])
        before = after - 1
        return float(t[before] + (t[after] - t[before]) * (target - d[before]) / (d[after] - d[before]))

    @cached_property
    def _places(self) -> tuple[Floats, Floats, Floats]:
        """Wheel distance, east and north of the known positions; of a standstill only the first."""
        known = np.isfinite(self.east_m) & np.isfinite(self.north_m)
        known[1:] &= np.diff(self.distance_m) > 0.0
        return self.distance_m[known], self.east_m[known], self.north_m[known]

    def position_at(self, distance_m: Floats | float) -> tuple[Floats, Floats]:
        """East and north [m] at wheel distances, NaN where no position is known nearby."""
        d = np.asarray(distance_m, dtype=np.float64)
        x, known_east, known_north = self._places
        if len(x) < 2:
            return np.full(d.shape, np.nan), np.full(d.shape, np.nan)
        after = np.clip(np.searchsorted(x, d), 1, len(x) - 1)
        hole = (x[after] - x[after - 1] > LONGEST_HOLE_M) | (d < x[0]) | (d > x[-1])
        east, north = np.interp(d, x, known_east), np.interp(d, x, known_north)
        return np.where(hole, np.nan, east), np.where(hole, np.nan, north)

    def heading_at_deg(self, distance_m: Floats | float, *, chord_m: float = 20.0) -> Floats:
        """Direction of travel at wheel distances, clockwise from north, from a chord of the path."""
        d = np.asarray(distance_m, dtype=np.float64)
        x = self._places[0]
        first, last = (x[0], x[-1]) if len(x) else (np.nan, np.nan)
        # At both ends of the ride the chord becomes one-sided instead of leaving the data.
        e0, n0 = self.position_at(np.maximum(d - chord_m / 2.0, first))
        e1, n1 = self.position_at(np.minimum(d + chord_m / 2.0, last))
        moved = np.hypot(e1 - e0, n1 - n0) > 0.0
        heading = np.degrees(np.arctan2(e1 - e0, n1 - n0)) % 360.0
        return np.where(moved, heading, np.nan)

    def moved(self, first: int, last: int) -> bool:
        """Whether the positions went on at riding speed between two samples; False where unknown."""
        way = float(np.hypot(self.east_m[last] - self.east_m[first], self.north_m[last] - self.north_m[first]))
        return way > RIDING_M_S * float(self.time_s[last] - self.time_s[first])


def track_of(ride: Ride) -> Track:
    """Return the path of a ride, in metres around its median position.

    Positions that are held while the wheel rolls on are taken as missing.
    """
    d = wheel_distance_m(ride)
    latitude, longitude = ride.column("latitude_deg"), ride.column("longitude_deg")
    known = np.isfinite(latitude) & np.isfinite(longitude)
    frame, east, north = None, np.full(d.shape, np.nan), np.full(d.shape, np.nan)
    if known.any():
        # Longitudes are counted from the first one, so that the date line splits no course.
        first = longitude[known][0]
        around = first + np.median((longitude[known] - first + 180.0) % 360.0 - 180.0)
        frame = LocalFrame(float(np.median(latitude[known])), float(around))
        east, north = _positions_m(latitude, longitude, d, frame)
    return Track(
        time_s=ride.time_s,
        distance_m=d,
        latitude_deg=latitude,
        longitude_deg=longitude,
        east_m=east,
        north_m=north,
        frame=frame,
    )


def _positions_m(
    latitude_deg: Floats,
    longitude_deg: Floats,
    distance_m: Floats,
    frame: LocalFrame,
) -> tuple[Floats, Floats]:
    east, north = frame.to_metres(latitude_deg, longitude_deg)
    held = np.zeros(distance_m.shape, dtype=bool)
    held[1:] = (np.diff(east) == 0.0) & (np.diff(north) == 0.0) & (np.diff(distance_m) > FROZEN_STEP_M)
    gone = held | ~np.isfinite(east)
    return np.where(gone, np.nan, east), np.where(gone, np.nan, north)


def wheel_distance_m(ride: Ride) -> Floats:
    """Distance rolled since the first sample, shape (n,), never falling, never NaN.

    The recorded distance where there is one; integrated speed where it is missing
    or set back; time alone shares out what neither knows.  During a pause of the
    timer without recorded distance the bike is taken to have stood.

    Examples
    --------
    >>> import pandas as pd
    >>> from fieldaero.rides.ride import COLUMNS, RideSource
    >>> table = pd.DataFrame({name: [np.nan] * 3 for name in COLUMNS})
    >>> table["time_s"], table["speed_m_s"] = [0.0, 1.0, 3.0], [8.0, 10.0, 10.0]
    >>> source = RideSource(file="a.csv", format="CSV", sha256="")
    >>> wheel_distance_m(Ride(table=table, source=source)).tolist()
    [0.0, 9.0, 29.0]
    """
    t, v, d = ride.time_s, ride.column("speed_m_s"), ride.column("distance_m")
    rolled = np.diff(t) * (v[:-1] + v[1:]) / 2.0
    for pause in ride.pauses:
        if pause.cause == "timer":
            rolled[(t[:-1] < pause.end_s) & (t[1:] > pause.start_s) & (np.diff(t) > ROLLED_ON_S)] = 0.0
    recorded = np.diff(d)
    recorded[recorded < 0.0] = np.nan  # the counter was set back
    known = np.isfinite(d)
    # Only the counter knows what was rolled in a gap of the recording.
    surely = np.nansum(rolled[~is_gap(t)])
    if np.sum(np.maximum(np.diff(d[known]), 0.0)) < 0.5 * surely:
        return _summed(rolled)  # a counter that stands still says nothing
    step = np.where(np.isfinite(recorded), recorded, rolled)
    _share_out(step, np.diff(t), d, np.flatnonzero(known))
    return _summed(step)


def _summed(step: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(np.maximum(np.nan_to_num(step), 0.0))])


def _share_out(step: Floats, duration: Floats, counter: Floats, known: NDArray[np.intp]) -> None:
    """Fill unknown steps in place: what the counter gained over a hole belongs to the hole."""
    for hole in np.flatnonzero(np.diff(known) > 1):
        i, j = known[hole], known[hole + 1]
        gained = counter[j] - counter[i]
        if gained < 0.0:
            continue
        guess = step[i:j]
        if not np.all(np.isfinite(guess)) or guess.sum() <= 0.0:
            guess = duration[i:j]
        step[i:j] = guess * gained / guess.sum()
