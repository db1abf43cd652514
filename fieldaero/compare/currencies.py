"""One difference of drag area in the three currencies: square metres, watts, seconds.

Watts at a range of speeds and seconds at a range of powers and distances, on the flat in still
air (:mod:`fieldaero.physics.flat_road`).  Either is a rising function of the difference, so
an interval of the difference gives theirs, end by end.  They count what is not known of
the difference; mass, rolling resistance and air are those of the given road.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.quantities import within
from fieldaero.physics.flat_road import FlatRoad, seconds_over_distance, watts_at_speed
from fieldaero.physics.road_power import speed_m_s

__all__ = ["DISTANCES_KM", "POWERS_W", "SPEEDS_KM_H", "Currencies", "currencies"]

SPEEDS_KM_H = (30.0, 35.0, 40.0, 45.0, 50.0, 55.0)
POWERS_W = (150.0, 200.0, 250.0, 300.0, 350.0, 400.0)
DISTANCES_KM = (40.0, 90.0, 180.0)


@dataclass(frozen=True, kw_only=True)
class Currencies:
    """A difference of drag area in all currencies; negative is less drag, power or time.

    Attributes
    ----------
    area
        One row: cda_m2, delta_m2, delta_low_m2, delta_high_m2, delta_pct, delta_low_pct, delta_high_pct.
    watts
        A row per speed: speed_km_h, delta_w, delta_low_w, delta_high_w.
    seconds
        A row per distance and power: distance_km, power_w, speed_km_h and time_s of the
        drag area that the difference is added to, delta_s, delta_low_s, delta_high_s; an end
        of the interval that belongs to no possible drag area is NaN.
    """

    area: pd.DataFrame
    watts: pd.DataFrame
    seconds: pd.DataFrame

    def to_frame(self) -> pd.DataFrame:
        """One table: the rows of ``watts``, then those of ``seconds``, NaN where a column says nothing."""
        columns = ["speed_km_h", "power_w", "distance_km", "time_s"]
        columns += [f"delta{end}_{unit}" for unit in ("w", "s") for end in ("", "_low", "_high")]
        return pd.concat([part.reindex(columns=columns) for part in (self.watts, self.seconds)], ignore_index=True)


def currencies(
    delta_cda_m2: float,
    *,
    interval_m2: tuple[float, float] | None,
    cda_m2: float,
    road: FlatRoad,
    speeds_km_h: Sequence[float] = SPEEDS_KM_H,
    powers_w: Sequence[float] = POWERS_W,
    distances_km: Sequence[float] = DISTANCES_KM,
) -> Currencies:
    """Put a difference of drag area into watts and seconds.

    Parameters
    ----------
    delta_cda_m2, interval_m2
        The difference and its interval, low and high; None or NaN where it is not known.
    cda_m2
        Drag area that it is added to.
    road
        Rider, bike and air.
    speeds_km_h, powers_w, distances_km
        What to work it out for: above 0 and up to 150 km/h, 3000 W and 1000 km.

    Raises
    ------
    OutOfRangeError
        For a speed, power or distance outside those ranges, an interval turned round, or a
        drag area that is not above 0 with the difference.

    Examples
    --------
    >>> from fieldaero.physics.system import System
    >>> road = FlatRoad(system=System(mass_kg=80.0), crr=0.004, air_density_kg_m3=1.2, gravity_m_s2=9.81)
    >>> found = currencies(-0.01, interval_m2=(-0.012, -0.008), cda_m2=0.25, road=road)
    >>> found.watts.round(1).iloc[3].tolist(), found.seconds.round(1).iloc[2].tolist()
    ([45.0, -12.0, -14.4, -9.6], [40.0, 250.0, 40.1, 3593.0, -45.7, -55.0, -36.5])
    """
    low, high = (np.nan, np.nan) if interval_m2 is None else interval_m2
    if low > high:
        raise OutOfRangeError(f"the interval runs from {low:g} to {high:g} m2; give the lower end first")
    speeds = _asked(speeds_km_h, "speeds_km_h", 150.0)
    powers = _asked(powers_w, "powers_w", 3000.0)
    distances = _asked(distances_km, "distances_km", 1000.0)
    if not (cda_m2 > 0.0 and cda_m2 + delta_cda_m2 > 0.0):
        raise OutOfRangeError(
            f"drag areas of {cda_m2:g} and {cda_m2 + delta_cda_m2:g} m2; allowed is above 0: check the difference"
        )
    ends = np.array([delta_cda_m2, low, high])
    percent = 100.0 * ends / cda_m2
    watts = [[v, *watts_at_speed(ends, road=road, speed_km_h=v).tolist()] for v in speeds]
    seconds = []
    for distance in distances:
        for power in powers:
            v = float(
                speed_m_s(
                    power_w=power,
                    cda_m2=cda_m2,
                    crr=road.crr,
                    system=road.system,
                    air_density_kg_m3=road.air_density_kg_m3,
                    gravity_m_s2=road.gravity_m_s2,
                )
            )
            possible = np.where(cda_m2 + ends > 0.0, ends, np.nan)
            saved = seconds_over_distance(possible, cda_m2=cda_m2, road=road, distance_km=distance, power_w=power)
            seconds.append([distance, power, 3.6 * v, 1000.0 * distance / v, *saved.tolist()])
    names = ["", "_low", "_high"]
    return Currencies(
        area=pd.DataFrame(
            [[cda_m2, *ends.tolist(), *percent.tolist()]],
            columns=["cda_m2", *(f"delta{n}_m2" for n in names), *(f"delta{n}_pct" for n in names)],
        ),
        watts=pd.DataFrame(watts, columns=["speed_km_h", *(f"delta{n}_w" for n in names)]),
        seconds=pd.DataFrame(
            seconds, columns=["distance_km", "power_w", "speed_km_h", "time_s", *(f"delta{n}_s" for n in names)]
        ),
    )


def _asked(values: ArrayLike, quantity: str, most: float) -> NDArray[np.float64]:
    found = within(np.atleast_1d(values), quantity=quantity, low=0.0, high=most, hint="give each above 0")
    if not np.all(found > 0.0):
        raise OutOfRangeError(f"{quantity} holds {np.min(found):g}; allowed is above 0 and up to {most:g}")
    return found
