"""Times over a course by the equation of motion, for single checks: the product rides several races at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.answers.race.race_time import CourseRun, Race, race_runs
from fieldaero.basics.quantities import Floats


def run_course(race: Race, *, cda_m2: ArrayLike) -> CourseRun:
    """Ride a course with several drag areas, taken in their order."""
    return race_runs([race], cda_m2=[np.atleast_1d(np.asarray(cda_m2, dtype=np.float64)).ravel()])[0]


def course_time_s(race: Race, *, cda_m2: ArrayLike) -> Floats:
    """Time over a course, in the shape of the drag areas."""
    return run_course(race, cda_m2=cda_m2).total_s.reshape(np.shape(cda_m2))


def seconds_over_course(delta_cda_m2: float, *, cda_m2: float, race: Race) -> float:
    """Time that a difference of drag area costs over a course [s]; negative is time saved."""
    before, after = run_course(race, cda_m2=[cda_m2, cda_m2 + delta_cda_m2]).total_s
    return float(after - before)
