"""The standard atmosphere against ISO 2533:1975 and two independent libraries' values."""

from fieldaero.physics.atmosphere import standard_atmosphere
from tests.published.published_value import PublishedValue, each

EARTH_RADIUS_M = 6356766.0  # the standard atmosphere's
ISO = "ISO 2533:1975 (ICAO Doc 7488, U.S. Standard Atmosphere 1976)"


def rows(table, quantity, locator, provenance, relative):
    return [
        PublishedValue(
            inputs={"height_m": height},
            value=value,
            relative=relative,
            source=ISO,
            locator=f"{quantity}, {locator}",
            provenance=provenance,
        )
        for height, value in table
    ]


CLOSED = "computed with the closed form p0 (T/T0)^(g / R L)"
LIBRARIES = "computed with ambiance 1.3.1 and fluids 1.3.1, which agree to 1e-6"
TEMPERATURES = rows(
    [(0.0, 288.15), (500.0, 284.90), (1000.0, 281.65), (2000.0, 275.15), (3000.0, 268.65)],
    "temperature [K]",
    "geopotential height",
    CLOSED,
    1e-9,
)
PRESSURES = rows(
    [(0.0, 101325.0), (500.0, 95460.8), (1000.0, 89874.6), (2000.0, 79495.2), (3000.0, 70108.5)],
    "pressure [Pa]",
    "geopotential height",
    CLOSED,
    1e-5,
)
DENSITIES = rows(
    [(0.0, 1.22500), (500.0, 1.167269), (1000.0, 1.111643), (2000.0, 1.006490), (3000.0, 0.909122)],
    "density [kg/m3]",
    "geopotential height",
    CLOSED,
    1e-5,
)
GEOMETRIC_PRESSURES = rows(
    [(0.0, 101325.0), (500.0, 95461.3), (1000.0, 89876.3), (2000.0, 79501.4), (3000.0, 70121.1)],
    "pressure [Pa]",
    "geometric height",
    LIBRARIES,
    1e-5,
)
GEOMETRIC_DENSITIES = rows(
    [(0.0, 1.22500), (500.0, 1.167273), (1000.0, 1.111660), (2000.0, 1.006554), (3000.0, 0.909254)],
    "density [kg/m3]",
    "geometric height",
    LIBRARIES,
    1e-5,
)
HANDBOOK_PRESSURES = [
    PublishedValue(
        inputs={"height_m": height},
        value=value,
        absolute=1.0,
        source="ASHRAE Handbook Fundamentals 2017, chapter 1",
        locator="table 1",
        provenance="read in PsychroLib's test suite, which cites the table",
    )
    for height, value in [(500.0, 95461.0), (1000.0, 89875.0), (4000.0, 61640.0)]
]


@each(TEMPERATURES)
def test_temperature(published):
    published.check(standard_atmosphere(geopotential_height_m=published.inputs["height_m"])[0])


@each(PRESSURES + HANDBOOK_PRESSURES)
def test_pressure(published):
    published.check(standard_atmosphere(geopotential_height_m=published.inputs["height_m"])[1])


@each(DENSITIES)
def test_density(published):
    published.check(standard_atmosphere(geopotential_height_m=published.inputs["height_m"])[2])


def geopotential_m(geometric_m):
    return EARTH_RADIUS_M * geometric_m / (EARTH_RADIUS_M + geometric_m)


@each(GEOMETRIC_PRESSURES)
def test_pressure_at_geometric_height(published):
    height = geopotential_m(published.inputs["height_m"])
    published.check(standard_atmosphere(geopotential_height_m=height)[1])


@each(GEOMETRIC_DENSITIES)
def test_density_at_geometric_height(published):
    height = geopotential_m(published.inputs["height_m"])
    published.check(standard_atmosphere(geopotential_height_m=height)[2])
