import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.height_gain import height_gain_terms
from fieldaero.physics.road_power import power_w
from fieldaero.physics.system import System

BIKE = System(mass_kg=80.0)
AIR = {"system": BIKE, "air_density_kg_m3": 1.2}
ROAD = {**AIR, "cda_m2": 0.28, "crr": 0.004}

speeds = st.floats(0.0, 25.0)
powers = st.floats(0.0, 800.0)
winds = st.floats(-10.0, 10.0)
durations = st.floats(0.2, 5.0)


def gain_m(*, cda_m2=0.28, crr=0.004, **interval):
    terms = height_gain_terms(**{**AIR, **interval})
    return terms.base_m - cda_m2 * terms.per_cda_m_per_m2 - crr * terms.per_crr_m


@given(v=st.floats(2.0, 20.0), grade=st.floats(-0.15, 0.15), wind=winds, across=winds, dt=durations)
def test_at_steady_speed_the_height_gain_is_that_of_the_grade(v, grade, wind, across, dt):
    wind_here = {"wind_along_m_s": wind, "wind_across_m_s": across}
    P = power_w(speed_m_s=v, grade=grade, **wind_here, **ROAD)
    gain = gain_m(power_w=P, start_speed_m_s=v, end_speed_m_s=v, duration_s=dt, **wind_here)
    cosine = 1.0 / np.sqrt(1.0 + grade**2)
    # Rolling is taken as on the level, so the height falls short by what the cosine spares the rider.
    assert float(gain) == pytest.approx(v * dt * (grade * cosine - 0.004 * (1.0 - cosine)), abs=1e-9)


@given(v0=speeds, v1=speeds, P=powers, wind=winds, across=winds, dt=durations)
def test_the_energy_balance_closes(v0, v1, P, wind, across, dt):
    wind_here = {"wind_along_m_s": wind, "wind_across_m_s": across}
    gain = float(gain_m(power_w=P, start_speed_m_s=v0, end_speed_m_s=v1, duration_s=dt, **wind_here))
    d = (v0 + v1) / 2.0 * dt

    def drag_power(t):
        v = v0 + (v1 - v0) * t / dt
        u = v - wind
        return 0.5 * 1.2 * 0.28 * (u**2 + across**2) * np.sign(u) * v

    turn = dt * (wind - v0) / (v1 - v0) if abs(v1 - v0) > 1e-6 else -1.0
    drag = quad(drag_power, 0.0, dt, points=[turn] if 0.0 < turn < dt else None)[0]
    bearings = quad(lambda t: (v0 + (v1 - v0) * t / dt) * (0.091 + 0.0087 * (v0 + (v1 - v0) * t / dt)), 0.0, dt)[0]
    kinetic = 0.5 * (80.0 + BIKE.rotating_mass_kg) * (v1**2 - v0**2)
    weight = 80.0 * 9.80665
    spent = drag + bearings + kinetic + weight * gain + 0.004 * weight * d
    assert BIKE.efficiency * P * dt == pytest.approx(spent, abs=1e-3)


@given(v0=speeds, v1=speeds, P=powers, wind=winds, across=winds, dt=durations)
def test_an_interval_split_in_two_has_the_same_energy(v0, v1, P, wind, across, dt):
    road = {**AIR, "power_w": P, "wind_along_m_s": wind, "wind_across_m_s": across}
    middle = (v0 + v1) / 2.0
    whole = height_gain_terms(start_speed_m_s=v0, end_speed_m_s=v1, duration_s=dt, **road)
    halves = height_gain_terms(start_speed_m_s=[v0, middle], end_speed_m_s=[middle, v1], duration_s=dt / 2.0, **road)
    for piece in vars(whole):
        assert float(getattr(halves, piece).sum()) == pytest.approx(float(getattr(whole, piece)), abs=1e-8)


@given(v0=speeds, v1=speeds, P=powers, scale=st.floats(0.3, 3.0))
def test_scaling_mass_inertia_power_and_drag_area_leaves_the_height(v0, v1, P, scale):
    interval = {"start_speed_m_s": v0, "end_speed_m_s": v1, "duration_s": 1.0}

    def terms(factor):
        system = System(mass_kg=80.0 * factor, wheel_inertia_kg_m2=0.14 * factor)
        bearings = 0.091 * (v0 + v1) / 2.0 + 0.0087 * (v0**2 + v0 * v1 + v1**2) / 3.0
        power = (P * factor * system.efficiency + bearings) / system.efficiency
        return height_gain_terms(power_w=power, system=system, air_density_kg_m3=1.2, **interval)

    plain, scaled = terms(1.0), terms(scale)
    assert float(scaled.base_m) == pytest.approx(float(plain.base_m), abs=1e-9)
    assert float(scaled.per_cda_m_per_m2) * scale == pytest.approx(float(plain.per_cda_m_per_m2), abs=1e-9)
    assert float(scaled.per_crr_m) == float(plain.per_crr_m)


