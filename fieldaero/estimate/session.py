"""The whole session as the estimators need it: rides, laps and their setups, course, air, energy balance.

Everything that the run sheet names is read and brought together here once; what
is weak about it becomes a warning in plain words.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.errors import RideError
from fieldaero.basics.quantities import Floats
from fieldaero.estimate.energy_balance import EnergyBalance, energy_balance, power_lag_s
from fieldaero.estimate.recording_warnings import recording_warnings
from fieldaero.estimate.session_laps import FoundLaps, found_laps
from fieldaero.laps.course import Course, lap_position_m
from fieldaero.laps.flags import flag_laps
from fieldaero.laps.lap import Lap
from fieldaero.laps.lap_list import LapListing
from fieldaero.laps.sensor_dropouts import false_samples
from fieldaero.laps.track import Track
from fieldaero.physics.earth import MIDDLE_LATITUDE_DEG, normal_gravity_m_s2
from fieldaero.rides import read_ride
from fieldaero.rides.local_positions import is_local
from fieldaero.rides.ride import Ride, check_power
from fieldaero.run_sheet.schema import NOT_USED
from fieldaero.run_sheet.sheet import RunSheet, check_ride_file
from fieldaero.run_sheet.unit_slips import unlikely_air, unlikely_system
from fieldaero.weather.conditions import Conditions, Weather

__all__ = ["Session", "SessionLap", "SessionRide", "open_session", "session_of"]


@dataclass(frozen=True, kw_only=True)
class SessionLap:
    """One lap with its place in the test: which ride (0-based), which setup ("-" for none), whether a whole lap."""

    ride: int
    lap: Lap
    setup: str
    whole: bool

    @property
    def used(self) -> bool:
        """Whether the run sheet gives the lap to a setup."""
        return self.setup != NOT_USED


@dataclass(frozen=True, kw_only=True)
class SessionRide:
    """One ride, its laps and what the estimators need of it, at its n samples.

    Attributes
    ----------
    air_density_kg_m3
        Shape (n,), with the height within the course taken into account.
    position_m
        Along the lap, shape (n,), NaN outside laps.
    false_power
        Whether a flag calls the power of the sample false, shape (n,).
    balance
        In still air or in the constant mean wind of the session.
    power_lag_s
        Lag of power behind speed that was found and corrected.
    """

    ride: Ride
    laps: tuple[SessionLap, ...]
    conditions: Conditions
    air_density_kg_m3: Floats
    position_m: Floats
    false_power: NDArray[np.bool_]
    balance: EnergyBalance
    power_lag_s: float

    @property
    def density_kg_m3(self) -> float:
        """Median density of the air at the course's mean height."""
        return self.conditions.median_density_kg_m3


@dataclass(frozen=True, kw_only=True)
class Session:
    """A test as it was ridden.

    ``found`` holds the laps and the course that they share, ``wind_east_m_s`` and ``wind_north_m_s`` the mean observed
    wind at the rider's height over the used laps, where the air goes to; None where no wind was observed.
    """

    run_sheet: RunSheet
    rides: tuple[SessionRide, ...]
    found: FoundLaps
    gravity_m_s2: float
    wind_east_m_s: float | None
    wind_north_m_s: float | None
    warnings: tuple[str, ...]

    @property
    def course(self) -> Course:
        """The closed road that all laps share."""
        return self.found.course

    @property
    def laps(self) -> tuple[SessionLap, ...]:
        """All laps of all rides, in order."""
        return tuple(lap for ride in self.rides for lap in ride.laps)


def open_session(run_sheet: RunSheet, *, progress: Callable[[str], None] | None = None) -> Session:
    """Read what a run sheet names and bring it together.

    Parameters
    ----------
    run_sheet
        The test on one page.
    progress
        Called with a few words before each longer step.

    Returns
    -------
    The session.

    Raises
    ------
    RideError, RunSheetError, WeatherError
        Where something named cannot be read, or does not fit.
    CannotAnswerError
        Where the rides hold no laps, or not of one course.
    """
    rides = []
    for k, entry in enumerate(run_sheet.rides):
        if progress is not None:
            progress(f"reading {entry.file}")
        check_ride_file(run_sheet, k)
        rides.append(read_ride(entry.path))
    return session_of(run_sheet, rides, progress=progress)


