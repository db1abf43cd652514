"""Values that are allowed but hardly ever true are asked about, and ordinary ones are not."""

import pytest

from fieldaero.physics.system import System
from fieldaero.run_sheet.unit_slips import unlikely_air, unlikely_system
from fieldaero.weather.observation import Observation


def air(**changed):
    values = {"time": None, "temperature_c": 18.0, "pressure_pa": 1.0e5, "relative_humidity": 0.5}
    return Observation(**(values | changed))


@pytest.mark.parametrize(
    "system",
    [System(mass_kg=84.0), System(mass_kg=55.0, crr=0.002), System(mass_kg=120.0, crr=0.008, power_at="hub")],
)
def test_ordinary_riders_and_bikes_raise_no_question(system):
    assert unlikely_system(system) == []


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"mass_kg": 184.0}, "pounds"),
        ({"mass_kg": 28.0}, "rider alone"),
        ({"drivetrain_efficiency": 0.9}, "chain"),
        ({"crr": 0.015}, "tyres"),
        ({"wheel_circumference_m": 1.1}, "diameter"),
    ],
)
def test_a_likely_slip_of_rider_or_bike_is_asked_about(changed, word):
    (found,) = unlikely_system(System(**({"mass_kg": 84.0} | changed)))
    assert word in found
    assert next(iter(changed)) in found


@pytest.mark.parametrize("temperature", [-5.0, 0.0, 38.0])
def test_ordinary_air_raises_no_question(temperature):
    assert unlikely_air([air(temperature_c=temperature, wind_speed_m_s=6.0, wind_from_deg=90.0)]) == []


@pytest.mark.parametrize(
    ("changed", "word"),
    [({"temperature_c": 59.0}, "°F"), ({"wind_speed_m_s": 15.0, "wind_from_deg": 10.0}, "km/h")],
)
def test_a_likely_slip_of_the_weather_is_asked_about_once(changed, word):
    (found,) = unlikely_air([air(), air(**changed), air(**changed)])
    assert word in found
