"""Small sessions of segments by a random hand, for checks against dense algebra, and exact ones by the equation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.noise import PARAMETERS
from fieldaero.estimate.joint_fit.priors import SharedPrior
from fieldaero.estimate.joint_fit.segments import RoadCells, Segments


def noise_parameters(**changes) -> Floats:
    """Logs of the noise parameters, at plain values unless changed."""
    plain = {
        "gust_sd_m_s": 0.35,
        "gust_s": 6.0,
        "slow_wind_sd_m_s": 0.5,
        "slow_wind_s": 300.0,
        "level_sd_m": 0.02,
        "power_sd_m_per_sqrt_s": 0.006,
        "brake_sd_m_per_sqrt_s": 0.3,
        "air_speed_sd_m_s": 0.12,
    }
    return np.log([(plain | changes)[p.name] for p in PARAMETERS])


def only(**kept) -> Floats:
    """Logs of the noise parameters with all causes next to nothing but those named."""
    nothing = {p.name: 1e-9 for p in PARAMETERS if p.unit != "s"}
    return noise_parameters(**(nothing | kept))


def random_segments(
    rng: np.random.Generator,
    *,
    laps: int = 3,
    per_lap: int = 7,
    braked: bool = False,
    air_speed: bool = False,
    unknown: bool = False,
) -> Segments:
    """Laps of a few segments round a circle with the quantities of a rider, but no truth behind them."""
    K, n = laps, per_lap
    duration = rng.uniform(8.0, 14.0, (K, n))
    lap_s = duration.sum(axis=1)
    start = 100.0 + np.cumsum(np.concatenate([[0.0], lap_s[:-1] + rng.uniform(1.5, 60.0, K - 1)]))
    end = start + lap_s
    edges = start[:, None] + np.concatenate([np.zeros((K, 1)), np.cumsum(duration, axis=1)], axis=1)
    speed = rng.uniform(8.0, 12.0, (K, n))
    way = speed * duration
    turn = 2.0 * np.pi * (np.arange(n) + 0.5) / n
    heading = np.broadcast_to(np.stack([np.sin(turn), np.cos(turn)], axis=1), (K, n, 2)).copy()
    k = 1.2 / (2.0 * 84.0 * 9.8)
    still = k * speed**2 * way
    first = (k * speed * way)[:, :, None] * heading
    second = k * way
    gust = 0.3 * rng.normal(size=(K, n))
    base = 0.26 * still * (1.0 + gust / 5.0) + 0.0045 * way + rng.normal(size=n) + 0.05 * rng.normal(size=(K, n))
    braked_s = np.zeros((K, n))
    if braked:
        braked_s[0, 2], braked_s[-1, 2], braked_s[-1, n - 1] = 3.0, 1.5, 2.0
    unknown_s = np.zeros((K, n))
    air = np.full((K, n), np.nan)
    if unknown:
        unknown_s[0, 1] = 4.0
    if air_speed:
        air = speed + rng.normal(0.0, 0.8, (K, n))
        air[-1, 3] = np.nan
    kinetic = 0.1 * rng.normal(size=(K, n))
    return Segments(
        cells=RoadCells(edge_m=np.linspace(0.0, float(way[0].sum()), n + 1), twins=None),
        base_m=base,
        still_air_m_per_m2=still,
        roll_m=way,
        wind_first=first,
        wind_second=second,
        work_m=base + kinetic,
        kinetic_m=kinetic,
        duration_s=duration,
        middle_s=(edges[:, 1:] + edges[:, :-1]) / 2.0,
        speed_m_s=speed,
        heading=heading,
        braked_s=braked_s,
        braked_m=5.0 * braked_s,
        unknown_s=unknown_s,
        start_s=start,
        end_s=end,
        air_speed_m_s=air,
        expected_wind_m_s=np.broadcast_to([0.4, -0.2], (K, n, 2)).copy(),
    )


def obeying_segments(segments: Segments, *, cda_m2: Floats, crr: float, rise_m: Floats, wind_m_s: Floats) -> Segments:
    """Return the segments with an energy base that the equation gives for known drag areas, Crr, road and wind."""
    drag = (
        segments.still_air_m_per_m2
        - 2.0 * np.sum(wind_m_s * segments.wind_first, axis=2)
        + np.sum(wind_m_s**2, axis=2) * segments.wind_second
    )
    base = cda_m2[:, None] * drag + crr * segments.roll_m + rise_m
    return replace(segments, base_m=base, work_m=base + segments.kinetic_m)


def plain_prior(cells: int) -> SharedPrior:
    """Priors of the shared unknowns, all of them proper and none so wide that dense algebra would lose digits."""
    mixing = 0.2 * np.cos(np.arange(cells)[:, None] + 2.0 * np.arange(cells))
    return SharedPrior(
        mean=np.array([0.3, -0.5, 0.0045, 0.0]),
        sd=np.array([0.9, 0.8, 0.0007, 0.05]),
        braking_mean_m_per_m=0.15,
        braking_sd_m_per_m=0.12,
        height_precision=np.eye(cells) + mixing @ mixing.T,
        height_information=0.1 * np.arange(cells),
    )
