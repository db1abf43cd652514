"""The course of a race, from a file or from numbers in the run sheet."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np

from fieldaero.answers.race.profile import CourseProfile, gpx_profile, ride_profile
from fieldaero.rides import read_ride

__all__ = ["course_from_file", "course_from_numbers", "course_numbers"]


def course_from_file(path: str | os.PathLike[str]) -> CourseProfile:
    """Read a course from a GPX file, planned or ridden, or from a ride of another format.

    Raises
    ------
    RideError, OutOfRangeError
        If it holds no course.
    """
    if Path(path).suffix.lower() == ".gpx":
        return gpx_profile(path)
    return ride_profile(read_ride(path, allow_indoor=True))


def course_from_numbers(
    *, distance_m: tuple[float, ...], height_m: tuple[float, ...], heading_deg: tuple[float, ...], name: str
) -> CourseProfile:
    """Return a course from numbers that are smooth already, headings optional.

    Raises
    ------
    OutOfRangeError
        For distances that do not rise, a single point or grades that no road has.
    """
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
