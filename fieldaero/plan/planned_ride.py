"""The ride that a plan is made for: a road, a rider, and what a former test says of air and sensors."""

from __future__ import annotations

from dataclasses import replace

from fieldaero.physics.system import System
from fieldaero.plan.assumptions import FormerTest, power_at_speed_w
from fieldaero.plan.expected_error import PlannedRide
from fieldaero.simulator import CourseShape

__all__ = ["CDA_M2", "SPEED_KM_H", "planned_ride"]

CDA_M2, SPEED_KM_H = 0.25, 40.0  # taken where nothing says otherwise


def planned_ride(
    course: CourseShape,
    *,
    mass_kg: float,
    crr: float,
    cda_m2: float | None = None,
    power_w: float | None = None,
    speed_km_h: float | None = None,
    former: FormerTest | None = None,
) -> PlannedRide:
    """Return the ride for :func:`fieldaero.plan.plan.plan_test`; its wind is set there.

    Parameters
    ----------
    course
        Shape and length of the lap.
    mass_kg, crr
        Rider, bike and all carried; rolling resistance.
    cda_m2
        About the baseline's drag area; the former test's, or a usual one, if not given.
    power_w, speed_km_h
        Power at the meter, or else the speed on the flat in still air; a usual speed if neither.
    former
        A test of the same rider, for scatter, air and sensors.

    Examples
    --------
    >>> course = CourseShape(shape="loop", length_m=2000.0)
    >>> planned_ride(course, mass_kg=84.0, crr=0.0045, power_w=250.0).cda_m2
    0.25
    """
    cda = cda_m2 if cda_m2 is not None else (former.cda_m2 if former and former.cda_m2 else CDA_M2)
    ride = PlannedRide(
        course=course, power_w=power_w or 0.0, wind_m_s=0.0, system=System(mass_kg=mass_kg, crr=crr), cda_m2=cda
    )
    if former is not None:
        ride = replace(
            ride,
            lap_scatter_m2=former.lap_scatter_m2,
            slow_share=former.slow_share,
            gust_share=former.gust_share,
            sensors=former.sensors,
        )
    if power_w is None:
        power_w = power_at_speed_w(ride, speed_km_h=SPEED_KM_H if speed_km_h is None else speed_km_h)
    return replace(ride, power_w=power_w)
