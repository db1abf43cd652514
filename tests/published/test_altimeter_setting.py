"""Pressure from an altimeter setting, in the standard atmosphere's own form."""

from fieldaero.physics.atmosphere import station_pressure_pa
from tests.published.published_value import PublishedValue, each

INCH_PA = 3386.389
FOOT_M = 0.3048
ISO = "ISO 2533:1975, inverted altimeter equation"
NOTE = "web note on computing local pressure from airport reports"


def computed(qnh_hpa: float, elevation_m: float, hpa: float) -> PublishedValue:
    return PublishedValue(
        inputs={"altimeter_pa": qnh_hpa * 100.0, "elevation_m": elevation_m},
        value=hpa * 100.0,
        absolute=1.0,
        source=ISO,
        locator="[Q^n - p0^n L H / T0]^(1/n)",
        provenance="computed with a separate script from the published constants",
    )


def printed(qnh_inch: float, elevation_ft: float, pa: float) -> PublishedValue:
    # Both values are printed cut to whole pascals.
    return PublishedValue(
        inputs={"altimeter_pa": qnh_inch * INCH_PA, "elevation_m": elevation_ft * FOOT_M},
        value=pa + 0.5,
        absolute=0.5,
        source=NOTE,
        locator=f"{qnh_inch} inHg at {elevation_ft:g} ft",
        provenance="read",
    )


PRESSURES = [
    computed(29.8 * 33.86389, 500.0, 950.696),
    computed(1013.0, 500.0, 954.370),
    computed(1000.0, 2000.0, 784.068),
    computed(1005.0, 1500.0, 838.435),
    computed(1010.0, 1000.0, 895.796),
    computed(1013.25, 0.0, 1013.250),
    computed(1013.25, 100.0, 1001.294),
    computed(1013.25, 500.0, 954.608),
    computed(1013.25, 1000.0, 898.746),
    computed(1013.25, 2000.0, 794.952),
    computed(1021.0, 120.0, 1006.578),
    computed(995.0, 45.0, 989.685),
    computed(1030.0, 610.0, 957.876),
    computed(1008.0, 1655.0, 825.136),
    printed(30.20, 5045.0, 84977.0),
    printed(30.37, 7014.0, 79375.0),
]


@each(PRESSURES)
def test_station_pressure(published):
    published.check(station_pressure_pa(**published.inputs))


def test_station_pressure_undoes_a_published_altimeter_setting():
    PublishedValue(
        value=30.36,
        absolute=2e-5,
        source="weather-station forum thread comparing altimeter equations",
        locator="30.36 inHg at 100 ft gives 30.469582 inHg in the standard atmosphere's form",
        provenance="read",
    ).check(station_pressure_pa(altimeter_pa=30.469582 * INCH_PA, elevation_m=100.0 * FOOT_M) / INCH_PA)
