"""Normal gravity against WGS 84."""

import pytest

from fieldaero.physics.earth import normal_gravity_m_s2
from tests.published.published_value import PublishedValue, each

SOURCE = "NIMA TR8350.2, Somigliana's formula and second-order height term"
COMPUTED = "computed with a separate script"
READ = "read in an encyclopaedia text that cites the report"
HEIGHTS_M = (0.0, 100.0, 500.0, 1000.0, 2000.0)
TABLE = {
    0.0: (9.7803253359, 9.7800166, 9.7787817, 9.7772384, 9.7741528),
    30.0: (9.7932472692, 9.7929386, 9.7917041, 9.7901614, 9.7870769),
    40.0: (9.8016968628, 9.8013883, 9.8001541, 9.7986117, 9.7955279),
    45.0: (9.8061977694, 9.8058892, 9.8046552, 9.8031129, 9.8000296),
    50.0: (9.8107021356, 9.8103936, 9.8091597, 9.8076177, 9.8045347),
    60.0: (9.8191769531, 9.8188685, 9.8176349, 9.8160932, 9.8130109),
    90.0: (9.8321849379, 9.8318766, 9.8306434, 9.8291023, 9.8260211),
}
GRAVITIES = [
    PublishedValue(
        inputs={"latitude_deg": latitude, "height_m": height},
        value=value,
        absolute=1e-7,
        source=SOURCE,
        locator="chapter 4",
        provenance=READ if height == 0.0 and latitude in (0.0, 90.0) else COMPUTED,
    )
    for latitude, values in TABLE.items()
    for height, value in zip(HEIGHTS_M, values, strict=True)
]


@each(GRAVITIES)
def test_gravity(published):
    published.check(normal_gravity_m_s2(**published.inputs))


CLOSED_FORM = [
    PublishedValue(
        inputs={"latitude_deg": 45.0, "height_m": height},
        value=value,
        absolute=1e-7,
        source="exact closed form of normal gravity on and above the WGS 84 ellipsoid",
        locator="980619.77694, 980311.28969, 980002.94745 mGal",
        provenance="computed with boule 0.6.0",
    )
    for height, value in [(0.0, 9.8061977694), (1000.0, 9.8031128969), (2000.0, 9.8000294745)]
]


@each(CLOSED_FORM)
def test_gravity_is_that_of_the_exact_closed_form(published):
    # The height term leaves out squares of the flattening: 5e-8 m/s2 per 1000 m.
    published.check(normal_gravity_m_s2(**published.inputs))


def test_free_air_rule_of_thumb():
    # -3.086e-6 (m/s2)/m, from memory; over 1000 m it stays within 3e-6 m/s2.
    fall = normal_gravity_m_s2(latitude_deg=45.0, height_m=1000.0) - normal_gravity_m_s2(latitude_deg=45.0)
    assert float(fall) == pytest.approx(-3.086e-3, abs=3e-6)
