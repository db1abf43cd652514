"""The wind: its change with height, as a vector, and as a rider meets it.

As a vector the wind is where the air goes, its parts to the east and to the north.  People
say where it comes from: :func:`wind_from_deg` and :func:`wind_east_north_m_s` turn one into
the other.

Along the road a tail wind is positive, across it a wind from the rider's right.  The air
flows along the bike with u = v - along and across it with c; V = sqrt(u^2 + c^2), and
yaw = atan2(c, u) is its bearing as the rider meets it, clockwise from straight ahead.

References
----------
.. [1] WMO-No. 8, Guide to Instruments and Methods of Observation (wind with height).
.. [2] Martin, Milliken, Cobb, McFadden, Coggan, "Validation of a mathematical model
   for road cycling power", J. Appl. Biomech. 14(3) (1998) 276-291,
   doi 10.1123/jab.14.3.276 (along and across).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.quantities import Floats, within

__all__ = [
    "OPEN_GRASS_M",
    "RIDER_HEIGHT_M",
    "wind_along_across",
    "wind_at_height_m_s",
    "wind_east_north_m_s",
    "wind_from_deg",
]

RIDER_HEIGHT_M = 1.0
"""Middle of rider and bike above the road; common practice, no source."""

OPEN_GRASS_M = 0.03
"""Roughness length of open grass (WMO-No. 8), taken where a run sheet says nothing else."""


def wind_at_height_m_s(
    *,
    wind_speed_m_s: ArrayLike,
    measured_height_m: ArrayLike,
    height_m: ArrayLike = RIDER_HEIGHT_M,
    roughness_length_m: ArrayLike = OPEN_GRASS_M,
) -> Floats:
    """Wind speed at another height over open ground, by the logarithmic law.

    Parameters
    ----------
    wind_speed_m_s, measured_height_m
        Mean wind speed [m/s] and the height at which it was measured [m].
    height_m
        Height at which it is wanted [m]; a rider's is about 1 m.
    roughness_length_m
        0.0002 open water, 0.005 smooth, 0.03 open grass, 0.1 low crops, 0.25 rough,
        0.5 very rough, 1 closed (Davenport-Wieringa classes) [m].

    Returns
    -------
    Mean wind speed [m/s], in the shape to which the inputs broadcast.

    Raises
    ------
    OutOfRangeError
        For a negative speed, a roughness length outside 1e-5 to 2 m, or a height
        outside 0.1 to 300 m or not above the roughness length.

    Notes
    -----
    u(z) = u(z_ref) ln(z / z0) / ln(z_ref / z0), neutral air.  The law holds above
    about 20 z0, so at 1 m it is fair for z0 up to 0.05 m and a guess beyond.  In
    light wind and sun the profile is flatter and the direction turns with height.

    References
    ----------
    [1]_ of the module; Wieringa, J. Wind Eng. Ind. Aerodyn. 41 (1992) 357-368 (classes).

    Examples
    --------
    >>> round(float(wind_at_height_m_s(wind_speed_m_s=3.0, measured_height_m=10.0)), 3)
    1.811
    """
    U = within(wind_speed_m_s, quantity="wind_speed_m_s", low=0.0, high=100.0, hint="give metres per second")
    z0 = within(roughness_length_m, quantity="roughness_length_m", low=1e-5, high=2.0, hint="open grass is 0.03 m")
    z_ref = within(measured_height_m, quantity="measured_height_m", low=0.1, high=300.0, hint="give metres")
    z = within(height_m, quantity="height_m", low=0.1, high=300.0, hint="give metres")
    for name, height in (("height_m", z), ("measured_height_m", z_ref)):
        if np.any(height <= z0):
            raise OutOfRangeError(
                f"{name} is {np.min(height):g}; it must lie above roughness_length_m {np.max(z0):g}, "
                "and above 20 times it for the law to hold"
            )
    return np.asarray(U * np.log(z / z0) / np.log(z_ref / z0))


def wind_east_north_m_s(*, wind_speed_m_s: ArrayLike, wind_from_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Return the wind as a vector: where the air goes.

    Parameters
    ----------
    wind_speed_m_s, wind_from_deg
        Wind speed [m/s], 0 to 100, and the direction it comes from [deg clockwise from north], -360 to 720.

    Returns
    -------
    Parts to the east and to the north [m/s], in the shape to which the inputs broadcast.

    Raises
    ------
    OutOfRangeError
        Outside those ranges.

    Examples
    --------
    >>> east, north = wind_east_north_m_s(wind_speed_m_s=2.0, wind_from_deg=270.0)
    >>> round(float(east), 9), round(float(north), 9)
    (2.0, 0.0)
    """
    W = within(wind_speed_m_s, quantity="wind_speed_m_s", low=0.0, high=100.0, hint="give metres per second")
    origin = within(wind_from_deg, quantity="wind_from_deg", low=-360.0, high=720.0, hint="give degrees")
    turn = np.radians(origin)
    return np.asarray(-W * np.sin(turn)), np.asarray(-W * np.cos(turn))


def wind_from_deg(*, wind_east_m_s: ArrayLike, wind_north_m_s: ArrayLike) -> Floats:
    """Return where a wind comes from.

    Parameters
    ----------
    wind_east_m_s, wind_north_m_s
        Where the air goes [m/s].

    Returns
    -------
    Direction [deg clockwise from north, 0 to 360], 0 for a calm, in the shape to which the inputs broadcast.

    Examples
    --------
    >>> float(wind_from_deg(wind_east_m_s=2.0, wind_north_m_s=0.0))
    270.0
    """
    # Plus zero: a calm of minus zero would come from 180 degrees.
    east, north = 0.0 - np.asarray(wind_east_m_s), 0.0 - np.asarray(wind_north_m_s)
    return np.asarray(np.degrees(np.arctan2(east, north)) % 360.0)


def wind_along_across(
    *, wind_east_m_s: ArrayLike, wind_north_m_s: ArrayLike, heading_deg: ArrayLike
) -> tuple[Floats, Floats]:
    """Resolve a wind into its parts along and across the direction of travel.

    Parameters
    ----------
    wind_east_m_s, wind_north_m_s
        Where the air goes [m/s].
    heading_deg
        Direction of travel [deg clockwise from north]; all shapes broadcast.

    Returns
    -------
    Wind along the travel [m/s], a tail wind positive; wind across it [m/s], positive
    from the rider's right.

    Notes
    -----
    With W, from the speed and origin of the wind: along = -W cos(from - heading),
    across = W sin(from - heading); equations of [2]_ of the module.

    Examples
    --------
    >>> east, north = wind_east_north_m_s(wind_speed_m_s=2.94, wind_from_deg=310.0)
    >>> along, across = wind_along_across(wind_east_m_s=east, wind_north_m_s=north, heading_deg=340.0)
    >>> round(float(along), 3), round(float(across), 3)
    (-2.546, -1.47)
    """
    east, north = np.asarray(wind_east_m_s, dtype=np.float64), np.asarray(wind_north_m_s, dtype=np.float64)
    turn = np.radians(heading_deg)
    sin, cos = np.sin(turn), np.cos(turn)
    return np.asarray(east * sin + north * cos), np.asarray(north * sin - east * cos)
