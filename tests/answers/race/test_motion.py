"""The rule that all cells obey: against a march with far shorter steps, and the steady speed it leads to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldaero.answers.race import motion as course_motion
from fieldaero.answers.race.motion import Mover, RoadPieces, arrival, march, steady_speed_m_s
from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.road_power import speed_m_s
from fieldaero.physics.system import System

SYSTEM = System(mass_kg=84.0)
RIDER = Mover(
    wheel_power_w=0.976 * 240.0,
    mass_kg=84.0,
    inertia_kg=84.0 + SYSTEM.rotating_mass_kg,
    cda_m2=0.25,
    crr=0.0045,
    gravity_m_s2=9.80665,
)


def road(seed: int, *, wind: float = 0.0, grade: float = 0.04) -> RoadPieces:
    rng = np.random.default_rng(seed)
    angle = np.cumsum(rng.normal(scale=0.5, size=60))
    return RoadPieces(
        length_m=rng.uniform(20.0, 300.0, size=60),
        grade=grade * rng.uniform(-1.0, 1.0, size=60),
        wind_along_m_s=wind * np.cos(angle),
        wind_across_m_s=wind * np.sin(angle),
        air_density_kg_m3=rng.uniform(1.1, 1.2, size=60),
    )


def ridden(mover: Mover, pieces: RoadPieces, start: float, by: Mover | None = None):
    index, length, speed = march(by or mover, pieces, start_m_s=start)
    return arrival(mover, pieces.cut(index, length), start_m_s=start, guess_m_s=speed)


@pytest.mark.parametrize("start", [0.0, 9.0])
@pytest.mark.parametrize("wind", [0.0, 3.0, 8.0])
@pytest.mark.parametrize("seed", range(3))
def test_ten_times_shorter_cells_give_the_same_time(monkeypatch, seed, wind, start):
    pieces = road(seed, wind=wind)
    time, speed = ridden(RIDER, pieces, start)
    for name in ("DECAY", "CHANGE", "LONGEST_CELL_M"):
        monkeypatch.setattr(course_motion, name, getattr(course_motion, name) / 10.0)
    finer, finer_speed = ridden(RIDER, pieces, start)
    assert len(finer) > 4 * len(time)
    assert time[-1] == pytest.approx(finer[-1], abs=0.005)
    assert speed[-1] == pytest.approx(finer_speed[-1], abs=1e-3)


@pytest.mark.parametrize("wind", [0.0, 6.0])
def test_a_mover_for_whom_the_rule_does_not_settle_marches_alone(monkeypatch, wind):
    pieces = road(4, wind=wind)
    slow = replace(RIDER, cda_m2=0.35)
    settled, _ = ridden(RIDER, pieces, 8.0, by=slow)
    monkeypatch.setattr(course_motion, "_solve", lambda *_: None)
    alone, _ = ridden(RIDER, pieces, 8.0, by=slow)
    assert alone[-1] == pytest.approx(settled[-1], abs=0.01)
    assert alone[-1] != settled[-1]


@pytest.mark.parametrize("grade", [-0.03, 0.0, 0.08])
@pytest.mark.parametrize(("along", "across"), [(0.0, 0.0), (-4.0, 2.0), (1.5, -1.0)])
def test_the_steady_speed_is_that_of_the_power_equation(grade, along, across):
    pieces = RoadPieces(
        length_m=np.array([100.0]),
        grade=np.array([grade]),
        wind_along_m_s=np.array([along]),
        wind_across_m_s=np.array([across]),
        air_density_kg_m3=np.array([1.15]),
    )
    expected = speed_m_s(
        power_w=240.0, grade=grade, cda_m2=0.25, crr=0.0045, system=SYSTEM, air_density_kg_m3=1.15,
        gravity_m_s2=9.80665, wind_along_m_s=along, wind_across_m_s=across,
    )  # fmt: skip
    assert abs(float(expected) - along) > course_motion.SIGN_WITHIN_M_S
    assert steady_speed_m_s(RIDER, pieces) == pytest.approx(float(expected), rel=1e-9)


def test_energy_is_kept():
    # Work of the rider = drag, rolling, bearings and height, and what the speed has gained.
    pieces = road(7, grade=0.02)
    index, length, guess = march(RIDER, pieces, start_m_s=9.0)
    parts = np.full(len(index), 20)
    cells = pieces.cut(np.repeat(index, parts), np.repeat(length / parts, parts))
    fine = np.interp(np.cumsum(cells.length_m), np.cumsum(length), guess[1:])
    time, v = arrival(RIDER, cells, start_m_s=9.0, guess_m_s=np.concatenate([[9.0], fine]))
    mean = 0.5 * (v[1:] + v[:-1])
    force = (
        0.5 * cells.air_density_kg_m3 * 0.25 * mean**2
        + 84.0 * 9.80665 * (0.0045 + cells.grade) / np.sqrt(1.0 + cells.grade**2)
        + 0.091
        + 0.0087 * mean
    )
    gained = 0.5 * RIDER.inertia_kg * (v[-1] ** 2 - 81.0)
    assert RIDER.wheel_power_w * time[-1] == pytest.approx(float(force @ cells.length_m) + gained, rel=1e-5)


def test_a_wall_is_refused():
    with pytest.raises(OutOfRangeError, match="falls below 1 m/s"):
        ridden(replace(RIDER, wheel_power_w=30.0), replace(road(1), grade=np.full(60, 0.1)), 5.0)
