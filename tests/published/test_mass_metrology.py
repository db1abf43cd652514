"""Air density against worked values of mass metrology, printed for older equations of the same family."""

from math import exp

from fieldaero.physics.moist_air import air_density_kg_m3
from tests.published.published_value import PublishedValue, each

MMHG_PA = 133.322387
QUOTED = "read in the test file of the R package masscor, which quotes it"


def row(t_c: float, mmhg: float, rh: float, rho: float, source: str, locator: str) -> PublishedValue:
    return PublishedValue(
        inputs={"temperature_c": t_c, "pressure_pa": mmhg * MMHG_PA, "relative_humidity": rh},
        value=rho,
        relative=1e-4,
        source=source,
        locator=locator,
        provenance=QUOTED,
    )


SOP_2 = "NIST SOP 2 (NISTIR 6969), equation of Jones"
GUPTA = "Gupta, Mass Metrology (Springer 2012)"
DENSITIES = [
    row(22.3, 748.1, 0.37, 1.17194, SOP_2, "appendix B, example 1"),
    row(23.4, 612.3, 0.23, 0.95632, SOP_2, "appendix B, example 3"),
    row(10.0, 730.0, 0.40, 1.19569, GUPTA, "page 205, table"),
    row(40.0, 760.0, 0.40, 1.11497, GUPTA, "page 205, table"),
    row(25.0, 760.0, 0.40, 1.1787, "CIPM approximate formula", "worked value"),
]


@each(DENSITIES)
def test_density_agrees_with_a_worked_value(published):
    published.check(air_density_kg_m3(**published.inputs))


def test_the_approximate_formula_holds_within_its_uncertainty():
    # rho = [0.34848 p - 0.009 h exp(0.061 t)] / (273.15 + t), p in hPa, h in %: OIML R 111, relative
    # uncertainty 2e-4, from memory; it reproduces the last row above to 3e-5.
    for t, p, h in [(15.0, 1013.25, 50.0), (20.0, 950.0, 30.0), (25.0, 1000.0, 70.0)]:
        approximate = (0.34848 * p - 0.009 * h * exp(0.061 * t)) / (273.15 + t)
        found = float(air_density_kg_m3(temperature_c=t, pressure_pa=p * 100.0, relative_humidity=h / 100.0))
        assert abs(found / approximate - 1.0) < 2e-4
