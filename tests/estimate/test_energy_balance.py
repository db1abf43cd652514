"""The energy balance by intervals: lag, holes, wind, mass, and what must not change it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldaero.estimate.energy_balance import EnergyBalance, energy_balance, power_lag_s
from fieldaero.physics.height_gain import height_gain_terms
from fieldaero.physics.road_power import power_w
from fieldaero.physics.system import System
from fieldaero.rides.ride import Ride
from fieldaero.simulator import Scenario, Sensors, simulate_session
from tests.rides.plain_rides import ride_of, varied_ride

SYSTEM = System(mass_kg=84.0)
AIR = {"air_density_kg_m3": 1.2, "gravity_m_s2": 9.80665}
TERMS = ("base_m", "per_cda_m_per_m2", "per_crr_m")
SUMMED = (*TERMS, "duration_s")
RESTLESS = Scenario(setups={"bare": 0.26}, order=("bare",) * 2, power_wander_w=40.0, sensors=Sensors.perfect())


def balance_of(ride: Ride, **changes) -> EnergyBalance:
    return energy_balance(ride, **{"system": SYSTEM, **AIR, **changes})


def power_of(balance: EnergyBalance) -> np.ndarray:
    """Power at the meter that the work of each interval stands for [W]."""
    return balance.work_m * balance.weight_n / (SYSTEM.efficiency * balance.duration_s)


def shifted_ride(ride: Ride, seconds: int) -> Ride:
    """The ride with its recorded power a whole number of seconds late."""
    table = ride.table.copy()
    table["power_w"] = table["power_w"].shift(seconds).ffill().bfill()
    return replace(ride, table=table)


def with_missing(ride: Ride, column: str, first: int, last: int) -> Ride:
    table = ride.table.copy()
    table.loc[first:last, column] = np.nan
    return replace(ride, table=table)


# --- what an interval is made of


def test_an_interval_has_the_power_of_its_end():
    ride = ride_of(time_s=[0, 1, 2, 3], power_w=[100, 200, 300, 400], speed_m_s=10.0)
    assert power_of(balance_of(ride)) == pytest.approx([200.0, 300.0, 400.0])


def test_samples_far_apart_give_the_mean_power_of_both_ends():
    ride = ride_of(time_s=[0, 2, 4, 6], power_w=[100, 200, 300, 400], speed_m_s=10.0)
    assert power_of(balance_of(ride)) == pytest.approx([150.0, 250.0, 350.0])


def test_the_terms_are_those_of_the_power_equation():
    ride = varied_ride()
    v = ride.column("speed_m_s")
    terms = height_gain_terms(
        power_w=ride.column("power_w")[1:],
        start_speed_m_s=v[:-1],
        end_speed_m_s=v[1:],
        duration_s=1.0,
        system=SYSTEM,
        **AIR,
    )
    balance = balance_of(ride)
    for name in TERMS:
        assert getattr(balance, name) == pytest.approx(getattr(terms, name), rel=1e-12)


def test_steady_riding_on_the_flat_gains_no_height():
    power = power_w(speed_m_s=11.0, cda_m2=0.25, crr=0.004, system=SYSTEM, **AIR)
    balance = balance_of(ride_of(time_s=np.arange(100), power_w=power, speed_m_s=11.0))
    gain = balance.base_m - 0.25 * balance.per_cda_m_per_m2 - 0.004 * balance.per_crr_m
    assert gain == pytest.approx(np.zeros(99), abs=1e-12)


def test_thinning_air_is_taken_in_the_middle_of_each_interval():
    rho = np.linspace(1.25, 1.15, 60)
    balance = balance_of(varied_ride(), air_density_kg_m3=rho)
    assert balance.air_density_kg_m3 == pytest.approx((rho[1:] + rho[:-1]) / 2.0, rel=1e-12)
    still = balance_of(varied_ride())
    assert balance.per_cda_m_per_m2 / still.per_cda_m_per_m2 == pytest.approx(balance.air_density_kg_m3 / 1.2)
    assert balance.base_m == pytest.approx(still.base_m, abs=1e-12)


# --- lag of power


@pytest.mark.parametrize("late_s", [-2, -1, 1, 2])
@pytest.mark.parametrize("seed", [1, 2])
def test_power_recorded_late_or_early_is_found(late_s, seed):
    ride = simulate_session(RESTLESS, seed=seed).ride
    assert power_lag_s(shifted_ride(ride, late_s), system=SYSTEM) == pytest.approx(late_s, abs=0.25)


@pytest.mark.parametrize("late_s", [0.5, 1.5])
def test_a_lag_between_the_seconds_is_found(late_s):
    sensors = replace(Sensors.perfect(), power_lag_s=late_s, whole_watts=False)
    ride = simulate_session(replace(RESTLESS, sensors=sensors), seed=3).ride
    assert power_lag_s(ride, system=SYSTEM) == pytest.approx(late_s, abs=0.25)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_without_a_lag_none_is_found(seed):
    assert power_lag_s(simulate_session(RESTLESS, seed=seed).ride, system=SYSTEM) == 0.0


def test_a_lag_is_found_through_the_noise_of_everyday_sensors():
    ride = simulate_session(replace(RESTLESS, sensors=Sensors()), seed=4).ride
    assert power_lag_s(shifted_ride(ride, 1), system=SYSTEM) == pytest.approx(1.0, abs=0.4)


def test_taking_out_the_lag_gives_back_the_balance():
    ride = simulate_session(RESTLESS, seed=1).ride
    late = balance_of(shifted_ride(ride, 1), power_lag_s=1.0)
    assert power_of(late)[2:-2] == pytest.approx(power_of(balance_of(ride))[2:-2], abs=1e-9)


@pytest.mark.parametrize("lag", [-1.0, 0.4, 1.5])
def test_a_shift_keeps_the_work_of_the_ride(lag):
    # Power rises from rest and falls back to it, so that nothing is shifted out of the ride.
    power = np.concatenate([np.zeros(5), np.linspace(0.0, 300.0, 30), np.linspace(300.0, 0.0, 30), np.zeros(5)])
    ride = ride_of(time_s=np.arange(70), power_w=power, speed_m_s=10.0)
    assert power_of(balance_of(ride, power_lag_s=lag)).sum() == pytest.approx(power.sum(), rel=1e-12)


def test_a_short_ride_tells_no_lag():
    assert power_lag_s(shifted_ride(varied_ride(200), 1), system=SYSTEM) == 0.0


def test_samples_far_apart_tell_no_lag():
    ride = ride_of(time_s=4.0 * np.arange(600), power_w=200.0, speed_m_s=10.0 + np.sin(np.arange(600)))
    assert power_lag_s(ride, system=SYSTEM) == 0.0


def test_power_that_has_nothing_to_do_with_speed_tells_no_lag():
    assert power_lag_s(varied_ride(900), system=SYSTEM) == 0.0


# --- holes


@pytest.mark.parametrize(("missing", "known"), [(1, True), (9, True), (10, False), (30, False)])
def test_missing_power_is_bridged_up_to_ten_seconds(missing, known):
    # A hole is as long as the time between the samples on either side: n missing seconds leave n + 1.
    ride = with_missing(varied_ride(), "power_w", 20, 19 + missing)
    balance = balance_of(ride)
    hole = np.arange(59)[19 : 19 + missing]
    assert balance.known[hole].all() == known
    assert balance.known[hole].any() == known
    outside = np.ones(59, dtype=bool)
    outside[hole] = False
    assert balance.known[outside].all()
    assert balance.unknown_s(0.0, 59.0) == (0.0 if known else float(missing))


def test_bridged_power_runs_straight_from_side_to_side():
    ride = ride_of(time_s=np.arange(7), power_w=[100, 100, np.nan, np.nan, np.nan, 300, 300], speed_m_s=10.0)
    assert power_of(balance_of(ride)) == pytest.approx([100.0, 150.0, 200.0, 250.0, 300.0, 300.0])


@pytest.mark.parametrize(("missing", "known"), [(4, True), (5, False)])
def test_missing_speed_is_bridged_up_to_five_seconds(missing, known):
    ride = with_missing(varied_ride(), "speed_m_s", 20, 19 + missing)
    assert balance_of(ride).known.all() == known
    assert balance_of(ride).unknown_s(0.0, 59.0) == (0.0 if known else missing + 1.0)


@pytest.mark.parametrize("ends", [(0, 2), (57, 59)])
def test_power_missing_at_the_ends_of_the_ride_is_not_invented(ends):
    balance = balance_of(with_missing(varied_ride(), "power_w", *ends))
    missing = [k for k in range(ends[0], ends[1] + 1) if k >= 1]
    assert not balance.known[[k - 1 for k in missing]].any()


def test_a_gap_in_the_recording_is_unknown_and_adds_nothing():
    time = np.concatenate([np.arange(10.0), 25.0 + np.arange(10.0)])
    balance = balance_of(ride_of(time_s=time, power_w=200.0, speed_m_s=10.0))
    assert np.flatnonzero(~balance.known).tolist() == [9]
    assert balance.unknown_s(0.0, 34.0) == pytest.approx(16.0)
    for name in TERMS:
        assert getattr(balance, name)[9] == 0.0
        assert np.all(np.isfinite(getattr(balance, name)))


@pytest.mark.parametrize(
    ("usual_s", "bridged_s", "gap_s"), [(1.0, 5.0, 6.0), (3.0, 5.0, 6.0), (6.0, 9.0, 10.0), (8.0, 10.0, 11.0)]
)
def test_a_step_is_a_gap_beyond_five_seconds_or_half_as_long_again_as_the_rides_own_longest(usual_s, bridged_s, gap_s):
    steps = [usual_s] * 20 + [bridged_s] + [usual_s] * 20 + [gap_s]
    balance = balance_of(ride_of(time_s=np.concatenate([[0.0], np.cumsum(steps)]), power_w=200.0, speed_m_s=10.0))
    assert balance.known[:-1].all()
    assert not balance.known[-1]


def test_a_device_that_writes_every_twelve_seconds_tells_no_balance():
    assert not balance_of(ride_of(time_s=np.arange(0.0, 120.0, 12.0), power_w=200.0, speed_m_s=10.0)).known.any()


def test_unknown_time_is_counted_between_any_two_moments():
    balance = balance_of(with_missing(varied_ride(), "power_w", 20, 39))
    assert balance.unknown_s(0.0, 59.0) == pytest.approx(20.0)
    assert balance.unknown_s(25.5, 30.25) == pytest.approx(4.75)
    assert balance.unknown_s(0.0, 19.0) == 0.0


# --- wind


@pytest.mark.parametrize(
    ("heading", "along", "across"),
    [(0.0, 3.0, -2.0), (90.0, 2.0, 3.0), (180.0, -3.0, 2.0), (270.0, -2.0, -3.0)],
)
def test_wind_is_taken_apart_by_the_heading(heading, along, across):
    # 2 m/s towards the east and 3 m/s towards the north; what comes from the right goes to the left.
    ride = varied_ride()
    v = ride.column("speed_m_s")
    terms = height_gain_terms(
        power_w=200.0,
        start_speed_m_s=v[:-1],
        end_speed_m_s=v[1:],
        duration_s=1.0,
        wind_along_m_s=along,
        wind_across_m_s=across,
        system=SYSTEM,
        **AIR,
    )
    balance = balance_of(ride, heading_deg=heading, wind_east_m_s=2.0, wind_north_m_s=3.0)
    assert balance.per_cda_m_per_m2 == pytest.approx(terms.per_cda_m_per_m2, rel=1e-9)


def test_a_tail_wind_takes_drag_away_and_a_head_wind_adds_it():
    still = balance_of(varied_ride(), heading_deg=0.0).per_cda_m_per_m2.sum()
    tail = balance_of(varied_ride(), heading_deg=0.0, wind_north_m_s=2.0).per_cda_m_per_m2.sum()
    head = balance_of(varied_ride(), heading_deg=0.0, wind_north_m_s=-2.0).per_cda_m_per_m2.sum()
    assert tail < 0.75 * still
    assert head > 1.3 * still


def test_without_a_heading_the_air_is_taken_as_still():
    heading = np.full(60, 45.0)
    heading[10:20] = np.nan
    windy = balance_of(varied_ride(), heading_deg=heading, wind_east_m_s=3.0)
    still = balance_of(varied_ride())
    unknown = np.isnan(windy.heading_deg)
    assert np.flatnonzero(unknown).tolist() == list(range(9, 20))
    assert windy.per_cda_m_per_m2[unknown] == pytest.approx(still.per_cda_m_per_m2[unknown], rel=1e-12)
    assert np.all(np.abs(windy.per_cda_m_per_m2 - still.per_cda_m_per_m2)[~unknown] > 0.05)


def test_the_heading_of_an_interval_is_the_middle_one_also_across_north():
    ride = ride_of(time_s=[0, 1, 2], power_w=200.0, speed_m_s=10.0)
    balance = balance_of(ride, heading_deg=[350.0, 20.0, 40.0])
    assert balance.heading_deg == pytest.approx([5.0, 30.0], abs=1e-9)


@settings(max_examples=40)
@given(
    turn=st.floats(0.0, 360.0),
    speed=st.floats(0.0, 8.0),
    wind_from=st.floats(0.0, 360.0),
    seed=st.integers(0, 1000),
)
def test_turning_wind_and_road_together_changes_nothing(turn, speed, wind_from, seed):
    ride, road = varied_ride(20, seed=seed), np.random.default_rng(seed).uniform(0.0, 360.0, size=20)

    def turned(by_deg: float) -> EnergyBalance:
        a = np.radians(wind_from + by_deg)
        wind = {"wind_east_m_s": -speed * np.sin(a), "wind_north_m_s": -speed * np.cos(a)}
        return balance_of(ride, heading_deg=(road + by_deg) % 360.0, **wind)

    one, other = turned(0.0), turned(turn)
    assert other.per_cda_m_per_m2 == pytest.approx(one.per_cda_m_per_m2, abs=1e-6)


# --- mass


def test_a_change_of_mass_counts_from_the_sample_where_it_begins():
    change = np.where(np.arange(60) >= 30, 2.0, 0.0)
    mixed = balance_of(varied_ride(), mass_change_kg=change)
    light, heavy = balance_of(varied_ride()), balance_of(varied_ride(), system=System(mass_kg=86.0))
    for name in (*TERMS, "weight_n"):
        assert getattr(mixed, name)[:30] == pytest.approx(getattr(light, name)[:30], rel=1e-12)
        assert getattr(mixed, name)[30:] == pytest.approx(getattr(heavy, name)[30:], rel=1e-12)


@settings(max_examples=40)
@given(seed=st.integers(0, 1000), factor=st.floats(0.5, 3.0))
def test_everything_twice_as_heavy_strong_and_large_climbs_the_same(seed, factor):
    # Bearings do not grow along, so what they cost is put into the power at the meter.
    ride = varied_ride(20, seed=seed)
    v = ride.column("speed_m_s")
    bearings = 0.091 * (v[1:] + v[:-1]) / 2.0 + 0.0087 * (v[1:] ** 2 + v[1:] * v[:-1] + v[:-1] ** 2) / 3.0
    extra = np.concatenate([[0.0], bearings]) / SYSTEM.efficiency
    table = ride.table.copy()
    table["power_w"] = factor * ride.column("power_w") + extra
    one_table = ride.table.copy()
    one_table["power_w"] = ride.column("power_w") + extra
    one = balance_of(replace(ride, table=one_table))
    grown = System(mass_kg=factor * SYSTEM.mass_kg, wheel_inertia_kg_m2=factor * SYSTEM.wheel_inertia_kg_m2)
    other = balance_of(replace(ride, table=table), system=grown)
    gain, grown_gain = (
        b.base_m - cda * b.per_cda_m_per_m2 - 0.004 * b.per_crr_m for b, cda in ((one, 0.25), (other, factor * 0.25))
    )
    assert grown_gain == pytest.approx(gain, abs=1e-9)


@settings(max_examples=40)
@given(seed=st.integers(0, 1000), factor=st.floats(0.8, 1.25))
def test_denser_air_is_a_larger_rider(seed, factor):
    ride = varied_ride(20, seed=seed)
    thin, dense = balance_of(ride), balance_of(ride, air_density_kg_m3=1.2 * factor)
    assert dense.per_cda_m_per_m2 == pytest.approx(factor * thin.per_cda_m_per_m2, rel=1e-12)
    assert dense.base_m == pytest.approx(thin.base_m, abs=1e-12)


# --- sums


@settings(max_examples=40)
@given(
    seed=st.integers(0, 1000),
    moments=st.lists(st.floats(0.0, 29.0), min_size=3, max_size=3).map(sorted),
    wind=st.floats(-5.0, 5.0),
)
def test_a_lap_split_in_two_has_the_same_sums(seed, moments, wind):
    balance = balance_of(varied_ride(30, seed=seed), heading_deg=30.0, wind_east_m_s=wind)
    start, middle, end = moments
    for name in SUMMED:
        values = getattr(balance, name)
        halves = balance.total(values, start, middle) + balance.total(values, middle, end)
        assert halves == pytest.approx(balance.total(values, start, end), abs=1e-9)


def test_the_sum_over_the_whole_ride_is_the_sum_of_the_intervals():
    balance = balance_of(varied_ride())
    for name in SUMMED:
        assert balance.total(getattr(balance, name), 0.0, 59.0) == pytest.approx(getattr(balance, name).sum())


def test_within_an_interval_a_sum_grows_evenly():
    balance = balance_of(ride_of(time_s=[0, 1, 2], power_w=200.0, speed_m_s=[10.0, 12.0, 12.0]))
    assert balance.total(balance.distance_m, 0.25, 0.75) == pytest.approx(5.5)
    assert balance.total(balance.distance_m, 0.5, 1.5) == pytest.approx(5.5 + 6.0)
