import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.moist_air import (
    air_density_kg_m3,
    air_density_sd_kg_m3,
    relative_humidity_from_dew_point,
    saturation_vapour_pressure_pa,
)

AIR = {"temperature_c": 20.0, "pressure_pa": 100000.0, "relative_humidity": 0.5}
temperatures = st.floats(-39.0, 59.0)
pressures = st.floats(35000.0, 109000.0)
humidities = st.floats(0.0, 1.0)


@given(t=temperatures, p=pressures, h=humidities)
def test_denser_when_colder_higher_in_pressure_or_drier(t, p, h):
    rho = air_density_kg_m3(temperature_c=t, pressure_pa=p, relative_humidity=h)
    assert air_density_kg_m3(temperature_c=t - 0.5, pressure_pa=p, relative_humidity=h) > rho
    assert air_density_kg_m3(temperature_c=t, pressure_pa=p + 100.0, relative_humidity=h) > rho
    assert air_density_kg_m3(temperature_c=t, pressure_pa=p, relative_humidity=h / 2.0) >= rho


def test_shapes_broadcast():
    rho = air_density_kg_m3(
        temperature_c=[[10.0], [20.0]], pressure_pa=[90000.0, 100000.0, 101000.0], relative_humidity=0.5
    )
    assert rho.shape == (2, 3)
    assert rho[1, 1] == air_density_kg_m3(**AIR)


def test_missing_values_stay_missing():
    rho = air_density_kg_m3(temperature_c=[20.0, np.nan], pressure_pa=100000.0, relative_humidity=0.5)
    assert np.isfinite(rho[0])
    assert np.isnan(rho[1])


@pytest.mark.parametrize(
    ("slip", "message"),
    [
        ({"pressure_pa": 1000.0}, "pressure_pa is 1000; allowed is 30000 to 110000"),
        ({"temperature_c": 293.15}, "temperature_c is 293.15; allowed is -40 to 60"),
        ({"relative_humidity": 50.0}, "relative_humidity is 50; allowed is 0 to 1"),
    ],
)
def test_a_slip_of_the_unit_is_named(slip, message):
    with pytest.raises(OutOfRangeError, match=message):
        air_density_kg_m3(**{**AIR, **slip})


@given(t=temperatures, p=pressures)
def test_saturated_air_has_its_temperature_as_dew_point(t, p):
    assert float(relative_humidity_from_dew_point(temperature_c=t, dew_point_c=t, pressure_pa=p)) == pytest.approx(1.0)


@given(t=st.floats(-10.0, 45.0), depression=st.floats(0.0, 25.0))
def test_vapour_pressure_at_the_dew_point_is_that_of_the_air(t, depression):
    h = relative_humidity_from_dew_point(temperature_c=t, dew_point_c=t - depression, pressure_pa=1e5)
    share = saturation_vapour_pressure_pa(temperature_c=t - depression) / saturation_vapour_pressure_pa(temperature_c=t)
    # The enhancement factor of both states differs by less than 2e-3.
    assert float(h) == pytest.approx(float(share), rel=2e-3)


def test_dew_point_above_the_temperature_is_refused():
    with pytest.raises(OutOfRangeError, match="dew_point_c is 21 at temperature_c 20"):
        relative_humidity_from_dew_point(temperature_c=[25.0, 20.0], dew_point_c=[10.0, 21.0], pressure_pa=1e5)


@pytest.mark.parametrize(
    ("of", "sd", "per_unit", "within"),
    [
        # p/T of an ideal gas, to which the vapour that comes with saturation at 50 % adds a tenth by temperature.
        ("pressure_sd_pa", 100.0, 1.0 / 100000.0, 0.01),
        ("temperature_sd_c", 0.5, 1.0 / 293.15, 0.15),
        ("relative_humidity_sd", 0.05, 0.378 * 2339.0 / 100000.0, 0.02),
    ],
)
def test_each_instrument_adds_what_an_ideal_gas_says(of, sd, per_unit, within):
    sds = {"temperature_sd_c": 0.0, "pressure_sd_pa": 0.0, "relative_humidity_sd": 0.0, of: sd}
    rho = float(air_density_kg_m3(**AIR))
    assert float(air_density_sd_kg_m3(**AIR, **sds)) == pytest.approx(rho * sd * per_unit, rel=within)


def test_uncertainty_is_that_of_a_simulation():
    rng = np.random.default_rng(20260503)
    n = 200_000
    sds = {"temperature_sd_c": 0.5, "pressure_sd_pa": 100.0, "relative_humidity_sd": 0.05}
    rho = air_density_kg_m3(
        temperature_c=rng.normal(20.0, 0.5, n),
        pressure_pa=rng.normal(100000.0, 100.0, n),
        relative_humidity=rng.normal(0.5, 0.05, n),
    )
    assert float(air_density_sd_kg_m3(**AIR, **sds)) == pytest.approx(float(rho.std()), rel=0.01)


def test_perfect_instruments_leave_the_uncertainty_of_the_equation():
    sd = air_density_sd_kg_m3(**AIR, temperature_sd_c=0.0, pressure_sd_pa=0.0, relative_humidity_sd=0.0)
    assert float(sd / air_density_kg_m3(**AIR)) == pytest.approx(22e-6)


def test_uncertainty_of_saturated_and_of_dry_air_needs_no_state_beyond_the_range():
    for h in (0.0, 1.0):
        state = {**AIR, "relative_humidity": h}
        sd = air_density_sd_kg_m3(**state, temperature_sd_c=0.5, pressure_sd_pa=100.0, relative_humidity_sd=0.05)
        assert 0.002 < float(sd) < 0.004


def test_negative_uncertainty_is_refused():
    with pytest.raises(OutOfRangeError, match="temperature_sd_c is -1"):
        air_density_sd_kg_m3(**AIR, temperature_sd_c=-1.0, pressure_sd_pa=0.0, relative_humidity_sd=0.0)
