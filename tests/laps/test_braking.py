from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fieldaero.laps.braking import find_braking
from fieldaero.laps.course import find_course
from fieldaero.laps.find_laps import find_laps
from fieldaero.laps.track import track_of
from fieldaero.physics.system import System
from tests.synthetic_rides import (
    MASS_KG,
    Noise,
    Rider,
    loop,
    path_length_m,
    recorded,
    ridden,
    straight_from,
    straight_to,
    when_at_s,
)

BEFORE_M, LAP_M, LAPS = 300.0, 1500.0, 5
SYSTEM = System(mass_kg=MASS_KG)


def hill(s):
    """Grades up to 4 %, the same on every lap."""
    return 10.0 * np.sin(2.0 * np.pi * (np.asarray(s) - BEFORE_M) / LAP_M)


def steep(s):
    """Short ramps of up to 8 %."""
    return 4.0 * np.clip(np.sin(2.0 * np.pi * (np.asarray(s) - BEFORE_M) / 300.0), -0.7, 0.7)


def waves(s):
    """Rises and dips of 100 m with grades up to 13 %."""
    return 2.0 * np.sin(2.0 * np.pi * (np.asarray(s) - BEFORE_M) / 100.0)


def freewheeling(s, t):
    """Now and then the rider stops pedalling for 80 m, at another place on each lap."""
    return 0.0 if s % 700.0 < 80.0 else 280.0


@cache
def road() -> np.ndarray:
    one = loop(LAP_M)
    return np.vstack([straight_to(one, BEFORE_M), *[one] * LAPS, straight_from(one, 200.0)])


def uses(rider: Rider, *, seed: int = 0, altitude: bool = True, noise: Noise | None = None):
    run = ridden(path_length_m(road()) - 2.0, rider)
    ride = recorded(
        road(),
        run,
        rider=rider if altitude else None,
        noise=noise or Noise(seed=seed, position_m=2.0, speed_m_s=0.05, power_share=0.07),
        marks_s=list(np.round(when_at_s(run, BEFORE_M + LAP_M * np.arange(LAPS + 1)))),
    )
    laps = find_laps(ride, lap_source="button")
    return ride, run, find_braking(ride, laps, find_course(ride, laps), track=track_of(ride), system=SYSTEM)


@pytest.mark.parametrize("altitude", [True, False])
@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize(
    "rider",
    [
        Rider(),
        Rider(power_w=freewheeling),
        Rider(power_w=freewheeling, wind_m_s=3.0, gusts_m_s=1.5),
        Rider(power_w=freewheeling, height_m=hill),
        Rider(power_w=freewheeling, height_m=steep),
    ],
    ids=["steady", "freewheeling", "into a gusty wind", "on a hill", "on ramps"],
)
def test_riding_without_brakes_is_never_taken_for_braking(rider, seed, altitude):
    assert uses(rider, seed=seed, altitude=altitude)[2] == ()


@pytest.mark.parametrize("altitude", [True, False])
@pytest.mark.parametrize("deceleration", [0.5, 0.8, 1.2, 2.0, 3.0])
def test_braking_is_found_with_its_speeds_and_energy(deceleration, altitude):
    rider = Rider(brakes=[(2600.0, 6.5, deceleration)])
    _, run, found = uses(rider, altitude=altitude)
    (use,) = found
    begun_s = float(when_at_s(run, [2600.0])[0])
    assert use.start_s == pytest.approx(begun_s, abs=2.0)
    before = float(np.interp(2600.0, run["way_m"], run["speed_m_s"]))
    assert use.start_speed_m_s == pytest.approx(before, abs=0.4)
    assert use.end_speed_m_s == pytest.approx(6.8, abs=0.6)
    braked_j = MASS_KG * deceleration * (np.interp(use.end_s, run["time_s"], run["way_m"]) - 2600.0)
    assert use.energy_lost_j == pytest.approx(braked_j, rel=0.35)


@pytest.mark.parametrize("altitude", [True, False])
def test_braking_downhill_is_found(altitude):
    rider = Rider(height_m=hill, brakes=[(BEFORE_M + LAP_M + 700.0, 7.0, 1.2)])
    (use,) = uses(rider, altitude=altitude)[2]
    assert use.start_speed_m_s > 12.0


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_freewheeling_into_short_steep_rises_is_not_taken_for_braking(seed):
    ride, _, found = uses(Rider(power_w=freewheeling, height_m=waves), seed=seed)
    begun = ride.lap_marks[1].start_s  # before the first lap there is one passage alone to tell the rises by
    assert [use for use in found if use.end_s > begun] == []


def test_each_use_is_found_apart():
    _, run, found = uses(Rider(brakes=[(2600.0, 6.0, 1.5), (5200.0, 5.0, 1.5)]))
    assert [use.start_s for use in found] == pytest.approx(when_at_s(run, [2600.0, 5200.0]).tolist(), abs=1.5)


def test_stopping_at_the_roadside_is_braking():
    found = uses(Rider(stops=[(3000.0, 60.0)]))[2]
    assert len(found) == 1
    assert found[0].end_speed_m_s < 1.5


def test_noisy_speed_from_satellites_makes_no_braking():
    rider = Rider(power_w=freewheeling)
    run = ridden(path_length_m(road()) - 2.0, rider)
    ride = recorded(
        road(),
        run,
        rider=rider,
        noise=Noise(seed=3, position_m=2.0, speed_m_s=0.15, power_share=0.07),
        marks_s=list(np.round(when_at_s(run, BEFORE_M + LAP_M * np.arange(LAPS + 1)))),
    )
    ride = replace(ride, speed_from="position")
    laps = find_laps(ride, lap_source="button")
    assert find_braking(ride, laps, find_course(ride, laps), track=track_of(ride), system=SYSTEM) == ()


def test_a_ride_without_power_still_shows_hard_braking():
    rider = Rider(brakes=[(2600.0, 6.0, 2.5)])
    ride, run, _ = uses(rider)
    table = ride.table.copy()
    table["power_w"] = np.nan
    ride = replace(ride, table=table)
    laps = find_laps(ride, lap_source="button")
    (use,) = find_braking(ride, laps, find_course(ride, laps), track=track_of(ride))
    assert use.start_s == pytest.approx(float(when_at_s(run, [2600.0])[0]), abs=2.0)
