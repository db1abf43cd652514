"""The lowest air: pressure with height, standard atmosphere, wind with height; and density.

Density and humidity are worked out in :mod:`fieldaero.physics.moist_air` and offered here too.

References
----------
.. [1] ISO 2533:1975, Standard Atmosphere; the same as ICAO Doc 7488 and the
   U.S. Standard Atmosphere 1976 below 32 km.
.. [2] WMO-No. 8, Guide to Instruments and Methods of Observation (wind with height).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.quantities import Floats, within
from fieldaero.physics.moist_air import (
    KELVIN_AT_0_C,
    DensitySensitivity,
    air_density_kg_m3,
    air_density_sd_kg_m3,
    air_density_sensitivity,
    enhancement_factor,
    pressure_in_range,
    relative_humidity_from_dew_point,
    saturation_vapour_pressure_pa,
    temperature_in_range,
)

__all__ = [
    "DensitySensitivity",
    "air_density_kg_m3",
    "air_density_sd_kg_m3",
    "air_density_sensitivity",
    "enhancement_factor",
    "geopotential_height_m",
    "pressure_at_height_pa",
    "relative_humidity_from_dew_point",
    "saturation_vapour_pressure_pa",
    "standard_atmosphere",
    "station_pressure_pa",
    "wind_at_height_m_s",
]

# Standard atmosphere [1]_.
STANDARD_TEMPERATURE_K = 288.15
STANDARD_PRESSURE_PA = 101325.0
LAPSE_RATE_K_M = 0.0065
DRY_AIR_GAS_CONSTANT_J_KG_K = 287.05287
STANDARD_GRAVITY_M_S2 = 9.80665
EARTH_RADIUS_M = 6356766.0  # the standard atmosphere's, for geopotential height
BAROMETRIC_EXPONENT = DRY_AIR_GAS_CONSTANT_J_KG_K * LAPSE_RATE_K_M / STANDARD_GRAVITY_M_S2  # 0.1902631


def station_pressure_pa(*, altimeter_pa: ArrayLike, elevation_m: ArrayLike) -> Floats:
    """Pressure at a height from an altimeter setting (QNH).

    Parameters
    ----------
    altimeter_pa
        Altimeter setting [Pa], 870 to 1090 hPa.
    elevation_m
        Height above sea level at which the pressure is wanted [m], -500 to 6000.

    Returns
    -------
    Pressure [Pa], in the shape to which the inputs broadcast.

    Raises
    ------
    OutOfRangeError
        Outside those ranges.

    Notes
    -----
    p = [Q^n - p0^n L H / T0]^(1/n), n = R L / g = 0.1902631: what an altimeter
    set to Q shows as H, with the standard atmosphere's constants [1]_.
    The variant of some national services carries 0.3 hPa more and is not used here.

    Examples
    --------
    >>> round(float(station_pressure_pa(altimeter_pa=101325.0, elevation_m=1000.0)) / 100, 2)
    898.75
    """
    Q = within(
        altimeter_pa, quantity="altimeter_pa", low=87000.0, high=109000.0, hint="give pascals: 1013 hPa is 101300 Pa"
    )
    H = within(elevation_m, quantity="elevation_m", low=-500.0, high=6000.0, hint="give metres")
    n = BAROMETRIC_EXPONENT
    lowered = STANDARD_PRESSURE_PA**n * LAPSE_RATE_K_M * H / STANDARD_TEMPERATURE_K
    return np.asarray((Q**n - lowered) ** (1.0 / n))


def pressure_at_height_pa(*, pressure_pa: ArrayLike, height_change_m: ArrayLike, temperature_c: ArrayLike) -> Floats:
    """Pressure a little higher or lower than where it was measured.

    Parameters
    ----------
    pressure_pa, temperature_c
        Pressure [Pa] and air temperature [degC] where they were measured.
    height_change_m
        Height of the wanted place above the measured one [m], -3000 to 3000; negative is lower.

    Returns
    -------
    Pressure [Pa], in the shape to which the inputs broadcast.

    Raises
    ------
    OutOfRangeError
        Outside those ranges.

    Notes
    -----
    p (1 - L dh / T)^(g / R L): hydrostatic balance with the standard lapse rate
    from the real temperature upwards, dry air [1]_.  The vapour it leaves out takes
    at most 0.2 hPa off the 11 hPa of 100 m (saturated air of 30 degC).

    Examples
    --------
    >>> round(float(pressure_at_height_pa(pressure_pa=101325.0, height_change_m=100.0, temperature_c=15.0)))
    100129
    """
    p, t = pressure_in_range(pressure_pa), temperature_in_range(temperature_c)
    dh = within(height_change_m, quantity="height_change_m", low=-3000.0, high=3000.0, hint="give metres")
    return np.asarray(p * (1.0 - LAPSE_RATE_K_M * dh / (t + KELVIN_AT_0_C)) ** (1.0 / BAROMETRIC_EXPONENT))


def geopotential_height_m(*, geometric_height_m: ArrayLike) -> Floats:
    """Geopotential height of a geometric height above sea level.

    Parameters
    ----------
    geometric_height_m
        Height above sea level [m], -2000 to 11000.

    Returns
    -------
    Geopotential height [m], in the shape of the input.

    Raises
    ------
    OutOfRangeError
        Outside that range.

    Notes
    -----
    H = r h / (r + h), r = 6356766 m [1]_.

    Examples
    --------
    >>> round(float(geopotential_height_m(geometric_height_m=3000.0)), 2)
    2998.58
    """
    h = within(geometric_height_m, quantity="geometric_height_m", low=-2000.0, high=11000.0, hint="give metres")
    return np.asarray(EARTH_RADIUS_M * h / (EARTH_RADIUS_M + h))


def standard_atmosphere(*, geopotential_height_m: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Temperature, pressure and density of the standard atmosphere's lowest layer.

    Parameters
    ----------
    geopotential_height_m
        Geopotential height [m], -2000 to 11000; :func:`geopotential_height_m` gives it.

    Returns
    -------
    Temperature [K], pressure [Pa], density [kg/m3], each in the shape of the input.

    Raises
    ------
    OutOfRangeError
        Outside that range.

    Notes
    -----
    T = T0 - L H, p = p0 (T/T0)^(g / R L), rho = p / (R T): dry air as an ideal gas [1]_.

    Examples
    --------
    >>> [round(float(x), 2) for x in standard_atmosphere(geopotential_height_m=1000.0)]
    [281.65, 89874.56, 1.11]
    """
    H = within(geopotential_height_m, quantity="geopotential_height_m", low=-2000.0, high=11000.0, hint="give metres")
    T = STANDARD_TEMPERATURE_K - LAPSE_RATE_K_M * H
    p = STANDARD_PRESSURE_PA * (T / STANDARD_TEMPERATURE_K) ** (1.0 / BAROMETRIC_EXPONENT)
    return np.asarray(T), np.asarray(p), np.asarray(p / (DRY_AIR_GAS_CONSTANT_J_KG_K * T))


def wind_at_height_m_s(
    *,
    wind_speed_m_s: ArrayLike,
    measured_height_m: ArrayLike,
    height_m: ArrayLike = 1.0,
    roughness_length_m: ArrayLike = 0.03,
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
    [2]_ of the module; Wieringa, J. Wind Eng. Ind. Aerodyn. 41 (1992) 357-368 (classes).

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
