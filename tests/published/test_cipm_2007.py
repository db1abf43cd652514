"""Air density against CIPM-2007, Metrologia 45 (2008) 149-155: a second implementation of its constants.

The paper prints no worked value.  The constants were read in several independent public
transcriptions that agree with each other; the grid below was computed from them in a
separate script, so it guards against a slip in this package's equation.
"""

import pytest

from fieldaero.physics.moist_air import air_density_kg_m3, enhancement_factor, saturation_vapour_pressure_pa
from tests.published.published_value import PublishedValue, each

GRID = [
    (0.0, 101325.0, 0.0, 1.293049),
    (0.0, 101325.0, 1.0, 1.290109),
    (5.0, 80000.0, 0.3, 1.001149),
    (10.0, 103000.0, 0.7, 1.263869),
    (15.0, 101325.0, 0.0, 1.225521),
    (15.0, 101325.0, 0.5, 1.221631),
    (20.0, 101325.0, 0.5, 1.199314),
    (20.0, 80000.0, 0.5, 0.945728),
    (23.0, 98000.0, 0.45, 1.147568),
    (25.0, 101325.0, 0.6, 1.175922),
    (30.0, 100000.0, 0.8, 1.134777),
    (35.0, 85000.0, 0.1, 0.958730),
    (40.0, 95000.0, 1.0, 1.026162),
    (40.0, 101325.0, 0.2, 1.121227),
]
DENSITIES = [
    PublishedValue(
        inputs={"temperature_c": t, "pressure_pa": p, "relative_humidity": h},
        value=rho,
        relative=1e-6,
        source="CIPM-2007, Picard et al., Metrologia 45 (2008) 149-155",
        locator="equation (1) with appendix constants",
        provenance="computed with a separate script from constants read in public transcriptions",
    )
    for t, p, h, rho in GRID
]


@each(DENSITIES)
def test_density_is_that_of_a_second_implementation(published):
    published.check(air_density_kg_m3(**published.inputs))


def test_vapour_pressure_at_20_degrees():
    PublishedValue(
        value=2339.16,
        absolute=0.005,
        source="CIPM-2007, Picard et al., Metrologia 45 (2008) 149-155",
        locator="saturation vapour pressure, 20 degC",
        provenance="computed with a separate script from constants read in public transcriptions",
    ).check(saturation_vapour_pressure_pa(temperature_c=20.0))


def test_air_without_vapour_has_the_constant_part_of_the_enhancement_factor():
    # f = 1.00062 + 3.14e-8 p + 5.6e-7 t^2: constants read in public transcriptions.
    assert float(enhancement_factor(temperature_c=0.0, pressure_pa=1e5)) == pytest.approx(1.00376, abs=1e-9)
