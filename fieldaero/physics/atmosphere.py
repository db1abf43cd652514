"""The standard atmosphere, and the pressure that an altimeter setting means.

References
----------
.. [1] ISO 2533:1975, Standard Atmosphere; the same as ICAO Doc 7488 and the
   U.S. Standard Atmosphere 1976 below 32 km.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.quantities import Floats, within
from fieldaero.physics.earth import STANDARD_GRAVITY_M_S2

__all__ = ["standard_atmosphere", "station_pressure_pa"]

# Standard atmosphere [1]_.
STANDARD_TEMPERATURE_K = 288.15
STANDARD_PRESSURE_PA = 101325.0
LAPSE_RATE_K_M = 0.0065
DRY_AIR_GAS_CONSTANT_J_KG_K = 287.05287
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


def standard_atmosphere(*, geopotential_height_m: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Temperature, pressure and density of the standard atmosphere's lowest layer.

    Parameters
    ----------
    geopotential_height_m
        Geopotential height [m], -2000 to 11000: the geometric height h above sea level less h^2 / 6356766 m.

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
