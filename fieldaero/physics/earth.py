"""Gravity, and metres around a place, both on the WGS 84 ellipsoid.

References
----------
.. [1] NIMA TR8350.2, "Department of Defense World Geodetic System 1984", third
   edition (2000), chapter 4: normal gravity, constants.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.quantities import Floats, within

__all__ = ["MIDDLE_LATITUDE_DEG", "STANDARD_GRAVITY_M_S2", "LocalFrame", "normal_gravity_m_s2"]

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of gravity, ISO 80000-3: for what needs no place."""

MIDDLE_LATITUDE_DEG = 45.0
"""For a place that is not known: gravity is then off by at most 0.3 %."""

# WGS 84 [1]_.
SEMI_MAJOR_AXIS_M = 6378137.0
FLATTENING = 1.0 / 298.257223563
ECCENTRICITY_SQUARED = FLATTENING * (2.0 - FLATTENING)
EQUATOR_GRAVITY_M_S2 = 9.7803253359
GRAVITY_FORMULA_CONSTANT = 0.00193185265241
CENTRIFUGAL_RATIO = 0.00344978650684  # omega^2 a^2 b / GM

FRAME_REACH_M = 200_000.0


def _latitude(value: ArrayLike) -> Floats:
    return within(value, quantity="latitude_deg", low=-90.0, high=90.0, hint="give degrees")


def normal_gravity_m_s2(*, latitude_deg: ArrayLike = MIDDLE_LATITUDE_DEG, height_m: ArrayLike = 0.0) -> Floats:
    """Return normal gravity at a latitude and height.

    Parameters
    ----------
    latitude_deg
        Geodetic latitude [deg], -90 to 90.
    height_m
        Height above the ellipsoid [m], -500 to 9000; height above sea level will do,
        100 m of difference are 0.0003 m/s2.

    Returns
    -------
    Acceleration [m/s2], downwards positive, in the shape to which the inputs broadcast.

    Raises
    ------
    OutOfRangeError
        Outside those ranges.

    Notes
    -----
    Somigliana's formula, with the height correction of second order [1]_:
    g0 = ge (1 + k s) / sqrt(1 - e2 s), s = sin^2(latitude);
    g = g0 [1 - 2 (1 + f + m - 2 f s) h/a + 3 h^2/a^2].
    Local anomalies of the real Earth stay within about 0.002 m/s2.

    Examples
    --------
    >>> round(float(normal_gravity_m_s2(latitude_deg=45.0, height_m=1000.0)), 7)
    9.8031129
    """
    s = np.sin(np.radians(_latitude(latitude_deg))) ** 2
    h = within(height_m, quantity="height_m", low=-500.0, high=9000.0, hint="give metres")
    a, f, m = SEMI_MAJOR_AXIS_M, FLATTENING, CENTRIFUGAL_RATIO
    g0 = EQUATOR_GRAVITY_M_S2 * (1.0 + GRAVITY_FORMULA_CONSTANT * s) / np.sqrt(1.0 - ECCENTRICITY_SQUARED * s)
    return np.asarray(g0 * (1.0 - 2.0 / a * (1.0 + f + m - 2.0 * f * s) * h + 3.0 * h**2 / a**2))