@given(v0=st.floats(8.0, 20.0), v1=st.floats(8.0, 20.0), along=st.floats(-7.0, 7.0), across=winds)
def test_turning_the_crosswind_round_changes_nothing(v0, v1, along, across):
    interval = {
        "power_w": 200.0,
        "start_speed_m_s": v0,
        "end_speed_m_s": v1,
        "duration_s": 1.0,
        "wind_along_m_s": along,
    }
    left = gain_m(wind_across_m_s=across, **interval)
    right = gain_m(wind_across_m_s=-across, **interval)
    assert float(left) == float(right)


@given(v0=st.floats(10.5, 20.0), v1=st.floats(10.5, 20.0), along=winds, across=winds, dt=durations)
def test_wind_slower_than_the_rider_enters_by_its_first_and_second_power(v0, v1, along, across, dt):
    terms = height_gain_terms(
        power_w=200.0,
        start_speed_m_s=v0,
        end_speed_m_s=v1,
        duration_s=dt,
        wind_along_m_s=along,
        wind_across_m_s=across,
        **AIR,
    )
    square = along**2 + across**2
    by_powers = terms.still_air_m_per_m2 - 2.0 * along * terms.wind_first + square * terms.wind_second
    assert float(by_powers) == pytest.approx(float(terms.per_cda_m_per_m2), rel=1e-9)


@given(v=st.floats(5.0, 20.0), wind=st.floats(-10.0, 10.0), across=winds)
def test_wind_is_a_shift_of_the_air_not_of_the_road(v, wind, across):
    # At constant speed the drag energy per metre of road is that of riding at v - wind in still air.
    interval = {"power_w": 0.0, "duration_s": 1.0, **AIR}
    windy = height_gain_terms(
        start_speed_m_s=v, end_speed_m_s=v, wind_along_m_s=wind, wind_across_m_s=across, **interval
    )
    u = abs(v - wind)
    still = height_gain_terms(start_speed_m_s=u, end_speed_m_s=u, wind_across_m_s=across, **interval)
    per_metre = float(windy.per_cda_m_per_m2) / v
    if u > 0.01:
        assert per_metre == pytest.approx(np.sign(v - wind) * float(still.per_cda_m_per_m2) / u, abs=1e-9)


def test_a_speed_that_passes_the_tail_wind_is_integrated_on_both_sides_of_it():
    # From 4 to 8 m/s in a tail wind of 6 m/s: pushed, then held back.
    terms = height_gain_terms(
        power_w=0.0, start_speed_m_s=4.0, end_speed_m_s=8.0, duration_s=2.0, wind_along_m_s=6.0, **AIR
    )
    work = quad(lambda t: (2.0 * t - 2.0) * abs(2.0 * t - 2.0) * (4.0 + 2.0 * t), 0.0, 2.0, points=[1.0])[0]
    assert float(terms.per_cda_m_per_m2) == pytest.approx(0.5 * 1.2 * work / (80.0 * 9.80665))


@pytest.mark.parametrize(("v0", "v1", "sign"), [(4.0, 6.0, -1.0), (6.0, 8.0, 1.0)])
def test_a_speed_that_just_reaches_the_tail_wind_is_on_one_side_of_it(v0, v1, sign):
    terms = height_gain_terms(
        power_w=0.0,
        start_speed_m_s=v0,
        end_speed_m_s=v1,
        duration_s=1.0,
        wind_along_m_s=6.0,
        wind_across_m_s=3.0,
        **AIR,
    )
    work = quad(lambda t: sign * ((v0 + 2.0 * t - 6.0) ** 2 + 9.0) * (v0 + 2.0 * t), 0.0, 1.0)[0]
    assert float(terms.per_cda_m_per_m2) == pytest.approx(0.5 * 1.2 * work / (80.0 * 9.80665))


def test_standing_still_under_power_is_height_without_rolling():
    gain = gain_m(power_w=100.0, start_speed_m_s=0.0, end_speed_m_s=0.0, duration_s=1.0)
    assert float(gain) == pytest.approx(0.976 * 100.0 / (80.0 * 9.80665))


def test_wind_may_differ_from_interval_to_interval():
    steady = {"power_w": 200.0, "start_speed_m_s": 10.0, "end_speed_m_s": 10.0, "duration_s": 1.0}
    both = gain_m(wind_along_m_s=[0.0, 2.0], **steady)
    assert float(both[0]) == float(gain_m(**steady))
    assert both[1] > both[0]


def test_a_missing_sample_is_missing_in_its_own_intervals_only():
    v = np.array([10.0, np.nan, 10.0, 10.0])
    gain = gain_m(power_w=200.0, start_speed_m_s=v[:-1], end_speed_m_s=v[1:], duration_s=1.0)
    assert np.isnan(gain).tolist() == [True, True, False]


@pytest.mark.parametrize(
    ("slip", "message"),
    [
        ({"duration_s": -1.0}, "duration_s is -1"),
        ({"start_speed_m_s": -2.0}, "start_speed_m_s is -2"),
        ({"power_w": 1e6}, "power_w is 1000000"),
        ({"wind_across_m_s": 200.0}, "wind_across_m_s is 200"),
    ],
)
def test_impossible_values_are_refused(slip, message):
    interval = {"power_w": 200.0, "start_speed_m_s": 10.0, "end_speed_m_s": 10.0, "duration_s": 1.0}
    with pytest.raises(OutOfRangeError, match=message):
        height_gain_terms(**{**interval, **AIR, **slip})
