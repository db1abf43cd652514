"""The air flow as a rider meets it: wind resolved along the road, yaw, and two drag-area conventions.

The air flows along the bike with u = v - (wind along the direction of travel, a
tail wind positive) and across it with c; V = sqrt(u^2 + c^2), yaw = atan2(c, u).
Positive across means air that comes from the rider's right, so yaw is the bearing
of the air flow as the rider meets it, clockwise from straight ahead.

A body-axis drag area, the wind tunnel's, is the force along the bike over
1/2 rho V^2.  The 1998 road-power paper [1]_ squares u in its place.  The two
differ by cos^2 of the yaw, 3 % at 10 deg.

References
----------
.. [1] Martin, Milliken, Cobb, McFadden, Coggan, "Validation of a mathematical model
   for road cycling power", J. Appl. Biomech. 14(3) (1998) 276-291,
   doi 10.1123/jab.14.3.276.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.quantities import Floats, within

__all__ = ["RelativeAir", "axial_cda_m2", "body_cda_m2", "relative_air", "wind_along_across"]


@dataclass(frozen=True, kw_only=True)
class RelativeAir:
    """Air flow as the rider meets it; arrays of one shape.

    Attributes
    ----------
    axial_m_s
        Along the bike, positive from ahead.
    air_speed_m_s
        Magnitude of the flow, never negative.
    yaw_deg
        Angle between flow and direction of travel, -180 to 180, positive from the right.
    """

    axial_m_s: Floats
    air_speed_m_s: Floats
    yaw_deg: Floats


def speed_in_range(value: ArrayLike, quantity: str) -> Floats:
    """Speed [m/s], not negative, as float64, inside its range."""
    return within(value, quantity=quantity, low=0.0, high=100.0, hint="give metres per second: 36 km/h is 10")


def wind_in_range(value: ArrayLike, quantity: str) -> Floats:
    """Wind component [m/s] as float64, inside its range."""
    return within(value, quantity=quantity, low=-100.0, high=100.0, hint="give metres per second")


def wind_along_across(
    *, wind_speed_m_s: ArrayLike, wind_from_deg: ArrayLike, heading_deg: ArrayLike
) -> tuple[Floats, Floats]:
    """Resolve a wind into its parts along and across the direction of travel.

    Parameters
    ----------
    wind_speed_m_s, wind_from_deg
        Wind speed [m/s] and the direction it comes from [deg clockwise from north].
    heading_deg
        Direction of travel [deg clockwise from north]; all shapes broadcast.

    Returns
    -------
    Wind along the travel [m/s], a tail wind positive; wind across it [m/s], positive
    from the rider's right.

    Raises
    ------
    OutOfRangeError
        For a wind speed outside 0 to 100 m/s or an angle outside -360 to 720 deg.

    Notes
    -----
    along = -W cos(from - heading), across = W sin(from - heading); equations of [1]_ of the module.

    Examples
    --------
    >>> along, across = wind_along_across(wind_speed_m_s=2.94, wind_from_deg=310.0, heading_deg=340.0)
    >>> round(float(along), 3), round(float(across), 3)
    (-2.546, -1.47)
    """
    W = speed_in_range(wind_speed_m_s, "wind_speed_m_s")
    origin = within(wind_from_deg, quantity="wind_from_deg", low=-360.0, high=720.0, hint="give degrees")
    heading = within(heading_deg, quantity="heading_deg", low=-360.0, high=720.0, hint="give degrees")
    angle = np.radians(origin - heading)
    return np.asarray(-W * np.cos(angle)), np.asarray(W * np.sin(angle))


def relative_air(
    *, speed_m_s: ArrayLike, wind_along_m_s: ArrayLike = 0.0, wind_across_m_s: ArrayLike = 0.0
) -> RelativeAir:
    """Air flow as the rider meets it.

    Parameters
    ----------
    speed_m_s
        Ground speed [m/s], 0 to 100.
    wind_along_m_s, wind_across_m_s
        Wind along the travel [m/s], a tail wind positive, and across it, from the right positive.

    Returns
    -------
    Axial flow u, magnitude V and yaw, in the shape to which the inputs broadcast.

    Raises
    ------
    OutOfRangeError
        Outside those ranges.

    Notes
    -----
    u = v - along, V = sqrt(u^2 + c^2), yaw = atan2(c, u).

    Examples
    --------
    >>> air = relative_air(speed_m_s=8.0, wind_along_m_s=-2.0, wind_across_m_s=1.0)
    >>> round(float(air.air_speed_m_s), 3), round(float(air.yaw_deg), 2)
    (10.05, 5.71)
    """
    v, along = speed_in_range(speed_m_s, "speed_m_s"), wind_in_range(wind_along_m_s, "wind_along_m_s")
    u, c = np.broadcast_arrays(v - along, wind_in_range(wind_across_m_s, "wind_across_m_s"))
    return RelativeAir(
        axial_m_s=np.array(u),
        air_speed_m_s=np.asarray(np.hypot(u, c)),
        yaw_deg=np.asarray(np.degrees(np.arctan2(c, u))),
    )


def _cos_squared(yaw_deg: ArrayLike) -> Floats:
    yaw = within(yaw_deg, quantity="yaw_deg", low=-80.0, high=80.0, hint="the axial convention fails near 90 deg")
    return np.asarray(np.cos(np.radians(yaw)) ** 2)


def axial_cda_m2(*, cda_m2: ArrayLike, yaw_deg: ArrayLike) -> Floats:
    """Convert a body-axis drag area to the convention that squares the axial air speed.

    Parameters
    ----------
    cda_m2
        Force along the bike over 1/2 rho V^2 [m2]: the tunnel's, and this package's.
    yaw_deg
        Yaw at which it holds [deg], -80 to 80.

    Returns
    -------
    Force along the bike over 1/2 rho u^2 [m2], as in [1]_ of the module; the larger one, in the
    shape to which the inputs broadcast.

    Raises
    ------
    OutOfRangeError
        For a yaw outside that range.

    Notes
    -----
    u = V cos(yaw), hence CdA_axial = CdA / cos^2(yaw).

    Examples
    --------
    >>> round(float(axial_cda_m2(cda_m2=0.25, yaw_deg=10.0)), 4)
    0.2578
    """
    return np.asarray(np.asarray(cda_m2, dtype=np.float64) / _cos_squared(yaw_deg))


def body_cda_m2(*, axial_cda_m2: ArrayLike, yaw_deg: ArrayLike) -> Floats:
    """Convert a drag area that belongs to the squared axial air speed to body axes.

    Parameters
    ----------
    axial_cda_m2
        Force along the bike over 1/2 rho u^2 [m2].
    yaw_deg
        Yaw at which it holds [deg], -80 to 80.

    Returns
    -------
    Force along the bike over 1/2 rho V^2 [m2], in the shape to which the inputs broadcast.

    Raises
    ------
    OutOfRangeError
        For a yaw outside that range.

    Notes
    -----
    CdA = CdA_axial cos^2(yaw); the inverse of :func:`axial_cda_m2`.

    Examples
    --------
    >>> round(float(body_cda_m2(axial_cda_m2=0.2609, yaw_deg=7.67)), 4)
    0.2563
    """
    return np.asarray(np.asarray(axial_cda_m2, dtype=np.float64) * _cos_squared(yaw_deg))