@dataclass(frozen=True)
class LocalFrame:
    """Metres east and north of a place: the plane that touches the ellipsoid there.

    Exact in both directions for points on the ellipsoid; a distance d is shown
    short by d^3 / 6 R^2, 4 mm at 10 km.  At height H all real distances are longer by
    H / R (0.03 % at 2000 m), which is why lengths come from the wheel.

    Attributes
    ----------
    latitude_deg, longitude_deg
        The place, east_m = north_m = 0.

    Raises
    ------
    OutOfRangeError
        For a latitude outside -90 to 90 or a longitude outside -360 to 360 degrees, or no number.

    Examples
    --------
    >>> east_m, north_m = LocalFrame(50.0, 8.0).to_metres(50.001, 8.001)
    >>> round(float(east_m), 2), round(float(north_m), 2)
    (71.69, 111.23)
    """

    latitude_deg: float
    longitude_deg: float

    def __post_init__(self) -> None:
        for name, value, limit in (
            ("latitude_deg", self.latitude_deg, 90.0),
            ("longitude_deg", self.longitude_deg, 360.0),
        ):
            if not abs(value) <= limit:
                raise OutOfRangeError(f"{name} is {value:g}; allowed is {-limit:g} to {limit:g} degrees")

    def to_metres(self, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> tuple[Floats, Floats]:
        """East and north [m] of positions given in degrees.

        A position more than 200 km away is a failed fix and becomes NaN: the plane
        says nothing there, and one bad fix must not stop a ride.

        Raises
        ------
        OutOfRangeError
            For a latitude outside -90 to 90 or a longitude outside -360 to 360 degrees.
        """
        lon = within(longitude_deg, quantity="longitude_deg", low=-360.0, high=360.0, hint="give degrees")
        x, y, z = _on_ellipsoid(np.radians(_latitude(latitude_deg)), np.radians(lon))
        origin, axes = self._axes()
        away = np.stack(np.broadcast_arrays(x, y, z), axis=-1) - origin
        local = away @ axes.T
        near = np.sum(away**2, axis=-1) <= FRAME_REACH_M**2
        return np.where(near, local[..., 0], np.nan), np.where(near, local[..., 1], np.nan)

    def to_degrees(self, east_m: ArrayLike, north_m: ArrayLike) -> tuple[Floats, Floats]:
        """Latitude and longitude [deg, -180 to 180] of points given in metres; the inverse of :meth:`to_metres`.

        Raises
        ------
        OutOfRangeError
            For more than 200 km east or north.
        """
        e = within(east_m, quantity="east_m", low=-FRAME_REACH_M, high=FRAME_REACH_M, hint="too far from the frame")
        n = within(north_m, quantity="north_m", low=-FRAME_REACH_M, high=FRAME_REACH_M, hint="too far from the frame")
        e, n = np.broadcast_arrays(e, n)
        origin, axes = self._axes()
        on_plane = origin + e[..., None] * axes[0] + n[..., None] * axes[1]
        # The point on the ellipsoid straight below: (x^2 + y^2)/a^2 + z^2/b^2 = 1, quadratic in the step.
        weight = np.array([1.0, 1.0, 1.0 / (1.0 - ECCENTRICITY_SQUARED)]) / SEMI_MAJOR_AXIS_M**2
        A = np.sum(weight * axes[2] ** 2)
        B = np.sum(weight * axes[2] * on_plane, axis=-1)
        C = np.sum(weight * on_plane**2, axis=-1) - 1.0
        step = -C / (B + np.sqrt(B**2 - A * C))
        x, y, z = np.moveaxis(on_plane + step[..., None] * axes[2], -1, 0)
        latitude = np.arctan2(z, (1.0 - ECCENTRICITY_SQUARED) * np.hypot(x, y))
        return np.degrees(latitude), np.degrees(np.arctan2(y, x))

    def _axes(self) -> tuple[Floats, Floats]:
        lat, lon = math.radians(self.latitude_deg), math.radians(self.longitude_deg)
        origin = np.array(_on_ellipsoid(np.asarray(lat), np.asarray(lon)))
        east = (-math.sin(lon), math.cos(lon), 0.0)
        north = (-math.sin(lat) * math.cos(lon), -math.sin(lat) * math.sin(lon), math.cos(lat))
        up = (math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat))
        return origin, np.array([east, north, up])


def _on_ellipsoid(lat: Floats, lon: Floats) -> tuple[Floats, Floats, Floats]:
    """Earth-centred coordinates [m] of positions [rad] at height 0."""
    N = SEMI_MAJOR_AXIS_M / np.sqrt(1.0 - ECCENTRICITY_SQUARED * np.sin(lat) ** 2)
    x, y = N * np.cos(lat) * np.cos(lon), N * np.cos(lat) * np.sin(lon)
    return x, y, N * (1.0 - ECCENTRICITY_SQUARED) * np.sin(lat)
