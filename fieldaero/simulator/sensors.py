"""The errors of what is recorded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldaero.basics.quantities import Floats

__all__ = ["Sensors", "lasting_errors"]


@dataclass(frozen=True, kw_only=True)
class Sensors:
    """Errors of what is recorded; standard deviations are per sample.

    Attributes
    ----------
    power_noise, power_noise_w
        A share of the power, and watts.
    power_scale, power_drift_per_h
        Recorded over true power at the start, and its change per hour.
    power_lag_s
        By which the recorded power comes late.
    wheel_scale
        Recorded over true speed and distance.
    satellite_speed
        Speed from satellites instead of a wheel.
    satellite_speed_sd_m_s, satellite_speed_s
        Its error, and how long that lasts.
    position_sd_m, position_s
        Error of either coordinate, and how long it lasts.
    altitude_sd_m, altitude_step_m, altitude_drift_m_per_h
        Slow error of the altimeter, the step in which it is recorded, and its drift with the weather.
    temperature_error_c
        Of the thermometer, which shows whole degrees.
    air_speed, air_speed_noise, air_speed_scale
        Whether an air speed is recorded, its noise as a share, recorded over true.
    button_sd_s
        Scatter of the hand on the lap button; what is recorded is within 1 s of the line.
    power_dropouts_per_h, speed_dropouts_per_h, position_dropouts_per_h, dropout_s
        How often a sensor is lost, and for how long.
    """

    power_noise: float = 0.01
    power_noise_w: float = 2.0
    power_scale: float = 1.0
    power_drift_per_h: float = 0.0
    power_lag_s: float = 0.0
    speed_noise_m_s: float = 0.02
    wheel_scale: float = 1.0
    satellite_speed: bool = False
    satellite_speed_sd_m_s: float = 0.08
    satellite_speed_s: float = 5.0
    position_sd_m: float = 2.0
    position_s: float = 30.0
    altitude_sd_m: float = 1.0
    altitude_step_m: float = 0.2
    altitude_drift_m_per_h: float = 0.0
    temperature_error_c: float = 0.0
    air_speed: bool = False
    air_speed_noise: float = 0.02
    air_speed_scale: float = 1.0
    whole_watts: bool = True
    button_sd_s: float = 0.5
    power_dropouts_per_h: float = 0.0
    speed_dropouts_per_h: float = 0.0
    position_dropouts_per_h: float = 0.0
    dropout_s: float = 6.0

    @staticmethod
    def perfect() -> Sensors:
        """Return sensors without any error.

        Power is still in whole watts, which loses nothing: the rider pushes a whole number of
        watts over each second.
        """
        return Sensors(
            power_noise=0.0,
            power_noise_w=0.0,
            speed_noise_m_s=0.0,
            position_sd_m=0.0,
            altitude_sd_m=0.0,
            altitude_step_m=0.0,
            air_speed_noise=0.0,
            button_sd_s=0.0,
        )


def lasting_errors(n: int, *, sd: float, scale_s: float, sample_s: float, rng: np.random.Generator) -> Floats:
    """Errors that fade over a time scale: an Ornstein-Uhlenbeck process, shape (n,), in the unit of ``sd``."""
    keep = np.exp(-sample_s / scale_s)
    push = rng.normal(size=n) * sd * np.sqrt(1.0 - keep**2)
    out = np.empty(n)
    value = sd * rng.normal()
    for k in range(n):
        value = keep * value + push[k]
        out[k] = value
    return out