def session_of(
    run_sheet: RunSheet,
    rides: Sequence[Ride],
    *,
    progress: Callable[[str], None] | None = None,
    listings: Sequence[LapListing] | None = None,
    former: Session | None = None,
) -> Session:
    """Bring a run sheet together with its rides, already read, in its order; see :func:`open_session`.

    ``listings`` are the laps of each ride, where they were found before, from the line that all rides share.
    ``former`` is a session of the same rides: its laps, course and flags are taken over where nothing that they depend
    on has changed.  The outcome is the same with and without both.
    """
    say = progress or (lambda _: None)
    warnings: list[str] = [*run_sheet.defaults_used, *unlikely_system(run_sheet.system)]
    for ride in rides:
        warnings += [f"{ride.source.file}: {note}" for note in ride.notes]
        _check_sensors(ride)
    say("finding the laps")
    found = found_laps(run_sheet, rides, listings=listings, former=None if former is None else former.found)
    course = found.course
    observations = run_sheet.observations(date=rides[0].start_time)
    warnings += unlikely_air(observations)
    weather = Weather(observations)
    conditions = [weather.at(ride.time_s, start_time=ride.start_time) for ride in rides]
    for ride in rides:
        warnings += weather.warnings_for(ride.clock(0.0), ride.clock(ride.time_s[-1]))
    gravity = _gravity(run_sheet, rides, course)
    say("looking at each lap")
    before = former if former is not None and former.found is found else None
    flagged = [_flagged(run_sheet, found, k, air.median_density_kg_m3, before) for k, air in enumerate(conditions)]
    wind = _mean_wind(run_sheet, rides, flagged, conditions)
    say("energy balance")
    session_rides = tuple(
        _session_ride(
            found.rides[k],
            found.tracks[k],
            laps=mine,
            air=air,
            run_sheet=run_sheet,
            course=course,
            gravity_m_s2=gravity,
            wind_m_s=wind,
            former=before,
        )
        for k, (mine, air) in enumerate(zip(flagged, conditions, strict=True))
    )
    for of_ride in session_rides:
        used = [lap.lap for lap in of_ride.laps if lap.used]
        warnings += recording_warnings(of_ride.ride, used, balance=of_ride.balance, power_lag_s=of_ride.power_lag_s)
    return Session(
        run_sheet=run_sheet,
        rides=session_rides,
        found=found,
        gravity_m_s2=gravity,
        wind_east_m_s=None if wind is None else wind[0],
        wind_north_m_s=None if wind is None else wind[1],
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _check_sensors(ride: Ride) -> None:
    check_power(ride)
    if not ride.has("speed_m_s"):
        raise RideError(f"{ride.source.file}: no usable speed in this file; record a wheel sensor or satellite speed.")


def _gravity(run_sheet: RunSheet, rides: Sequence[Ride], course: Course) -> float:
    latitude = run_sheet.course.latitude_deg
    line = course.start_line
    if latitude is None and line is not None and not is_local(line.latitude_deg, line.longitude_deg):
        latitude = line.latitude_deg
    height = run_sheet.course.elevation_m
    if height is None:
        altitude = rides[0].column("altitude_m")
        height = float(np.nanmedian(altitude)) if np.isfinite(altitude).any() else 0.0
    return float(
        normal_gravity_m_s2(latitude_deg=MIDDLE_LATITUDE_DEG if latitude is None else latitude, height_m=height)
    )


def _flagged(
    run_sheet: RunSheet, found: FoundLaps, k: int, density: float, former: Session | None
) -> tuple[SessionLap, ...]:
    course = found.course
    flagged: Sequence[Lap]
    if former is not None and former.run_sheet.system == run_sheet.system and density == former.rides[k].density_kg_m3:
        flagged = [lap.lap for lap in former.rides[k].laps]
    else:
        flagged = flag_laps(
            found.rides[k],
            found.laps[k],
            course,
            system=run_sheet.system,
            air_density_kg_m3=density,
            track=found.tracks[k],
        )
    names = run_sheet.rides[k].laps
    return tuple(
        SessionLap(ride=k, lap=lap, setup=name, whole=course.is_whole(lap))
        for lap, name in zip(flagged, names, strict=True)
    )


def _mean_wind(
    run_sheet: RunSheet,
    rides: Sequence[Ride],
    laps: Sequence[Sequence[SessionLap]],
    conditions: Sequence[Conditions],
) -> tuple[float, float] | None:
    east, north = [], []
    for ride, found, air in zip(rides, laps, conditions, strict=True):
        used = np.zeros(len(ride.time_s), dtype=bool)
        for lap in found:
            if lap.used:
                used |= (ride.time_s >= lap.lap.start_s) & (ride.time_s <= lap.lap.end_s)
        at_rider = air.at_rider(roughness_length_m=run_sheet.analysis.roughness_length_m)
        if not used.any() or not np.isfinite(at_rider.wind_east_m_s[used]).all():
            continue
        east.append(at_rider.wind_east_m_s[used])
        north.append(at_rider.wind_north_m_s[used])
    if not east:
        return None
    return float(np.mean(np.concatenate(east))), float(np.mean(np.concatenate(north)))


def _session_ride(
    ride: Ride,
    track: Track,
    *,
    laps: tuple[SessionLap, ...],
    air: Conditions,
    run_sheet: RunSheet,
    course: Course,
    gravity_m_s2: float,
    wind_m_s: tuple[float, float] | None,
    former: Session | None,
) -> SessionRide:
    position = lap_position_m(track, [lap.lap for lap in laps], course)
    density = _density_on_course(air, course, position, gravity_m_s2)
    extra = np.zeros(len(ride.time_s))
    for lap in laps:
        if lap.used:
            inside = (ride.time_s >= lap.lap.start_s) & (ride.time_s < lap.lap.end_s)
            extra[inside] = run_sheet.setup(lap.setup).mass_change_kg
    lost_power, lost_speed = false_samples(ride, [lap.lap for lap in laps], track)
    if former is not None and former.run_sheet.system == run_sheet.system:
        lag = next(r.power_lag_s for r in former.rides if r.ride is ride)
    else:
        lag = power_lag_s(_without(ride, power_w=lost_power, speed_m_s=lost_speed), system=run_sheet.system)
    balance = energy_balance(
        ride,
        system=run_sheet.system,
        air_density_kg_m3=density,
        gravity_m_s2=gravity_m_s2,
        heading_deg=course.heading_deg_at(position),
        wind_east_m_s=0.0 if wind_m_s is None else wind_m_s[0],
        wind_north_m_s=0.0 if wind_m_s is None else wind_m_s[1],
        mass_change_kg=extra,
        power_lag_s=lag,
        false_power=lost_power,
        false_speed=lost_speed,
    )
    return SessionRide(
        ride=ride,
        laps=laps,
        conditions=air,
        air_density_kg_m3=density,
        position_m=position,
        false_power=lost_power,
        balance=balance,
        power_lag_s=lag,
    )


def _without(ride: Ride, **lost: NDArray[np.bool_]) -> Ride:
    """Return the ride with these samples of its columns missing."""
    if not any(samples.any() for samples in lost.values()):
        return ride
    kept = {name: np.where(samples, np.nan, ride.column(name)) for name, samples in lost.items()}
    return replace(ride, table=ride.table.assign(**kept))


def _density_on_course(air: Conditions, course: Course, position: Floats, gravity: float) -> Floats:
    """Density at the samples: the air is observed at the course's mean height, and thins upwards."""
    rho = air.air_density_kg_m3
    if not np.isfinite(course.altitude_m).any():
        return rho
    above = course.altitude_m_at(position) - np.nanmean(course.altitude_m)
    # Hydrostatic, of one temperature: d(rho)/rho = dp/p = -rho g dz/p.
    return np.asarray(rho * (1.0 - np.nan_to_num(above) * rho * gravity / air.pressure_pa))
