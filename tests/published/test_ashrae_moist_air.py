"""Vapour pressure and dry air against the ASHRAE handbook."""

import psychrolib
import pytest

from fieldaero.physics.moist_air import (
    air_density_kg_m3,
    relative_humidity_from_dew_point,
    saturation_vapour_pressure_pa,
)
from tests.published.published_value import PublishedValue, each

HANDBOOK = "ASHRAE Handbook Fundamentals 2017, chapter 1"
QUOTED = "read in PsychroLib's test suite, which cites the table"

# The table's values below 0 degC are over ice and those above 60 degC outside the module's range.
VAPOUR_PRESSURES = [
    PublishedValue(
        inputs={"temperature_c": t}, value=p, relative=3e-4, source=HANDBOOK, locator="table 3", provenance=QUOTED
    )
    for t, p in [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3)]
]


@each(VAPOUR_PRESSURES)
def test_vapour_pressure_is_that_of_the_table(published):
    published.check(saturation_vapour_pressure_pa(**published.inputs))


def test_dry_air_at_25_degrees():
    PublishedValue(
        value=1.0 / 0.8443, relative=1e-3, source=HANDBOOK, locator="table 2, 0.8443 m3/kg", provenance=QUOTED
    ).check(air_density_kg_m3(temperature_c=25.0, pressure_pa=101325.0, relative_humidity=0.0))


@pytest.mark.parametrize(("t", "td"), [(5.0, 3.0), (20.0, 10.0), (30.0, 12.0), (40.0, 25.0)])
def test_humidity_from_dew_point_agrees_with_the_handbooks_equations(t, td):
    # Computed with PsychroLib, equation (5) and (6) of the chapter, without enhancement factor:
    # its change between t and td is what the tolerance leaves room for.
    psychrolib.SetUnitSystem(psychrolib.SI)
    found = float(relative_humidity_from_dew_point(temperature_c=t, dew_point_c=td, pressure_pa=101325.0))
    assert found == pytest.approx(psychrolib.GetRelHumFromTDewPoint(t, td), rel=1e-3)
