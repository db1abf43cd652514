"""A course as a profile: height and direction of travel by distance along the road.

Recorded and planned heights are noisy, and a grade is their derivative.  So they are, in
this order, read off every 10 m, freed of spikes by a running median of five values, and
fitted by a cubic smoothing spline.  On even spacing D such a spline is the filter

    1 / (1 + (w / w_c)^4),    lambda = 1 / (D w_c^4),    w_c = 2 pi / L,

which keeps long hills and halves undulations of length L = 150 m: at 0.3 m of random error
per reading the grade is then good to 0.25 %.  The profile of a joint fit is smooth
as it comes and is taken as it is.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import make_smoothing_spline
from scipy.ndimage import median_filter

from fieldaero.basics.errors import OutOfRangeError, RideError
from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.fit import JointFit
from fieldaero.laps.course import Course
from fieldaero.laps.track import track_of
from fieldaero.physics.earth import SEMI_MAJOR_AXIS_M, LocalFrame
from fieldaero.rides import read_ride
from fieldaero.rides.formats.gpx import read_gpx_line
from fieldaero.rides.ride import Ride

__all__ = [
    "CourseProfile",
    "course_from_file",
    "course_from_numbers",
    "course_numbers",
    "flat_profile",
    "gpx_profile",
    "lap_profile",
    "ride_profile",
    "smoothed_height_m",
]


STEEPEST = 0.35  # the steepest streets of the world, from memory
READ_EVERY_M = 10.0
POINT_EVERY_M = 20.0
SMOOTH_OVER_M = 150.0
MEDIAN_OF = 5
LONGEST_M = 1_000_000.0
NEAREST_POINTS_M = 1.0
CHORD_M = 20.0


@dataclass(frozen=True, kw_only=True)
class CourseProfile:
    """A road from start to finish.

    Distance is along the road, as a wheel counts, shape (n,), n >= 2, rising from 0; between two points the grade is
    constant.  ``heading_deg`` is the direction of travel between two points, clockwise from north, shape (n - 1,), NaN
    where unknown.
    """

    distance_m: Floats
    height_m: Floats
    heading_deg: Floats
    name: str = "course"

    def __post_init__(self) -> None:
        d, z = self.distance_m, self.height_m
        if d.ndim != 1 or len(d) < 2:
            raise OutOfRangeError(f"{self.name}: {d.size} points; a course needs at least 2, its start and its finish")
        if z.shape != d.shape or self.heading_deg.shape != (len(d) - 1,):
            raise OutOfRangeError(
                f"{self.name}: {len(d)} distances, {z.size} heights and {self.heading_deg.size} headings; needed are "
                "as many heights as distances and one heading less"
            )
        back = np.flatnonzero(~(np.diff(d) > 0.0))
        if len(back):
            i = int(back[0])
            raise OutOfRangeError(
                f"{self.name}: the distance goes from {d[i]:g} to {d[i + 1]:g} m at point {i + 2}; distances must rise "
                "from point to point: put the points in the order of travel and leave repeated ones out"
            )
        if d[0] != 0.0 or not d[-1] <= LONGEST_M:
            raise OutOfRangeError(
                f"{self.name}: distances from {d[0]:g} to {d[-1]:g} m; allowed are 0 at the start and up to "
                f"{LONGEST_M / 1000.0:g} km: give metres"
            )
        wrong = np.flatnonzero(~((z >= -500.0) & (z <= 9000.0)))
        if len(wrong):
            i = int(wrong[0])
            raise OutOfRangeError(
                f"{self.name}: the height at {d[i] / 1000.0:.2f} km is {z[i]:g}; allowed is -500 to 9000 m"
            )
        steep = np.abs(self.grade)
        i = int(np.argmax(steep))
        if not steep[i] <= STEEPEST:
            raise OutOfRangeError(
                f"{self.name}: a grade of {100.0 * float(self.grade[i]):.0f} % at {d[i] / 1000.0:.2f} km; allowed is "
                f"up to {100.0 * STEEPEST:.0f} % either way: check the heights there, or smooth them over a longer way"
            )

    @property
    def length_m(self) -> float:
        """Length of the road."""
        return float(self.distance_m[-1])

    @property
    def grade(self) -> Floats:
        """Rise over run between two points, shape (n - 1,); infinite where the road rises more than its own length."""
        rise, way = np.diff(self.height_m), np.diff(self.distance_m)
        run = np.sqrt(np.maximum(way**2 - rise**2, 0.0))
        with np.errstate(divide="ignore"):
            return np.where(rise == 0.0, 0.0, rise / run)

    @property
    def ascent_m(self) -> float:
        """Sum of all that goes up."""
        return float(np.sum(np.maximum(np.diff(self.height_m), 0.0)))


def flat_profile(*, distance_km: float, heading_deg: float | None = None) -> CourseProfile:
    """Return a flat straight road.

    ``heading_deg`` is the direction of travel, for the wind.

    Examples
    --------
    >>> flat_profile(distance_km=40.0).length_m
    40000.0
    """
    if not 0.0 < distance_km <= LONGEST_M / 1000.0:
        raise OutOfRangeError(
            f"distance_km is {distance_km:g}; allowed is above 0 and up to {LONGEST_M / 1000:g} km: give kilometres"
        )
    heading = np.nan if heading_deg is None else heading_deg % 360.0
    return CourseProfile(
        distance_m=np.array([0.0, 1000.0 * distance_km]),
        height_m=np.zeros(2),
        heading_deg=np.array([heading]),
        name=f"flat {distance_km:g} km",
    )


def smoothed_height_m(
    distance_m: ArrayLike, height_m: ArrayLike, *, smooth_over_m: float = SMOOTH_OVER_M
) -> tuple[Floats, Floats]:
    """Distances every 20 m or so, and smoothed heights there; the module says how.

    Distances rise, heights are free of NaN, shape (n,), n >= 2.  ``smooth_over_m`` is the length L of the undulations
    that are halved; 0 takes out nothing.

    Examples
    --------
    >>> d, z = smoothed_height_m([0.0, 500.0, 1000.0], [0.0, 10.0, 20.0])
    >>> len(d), [round(float(x) + 0.0, 3) for x in z[[25, 50]]]
    (51, [10.0, 20.0])
    """
    if not 0.0 <= smooth_over_m <= 5000.0:
        raise OutOfRangeError(f"smooth_over_m is {smooth_over_m:g}; allowed is 0 to 5000 m")
    d, z = np.asarray(distance_m, dtype=np.float64), np.asarray(height_m, dtype=np.float64)
    length = float(d[-1] - d[0])
    grid = np.linspace(d[0], d[-1], max(2, round(length / READ_EVERY_M) + 1))
    points = np.linspace(d[0], d[-1], max(2, round(length / POINT_EVERY_M) + 1))
    if smooth_over_m == 0.0 or len(grid) < MEDIAN_OF:
        return points, np.interp(points, d, z)
    even = np.interp(grid, d, z)
    # At the ends the median of a slope would level it, so there the readings stay.
    inner = slice(MEDIAN_OF // 2, -(MEDIAN_OF // 2))
    even[inner] = median_filter(even, size=MEDIAN_OF, mode="nearest")[inner]
    step = grid[1] - grid[0]
    spline = make_smoothing_spline(grid, even, lam=(smooth_over_m / (2.0 * np.pi)) ** 4 / step)
    return points, np.asarray(spline(points))


def ride_profile(ride: Ride, *, smooth_over_m: float = SMOOTH_OVER_M) -> CourseProfile:
    """Return the road of a ride, from its first to its last sample.

    Distance is from the wheel, headings are from positions where there are any.
    """
    track, altitude = track_of(ride), ride.column("altitude_m")
    # Samples of a standstill lie on one place and would bend the profile there.
    use = np.isfinite(altitude) & (np.diff(track.distance_m, prepend=-np.inf) > 0.0)
    if np.count_nonzero(use) < 2:
        raise RideError(
            f"{ride.source.file}: {np.count_nonzero(use)} samples with an altitude on the way; a profile needs at "
            "least 2. Give a file with altitudes, or take a flat course."
        )
    d = np.concatenate([[0.0], track.distance_m[use], [track.length_m]])
    z = np.concatenate([altitude[use][:1], altitude[use], altitude[use][-1:]])
    keep = np.diff(d, prepend=-np.inf) > 0.0
    points, height = smoothed_height_m(d[keep], z[keep], smooth_over_m=smooth_over_m)
    return CourseProfile(
        distance_m=points,
        height_m=height,
        heading_deg=track.heading_at_deg((points[:-1] + points[1:]) / 2.0, chord_m=CHORD_M),
        name=ride.source.file,
    )


def gpx_profile(path: str | os.PathLike[str], *, smooth_over_m: float = SMOOTH_OVER_M) -> CourseProfile:
    """Return the road of a GPX track or route; a planned one without times will do.

    A planned one without times will do.  A recording is better read as a ride, which takes its distance from the
    wheel: positions that wander make a road longer.

    Notes
    -----
    Distances on the ellipsoid, lengthened by the height (1 + h / a) and by the slope.
    """
    line = read_gpx_line(path)
    known = np.isfinite(line.latitude_deg) & np.isfinite(line.longitude_deg)
    latitude, longitude, altitude = line.latitude_deg[known], line.longitude_deg[known], line.altitude_m[known]
    has_height = np.isfinite(altitude)
    if np.count_nonzero(has_height) < 2:
        raise RideError(
            f"{line.file}: {np.count_nonzero(has_height)} points with position and elevation; a profile needs at least "
            "2. Export the course with elevations, or take a flat course."
        )
    # Longitudes counted from the first one, so that the date line splits no course.
    longitude = longitude[0] + (longitude - longitude[0] + 180.0) % 360.0 - 180.0
    frame = LocalFrame(float(np.ptp(latitude) / 2 + latitude.min()), float(np.ptp(longitude) / 2 + longitude.min()))
    east, north = frame.to_metres(latitude, longitude)
    if not np.all(np.isfinite(east)):
        raise OutOfRangeError(
            f"{line.file}: points more than 200 km from the middle of the course; cut it into shorter ones"
        )
    step = np.hypot(np.diff(east, prepend=np.nan), np.diff(north, prepend=np.nan))
    keep = np.concatenate([[True], step[1:] > NEAREST_POINTS_M])
    east, north, altitude, has_height = east[keep], north[keep], altitude[keep], has_height[keep]
    if len(east) < 2 or np.count_nonzero(has_height) < 2:
        raise RideError(f"{line.file}: all points lie at one place; a course needs at least 2 places")
    level = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    height = np.interp(level, level[has_height], altitude[has_height])
    points, smooth = smoothed_height_m(level, height, smooth_over_m=smooth_over_m)
    run = np.diff(points) * (1.0 + (smooth[1:] + smooth[:-1]) / 2.0 / SEMI_MAJOR_AXIS_M)
    x, y = np.interp(points, level, east), np.interp(points, level, north)
    return CourseProfile(
        distance_m=np.concatenate([[0.0], np.cumsum(np.hypot(run, np.diff(smooth)))]),
        height_m=smooth,
        heading_deg=np.degrees(np.arctan2(np.diff(x), np.diff(y))) % 360.0,
        name=line.file,
    )


def lap_profile(fit: JointFit, course: Course, *, distance_km: float | None = None) -> CourseProfile:
    """Return the road that a joint fit found, ridden as often as a distance needs.

    Heights gained per cell need no altimeter.  The last lap ends where the distance is reached; without one it is a
    single lap.
    """
    cells = fit.segments.cells
    edge, rise = cells.edge_m, fit.cell_height_m
    lap_m = float(edge[-1])
    if course.closed:
        # What the fit leaves open after a lap is its own uncertainty, and must not pile up.
        rise = rise - rise.sum() * np.diff(edge) / lap_m
    way_m = lap_m if distance_km is None else 1000.0 * distance_km
    most_m = LONGEST_M if course.closed else lap_m
    if not 0.0 < way_m <= most_m:
        raise OutOfRangeError(
            f"distance_km is {way_m / 1000.0:g}; allowed is above 0 and up to {most_m / 1000.0:g} km"
            + ("" if course.closed else ", as the finish of this course is not its start")
        )
    laps = max(1, int(np.ceil(way_m / lap_m - 1e-12)))
    ends = (np.arange(laps)[:, None] * lap_m + edge[None, 1:]).ravel()
    d = np.concatenate([[0.0], ends])
    z = np.concatenate([[0.0], np.cumsum(np.tile(rise, laps))])
    heading = np.tile(course.heading_deg_at(cells.middle_m * course.length_m / lap_m), laps)
    last = int(np.searchsorted(d, way_m * (1.0 - 1e-12)))
    z[last] = np.interp(way_m, d, z)
    d[last] = way_m
    return CourseProfile(
        distance_m=d[: last + 1],
        height_m=z[: last + 1],
        heading_deg=heading[:last],
        name=f"{laps} laps of the course" if laps > 1 else "one lap of the course",
    )


def course_from_file(path: str | os.PathLike[str]) -> CourseProfile:
    """Read a course from a GPX file, planned or ridden, or from a ride of another format."""
    if Path(path).suffix.lower() == ".gpx":
        return gpx_profile(path)
    return ride_profile(read_ride(path, allow_indoor=True))


def course_from_numbers(
    *, distance_m: tuple[float, ...], height_m: tuple[float, ...], heading_deg: tuple[float, ...], name: str
) -> CourseProfile:
    """Return a course from numbers that are smooth already, headings optional."""
    d = np.asarray(distance_m, dtype=np.float64)
    heading = np.asarray(heading_deg, dtype=np.float64) if heading_deg else np.full(max(len(d) - 1, 0), np.nan)
    return CourseProfile(distance_m=d, height_m=np.asarray(height_m, dtype=np.float64), heading_deg=heading, name=name)


def course_numbers(profile: CourseProfile) -> dict[str, Any]:
    """Return a course as numbers for a run sheet: centimetres of height, tenths of a degree; no place is in them."""
    heading = profile.heading_deg
    numbers: dict[str, Any] = {
        "distance_m": np.round(profile.distance_m, 1).tolist(),
        "height_m": np.round(profile.height_m - profile.height_m[0], 2).tolist(),
    }
    if np.isfinite(heading).all():
        numbers["heading_deg"] = np.round(heading, 1).tolist()
    return numbers
