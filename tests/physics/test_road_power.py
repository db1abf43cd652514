import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.road_power import power_w, speed_m_s
from fieldaero.physics.system import System

BIKE = System(mass_kg=80.0)
ROAD = {"cda_m2": 0.28, "crr": 0.004, "system": BIKE, "air_density_kg_m3": 1.2}

speeds = st.floats(0.5, 25.0)
grades = st.floats(-0.12, 0.12)
winds = st.floats(-8.0, 8.0)
drag_areas = st.floats(0.05, 0.6)


@given(v=speeds, wind=winds, across=winds, grade=grades, cda=drag_areas)
def test_speed_inverts_power(v, wind, across, grade, cda):
    road = {**ROAD, "cda_m2": cda, "grade": grade, "wind_along_m_s": wind, "wind_across_m_s": across}
    assume(abs(v - wind) > 0.01)
    P = power_w(speed_m_s=v, **road)
    found = float(speed_m_s(power_w=P, **road))
    # Where several speeds take one power the highest is returned; any of them gives the power back,
    # unless it lies in the jump of the crosswind's drag.
    assert found >= v - 1e-6
    just_below, just_above = power_w(speed_m_s=[max(found - 1e-8, 0.0), found + 1e-8], **road)
    assert just_below - 1e-4 <= P <= just_above + 1e-4


@given(power=st.floats(1.0, 1500.0), wind=winds, across=winds, grade=grades, cda=drag_areas)
def test_every_positive_power_has_one_speed(power, wind, across, grade, cda):
    road = {**ROAD, "cda_m2": cda, "grade": grade, "wind_along_m_s": wind, "wind_across_m_s": across}
    v = float(speed_m_s(power_w=power, **road))
    slower, faster = power_w(speed_m_s=[max(v * 0.999, 0.0), v * 1.001], **road)
    assert slower < power < faster


@given(power=st.floats(-400.0, 1000.0), wind=winds, across=winds, grade=grades)
def test_no_speed_above_the_one_returned_takes_as_little_power(power, wind, across, grade):
    road = {**ROAD, "grade": grade, "wind_along_m_s": wind, "wind_across_m_s": across}
    v = float(speed_m_s(power_w=power, **road))
    above = np.linspace(0.0 if np.isnan(v) else v + 1e-6, 90.0, 500)
    surplus = power_w(speed_m_s=above, **road) - power
    # With no speed at all even standing still takes more than is given, or just as much.
    assert np.all(surplus[1:] > 0.0)


def test_coasting_on_the_flat_has_no_steady_speed():
    assert np.isnan(speed_m_s(power_w=0.0, **ROAD))


def test_coasting_downhill_ends_where_gravity_meets_air_and_tyres():
    v = float(speed_m_s(power_w=0.0, grade=-0.05, **ROAD))
    pull = 80.0 * 9.80665 * (0.05 - 0.004) / np.sqrt(1.0 + 0.05**2)
    assert 0.5 * 1.2 * 0.28 * v**2 + 0.091 + 0.0087 * v == pytest.approx(pull)


def test_braking_against_the_slope_is_slower_than_coasting_and_too_much_of_it_stops():
    coasting, braking, stopping = speed_m_s(power_w=[0.0, -100.0, -2000.0], grade=-0.05, **ROAD)
    assert 0.0 < braking < coasting
    assert np.isnan(stopping)


def test_without_drag_area_the_speed_is_that_of_tyres_and_bearings():
    v = float(speed_m_s(power_w=100.0, **{**ROAD, "cda_m2": 0.0}))
    assert v * (80.0 * 9.80665 * 0.004 + 0.091 + 0.0087 * v) == pytest.approx(100.0 * 0.976)


def test_a_balance_within_the_jump_of_the_crosswind_force_is_the_speed_of_the_wind():
    # In a crosswind the drag jumps from behind to ahead where the rider reaches the tail wind.
    road = {**ROAD, "wind_along_m_s": 5.0, "wind_across_m_s": 4.0}
    behind, ahead = power_w(speed_m_s=[5.0 - 1e-9, 5.0 + 1e-9], **road)
    assert behind < ahead
    assert float(speed_m_s(power_w=(behind + ahead) / 2.0, **road)) == pytest.approx(5.0)


@given(v=speeds, scale=st.floats(0.2, 5.0), grade=grades)
def test_scaling_mass_drag_area_and_bearings_scales_power(v, scale, grade):
    def without_bearings(mass, cda):
        system = System(mass_kg=mass, wheel_inertia_kg_m2=0.0)
        bearings = v * (0.091 + 0.0087 * v) / system.efficiency
        return float(power_w(speed_m_s=v, grade=grade, **{**ROAD, "cda_m2": cda, "system": system})) - bearings

    assert without_bearings(80.0 * scale, 0.28 * scale) == pytest.approx(scale * without_bearings(80.0, 0.28), abs=1e-6)


