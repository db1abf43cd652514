"""Density of moist air, and the humidity that goes into it.

Density follows CIPM-2007, the equation with which the national institutes of
metrology correct for the buoyancy of air: a real gas with water vapour and carbon
dioxide in it,

    rho = p Ma / (Z R T) * [1 - xv (1 - Mv/Ma)],    xv = h f(p, t) psv(t) / p

Its stated range is 600 to 1100 hPa and 15 to 27 degC.  Here it is accepted from
-40 to 60 degC and 300 to 1100 hPa.  Against the moist-air model of CoolProp 8.0.0 it
lies low by 2e-5 to 5e-5 from 0 to 40 degC and 600 to 1100 hPa at any humidity (6e-5 at
300 hPa), by up to 6e-4 in saturated air of 60 degC and 600 hPa (1.6e-3 at 300 hPa), and
by 3e-5 to 7e-5 in dry air below 0 degC; humid air below 0 degC differs by up to 4e-4
because CoolProp counts humidity over ice and this module over water.  A thermometer in
the field is worse by far: 1 K is 3.5e-3.

References
----------
.. [1] Picard, Davis, Glaeser, Fujii, "Revised formula for the density of moist
   air (CIPM-2007)", Metrologia 45 (2008) 149-155, doi 10.1088/0026-1394/45/2/004.
   Constants read in several public transcriptions that agree with each other.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.quantities import Floats, within

__all__ = [
    "USUAL_AIR_DENSITY_KG_M3",
    "air_density_kg_m3",
    "air_density_sd_kg_m3",
    "enhancement_factor",
    "relative_humidity_from_dew_point",
    "saturation_vapour_pressure_pa",
]

USUAL_AIR_DENSITY_KG_M3 = 1.2  # near the ground, as long as nothing of the weather is known
KELVIN_AT_0_C = 273.15

# CIPM-2007 [1]_.  The gas constant is the paper's own of 2007: the one of 2018 would
# move rho by 1e-6 and away from the published equation.
GAS_CONSTANT_J_MOL_K = 8.314472
WATER_KG_MOL = 18.01528e-3
DRY_AIR_KG_MOL = 28.96546e-3  # at a carbon dioxide fraction of 0.0004; each 0.0001 more adds 1.2e-6 kg/mol
CIPM_2007_RELATIVE_SD = 22e-6


def temperature_in_range(value: ArrayLike, quantity: str = "temperature_c") -> Floats:
    """Air temperature [degC] as float64, inside the range of this module."""
    return within(value, quantity=quantity, low=-40.0, high=60.0, hint="give degrees Celsius")


def pressure_in_range(value: ArrayLike, quantity: str = "pressure_pa") -> Floats:
    """Air pressure [Pa] as float64, inside the range of this module."""
    return within(value, quantity=quantity, low=30000.0, high=110000.0, hint="give pascals: 1013.25 hPa is 101325 Pa")


def _humidity(value: ArrayLike) -> Floats:
    return within(value, quantity="relative_humidity", low=0.0, high=1.0, hint="give a fraction: 60 % is 0.6")


def saturation_vapour_pressure_pa(*, temperature_c: ArrayLike) -> Floats:
    """Vapour pressure of saturated moist air over liquid water, without air above it.

    Parameters
    ----------
    temperature_c
        Air temperature or dew point [degC], any shape.

    Returns
    -------
    Pressure [Pa], same shape.

    Raises
    ------
    OutOfRangeError
        Outside -40 to 60 degC, the range this module accepts.

    Notes
    -----
    psv = 1 Pa exp(A T^2 + B T + C + D/T), A = 1.2378847e-5, B = -1.9121316e-2,
    C = 33.93711047, D = -6.3431645e3, from [1]_ of the module.
    Below 0 degC it stays the one over supercooled water, as in weather reports.

    Examples
    --------
    >>> round(float(saturation_vapour_pressure_pa(temperature_c=20.0)), 2)
    2339.16
    """
    return np.asarray(_saturation(temperature_in_range(temperature_c)))


def _saturation(t: Floats) -> Floats:
    T = t + KELVIN_AT_0_C
    return np.exp(1.2378847e-5 * T**2 - 1.9121316e-2 * T + 33.93711047 - 6.3431645e3 / T)


def enhancement_factor(*, temperature_c: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Factor by which air above the water raises its vapour pressure, about 1.004 at sea level.

    Parameters
    ----------
    temperature_c, pressure_pa
        Air temperature [degC] and pressure [Pa], shapes that broadcast.

    Returns
    -------
    Bare factor.

    Raises
    ------
    OutOfRangeError
        Outside -40 to 60 degC or 300 to 1100 hPa.

    Notes
    -----
    f = 1.00062 + 3.14e-8 p + 5.6e-7 t^2, p in Pa and t in degC; [1]_ of the module.

    Examples
    --------
    >>> round(float(enhancement_factor(temperature_c=20.0, pressure_pa=101325.0)), 6)
    1.004026
    """
    return np.asarray(_enhancement(temperature_in_range(temperature_c), pressure_in_range(pressure_pa)))


def _enhancement(t: Floats, p: Floats) -> Floats:
    return 1.00062 + 3.14e-8 * p + 5.6e-7 * t**2


