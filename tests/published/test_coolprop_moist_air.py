"""Air density against CoolProp, an independent Helmholtz-energy model of moist air."""

import numpy as np
import pytest
from CoolProp.CoolProp import HAPropsSI

from fieldaero.physics.moist_air import air_density_kg_m3
from tests.published.published_value import PublishedValue, each

GRID = [
    (0.0, 101325.0, 0.0, 1.293096),
    (0.0, 101325.0, 1.0, 1.290156),
    (5.0, 80000.0, 0.3, 1.001182),
    (10.0, 103000.0, 0.7, 1.263916),
    (15.0, 101325.0, 0.0, 1.225567),
    (15.0, 101325.0, 0.5, 1.221677),
    (20.0, 101325.0, 0.5, 1.199359),
    (20.0, 80000.0, 0.5, 0.945760),
    (23.0, 98000.0, 0.45, 1.147611),
    (25.0, 101325.0, 0.6, 1.175966),
    (30.0, 100000.0, 0.8, 1.134820),
    (35.0, 85000.0, 0.1, 0.958763),
    (40.0, 95000.0, 1.0, 1.026209),
    (40.0, 101325.0, 0.2, 1.121268),
]
DENSITIES = [
    PublishedValue(
        inputs={"temperature_c": t, "pressure_pa": p, "relative_humidity": h},
        value=rho,
        relative=5e-5,
        source="CoolProp",
        locator="HAPropsSI 1/Vha",
        provenance="computed with CoolProp 8.0.0",
    )
    for t, p, h, rho in GRID
]


def coolprop_density(t: float, p: float, h: float) -> float:
    return 1.0 / HAPropsSI("Vha", "T", t + 273.15, "P", p, "R", h)


@each(DENSITIES)
def test_density_agrees_with_recorded_values(published):
    published.check(air_density_kg_m3(**published.inputs))


@pytest.mark.parametrize("t", [0.0, 10.0, 20.0, 30.0, 40.0])
@pytest.mark.parametrize("h", [0.0, 0.5, 1.0])
def test_density_agrees_with_the_installed_library_as_the_module_states(t, h):
    for p in (60000.0, 80000.0, 101325.0, 110000.0):
        found = float(air_density_kg_m3(temperature_c=t, pressure_pa=p, relative_humidity=h))
        assert found == pytest.approx(coolprop_density(t, p, h), rel=5e-5)


@pytest.mark.parametrize(("t", "h", "relative"), [(-40.0, 0.0, 7e-5), (-20.0, 0.0, 5e-5), (60.0, 1.0, 6.1e-4)])
def test_density_outside_the_equations_own_range_is_as_good_as_the_module_states(t, h, relative):
    pressures = np.array([60000.0, 80000.0, 101325.0, 110000.0])
    found = air_density_kg_m3(temperature_c=t, pressure_pa=pressures, relative_humidity=h)
    expected = [coolprop_density(t, p, h) for p in pressures]
    np.testing.assert_allclose(found, expected, rtol=relative)


def test_density_at_a_humidity_ratio():
    # 30 degC, 95461 Pa, 0.02 kg water per kg dry air: a row of PsychroLib's test suite, whose
    # ideal-gas 1.0841199 lies 4e-4 below; the real-gas value was computed with CoolProp 8.0.0.
    h = HAPropsSI("R", "T", 303.15, "P", 95461.0, "W", 0.02)
    PublishedValue(
        value=1.084509,
        relative=5e-5,
        source="CoolProp",
        locator="moist air at W = 0.02",
        provenance="computed with CoolProp 8.0.0",
    ).check(air_density_kg_m3(temperature_c=30.0, pressure_pa=95461.0, relative_humidity=h))
