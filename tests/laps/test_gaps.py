"""One ride recorded at many rates: gaps are found where they are, and the brakes are seen at every rate."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fieldaero.estimate.energy_balance import energy_balance
from fieldaero.laps.course import find_course
from fieldaero.laps.find_laps import find_laps
from fieldaero.laps.flags import flag_laps
from fieldaero.physics.system import System
from fieldaero.rides.intervals import is_gap
from fieldaero.rides.ride import Ride
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

BEFORE_M, LAP_M, LAPS = 300.0, 1500.0, 6
BRAKED, LOST = (3, 5), 6  # laps as numbered from the start of the recording
RATES_S = [1, 2, 4, 5, 6, 8]


def lap_start_m(number: int) -> float:
    return BEFORE_M + (number - 2) * LAP_M


def freewheeling(s: float, t: float) -> float:
    """Now and then the rider stops pedalling for 80 m, at another place on each lap."""
    return 0.0 if s % 700.0 < 80.0 else 280.0


@cache
def every_second() -> Ride:
    """Two laps braked from about 11 to 2 m/s within 10 s, and one in which 25 s are not recorded.

    A braking shorter than the step between samples can fall between two at which the rider pedals,
    and is then not in the data.  This one is longer than the coarsest step, so every rate shows it.
    """
    one = loop(LAP_M)
    xy = np.vstack([straight_to(one, BEFORE_M), *[one] * LAPS, straight_from(one, 250.0)])
    rider = Rider(power_w=freewheeling, brakes=[(lap_start_m(n) + 600.0, 1.5, 0.7) for n in BRAKED])
    run = ridden(path_length_m(xy) - 2.0, rider)
    marks = list(np.round(when_at_s(run, BEFORE_M + LAP_M * np.arange(LAPS + 1))))
    noise = Noise(seed=1, position_m=2.0, speed_m_s=0.03, power_share=0.06)
    ride = recorded(xy, run, rider=rider, noise=noise, marks_s=marks)
    begun = float(when_at_s(run, [lap_start_m(LOST) + 700.0])[0])
    lost = (ride.time_s > begun) & (ride.time_s < begun + 25.0)
    return replace(ride, table=ride.table[~lost].reset_index(drop=True))


@pytest.fixture(params=RATES_S)
def ride(request: pytest.FixtureRequest) -> Ride:
    """The same ride by a device that keeps every n-th second."""
    table = every_second().table
    return replace(every_second(), table=table[table["time_s"] % request.param == 0.0].reset_index(drop=True))


def flags_of(ride: Ride) -> dict[int, list[str]]:
    laps = find_laps(ride, lap_source="button")
    flagged = flag_laps(ride, laps, find_course(ride, laps), system=System(mass_kg=MASS_KG))
    return {lap.number: [flag.name for flag in lap.flags] for lap in flagged[1:-1]}


def test_braked_laps_and_no_others_are_flagged(ride):
    assert [number for number, names in flags_of(ride).items() if "braked" in names] == list(BRAKED)


def test_only_the_lap_with_the_gap_is_incomplete(ride):
    assert [number for number, names in flags_of(ride).items() if "incomplete" in names] == [LOST]


def test_the_balance_is_unknown_in_the_gap_and_nowhere_else(ride):
    balance = energy_balance(ride, system=System(mass_kg=MASS_KG), air_density_kg_m3=1.2, gravity_m_s2=9.8)
    assert np.flatnonzero(~balance.known).tolist() == [np.argmax(np.diff(ride.time_s))]


@pytest.mark.parametrize("samples", [0, 1])
def test_a_recording_without_steps_has_no_gap(samples):
    assert is_gap(np.zeros(samples)).tolist() == []