def air_density_kg_m3(*, temperature_c: ArrayLike, pressure_pa: ArrayLike, relative_humidity: ArrayLike) -> Floats:
    """Density of moist air by CIPM-2007.

    Parameters
    ----------
    temperature_c, pressure_pa
        Air temperature [degC] and pressure at the place itself [Pa], not reduced to sea level.
    relative_humidity
        Bare fraction, over liquid water; all shapes broadcast.

    Returns
    -------
    Density [kg/m3].

    Raises
    ------
    OutOfRangeError
        Outside -40 to 60 degC, 300 to 1100 hPa, humidity 0 to 1.

    Notes
    -----
    Equation, stated range and its agreement with an independent model: module docstring.
    Relative standard uncertainty of the equation itself 22e-6.

    Examples
    --------
    >>> round(float(air_density_kg_m3(temperature_c=20.0, pressure_pa=101325.0, relative_humidity=0.5)), 6)
    1.199314
    """
    t, p, h = temperature_in_range(temperature_c), pressure_in_range(pressure_pa), _humidity(relative_humidity)
    return np.asarray(_density(t, p, h))


def _density(t: Floats, p: Floats, h: Floats) -> Floats:
    T = t + KELVIN_AT_0_C
    xv = h * _enhancement(t, p) * _saturation(t) / p
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
    first = first + (5.707e-6 - 2.051e-8 * t) * xv + (1.9898e-4 - 2.376e-6 * t) * xv**2
    Z = 1.0 - p / T * first + (p / T) ** 2 * (1.83e-11 - 0.765e-8 * xv**2)
    return p * DRY_AIR_KG_MOL / (Z * GAS_CONSTANT_J_MOL_K * T) * (1.0 - xv * (1.0 - WATER_KG_MOL / DRY_AIR_KG_MOL))


def air_density_sd_kg_m3(
    *,
    temperature_c: ArrayLike,
    pressure_pa: ArrayLike,
    relative_humidity: ArrayLike,
    temperature_sd_c: ArrayLike,
    pressure_sd_pa: ArrayLike,
    relative_humidity_sd: ArrayLike,
) -> Floats:
    """Return the standard uncertainty of air density from those of its inputs.

    Parameters
    ----------
    temperature_c, pressure_pa, relative_humidity
        As for :func:`air_density_kg_m3`.
    temperature_sd_c, pressure_sd_pa, relative_humidity_sd
        Their standard uncertainties [K, Pa, fraction], not negative.

    Returns
    -------
    Standard uncertainty [kg/m3], in the shape to which the inputs broadcast.

    Raises
    ------
    OutOfRangeError
        As for :func:`air_density_kg_m3`, or for a negative uncertainty.

    Notes
    -----
    Law of propagation for uncorrelated inputs, JCGM 100:2008 equation (10), with
    the equation's own 22e-6 rho as one more term [1]_.

    Examples
    --------
    >>> sd = air_density_sd_kg_m3(
    ...     temperature_c=20.0, pressure_pa=101325.0, relative_humidity=0.5,
    ...     temperature_sd_c=0.5, pressure_sd_pa=100.0, relative_humidity_sd=0.05)
    >>> round(float(sd), 5)
    0.00257
    """
    u_t = within(temperature_sd_c, quantity="temperature_sd_c", low=0.0, high=50.0)
    u_p = within(pressure_sd_pa, quantity="pressure_sd_pa", low=0.0, high=50000.0)
    u_h = within(relative_humidity_sd, quantity="relative_humidity_sd", low=0.0, high=1.0)
    t, p, h = temperature_in_range(temperature_c), pressure_in_range(pressure_pa), _humidity(relative_humidity)
    # Central differences.  The unchecked equation is used, so that a step may leave the range (saturated air, say).
    per_t = (_density(t + 0.01, p, h) - _density(t - 0.01, p, h)) / 0.02
    per_p = (_density(t, p + 10.0, h) - _density(t, p - 10.0, h)) / 20.0
    per_h = (_density(t, p, h + 0.01) - _density(t, p, h - 0.01)) / 0.02
    own = CIPM_2007_RELATIVE_SD * _density(t, p, h)
    variance = (per_t * u_t) ** 2 + (per_p * u_p) ** 2 + (per_h * u_h) ** 2 + own**2
    return np.asarray(np.sqrt(variance))


def relative_humidity_from_dew_point(
    *, temperature_c: ArrayLike, dew_point_c: ArrayLike, pressure_pa: ArrayLike
) -> Floats:
    """Relative humidity from temperature and dew point.

    Parameters
    ----------
    temperature_c, dew_point_c
        Air temperature and dew point over liquid water [degC].
    pressure_pa
        Air pressure at the place itself [Pa].

    Returns
    -------
    Bare fraction, 0 to 1, in the shape to which the inputs broadcast.

    Raises
    ------
    OutOfRangeError
        Outside the module's ranges, or for a dew point above the temperature.

    Notes
    -----
    h = f(p, td) psv(td) / [f(p, t) psv(t)]: the vapour's share xv is the same in both states.

    Examples
    --------
    >>> round(float(relative_humidity_from_dew_point(temperature_c=20.0, dew_point_c=10.0, pressure_pa=1e5)), 4)
    0.5249
    """
    t, td, p = (
        temperature_in_range(temperature_c),
        temperature_in_range(dew_point_c, "dew_point_c"),
        pressure_in_range(pressure_pa),
    )
    if np.any(td > t):
        t_b, td_b = (np.ravel(a) for a in np.broadcast_arrays(t, td))
        i = int(np.argmax(td_b > t_b))
        raise OutOfRangeError(
            f"dew_point_c is {td_b[i]:g} at temperature_c {t_b[i]:g}; a dew point cannot exceed the temperature "
            "(are the two exchanged?)"
        )
    return np.asarray(_enhancement(td, p) * _saturation(td) / (_enhancement(t, p) * _saturation(t)))