@given(v=speeds, mass_scale=st.floats(0.5, 2.0))
def test_on_the_flat_only_mass_times_crr_counts(v, mass_scale):
    heavy = power_w(speed_m_s=v, **{**ROAD, "system": System(mass_kg=80.0 * mass_scale), "crr": 0.004 / mass_scale})
    assert float(heavy) == pytest.approx(float(power_w(speed_m_s=v, **ROAD)))


@given(v=st.floats(9.0, 25.0), wind=st.floats(-8.0, 8.0), across=winds)
def test_the_drag_force_depends_on_the_air_alone(v, wind, across):
    def drag_force(speed, along):
        road = {**ROAD, "wind_along_m_s": along, "wind_across_m_s": across}
        with_drag = power_w(speed_m_s=speed, **road)
        return float(with_drag - power_w(speed_m_s=speed, **{**road, "cda_m2": 0.0})) / speed

    assert drag_force(v, wind) == pytest.approx(drag_force(v - wind, 0.0), abs=1e-9)


@given(v=speeds, wind=st.floats(0.0, 8.0), across=winds)
def test_out_and_back_in_wind_costs_more_than_in_still_air(v, wind, across):
    out = power_w(speed_m_s=v, wind_along_m_s=wind, wind_across_m_s=across, **ROAD)
    back = power_w(speed_m_s=v, wind_along_m_s=-wind, wind_across_m_s=-across, **ROAD)
    assert float(out + back) / 2.0 >= float(power_w(speed_m_s=v, **ROAD)) - 1e-9 or wind > v


def test_acceleration_has_to_move_the_wheels_as_well():
    road = {**ROAD, "system": System(mass_kg=80.0, power_at="hub")}
    more = power_w(speed_m_s=10.0, acceleration_m_s2=0.2, **road) - power_w(speed_m_s=10.0, **road)
    assert float(more) == pytest.approx((80.0 + BIKE.rotating_mass_kg) * 0.2 * 10.0)


def test_the_chain_takes_its_share_at_the_crank_only():
    at_hub = power_w(speed_m_s=10.0, **{**ROAD, "system": System(mass_kg=80.0, power_at="hub")})
    assert float(power_w(speed_m_s=10.0, **ROAD)) == pytest.approx(float(at_hub) / 0.976)


def test_steep_roads_roll_with_the_cosine():
    free = {**ROAD, "cda_m2": 0.0, "system": System(mass_kg=80.0, power_at="hub"), "grade": 1.0}
    rolling = power_w(speed_m_s=1.0, **free) - power_w(speed_m_s=1.0, **{**free, "crr": 0.0})
    assert float(rolling) == pytest.approx(80.0 * 9.80665 * 0.004 * np.cos(np.pi / 4.0))


@pytest.mark.parametrize(
    ("slip", "message"),
    [
        ({"air_density_kg_m3": 1200.0}, "air_density_kg_m3 is 1200; allowed is 0.3 to 2"),
        ({"grade": 5.0}, "grade is 5; allowed is -1 to 1"),
        ({"cda_m2": -0.1}, "cda_m2 is -0.1; allowed is 0 to 5"),
        ({"crr": 0.4}, "crr is 0.4; allowed is 0 to 0.2"),
        ({"gravity_m_s2": 1.6}, "gravity_m_s2 is 1.6; allowed is 9.7 to 9.9"),
        ({"wind_along_m_s": 150.0}, "wind_along_m_s is 150"),
    ],
)
def test_impossible_values_are_refused(slip, message):
    for call in (lambda road: power_w(speed_m_s=10.0, **road), lambda road: speed_m_s(power_w=200.0, **road)):
        with pytest.raises(OutOfRangeError, match=message):
            call({**ROAD, **slip})


def test_missing_values_stay_missing_and_shapes_broadcast():
    P = power_w(speed_m_s=[[10.0], [np.nan]], grade=[0.0, 0.01, 0.02], **ROAD)
    assert P.shape == (2, 3)
    assert np.isfinite(P[0]).all()
    assert np.isnan(P[1]).all()
    v = speed_m_s(power_w=[[200.0], [np.nan]], grade=[0.0, 0.01, 0.02], **ROAD)
    assert v.shape == (2, 3)
    assert np.isfinite(v[0]).all()
    assert np.isnan(v[1]).all()
