"""Wind with height: the logarithmic law over the Davenport-Wieringa roughness classes."""

from fieldaero.physics.wind import wind_at_height_m_s
from tests.published.published_value import PublishedValue, each

HEIGHTS_M = (1.0, 1.2, 1.5, 2.0)
TABLE = {
    0.0002: (0.7872, 0.8040, 0.8247, 0.8513),
    0.005: (0.6971, 0.7211, 0.7504, 0.7883),
    0.03: (0.6036, 0.6350, 0.6734, 0.7229),
    0.10: (0.5000, 0.5396, 0.5880, 0.6505),
    0.25: (0.3758, 0.4252, 0.4857, 0.5637),
}
RATIOS = [
    PublishedValue(
        inputs={"height_m": height, "roughness_length_m": z0},
        value=ratio,
        absolute=1e-4,
        source="Wieringa, J. Wind Eng. Ind. Aerodyn. 41 (1992) 357-368: roughness classes; log law",
        locator="u(z)/u(10 m)",
        provenance="classes read in a public teaching page and a regulatory guide; ratios computed with a script",
    )
    for z0, ratios in TABLE.items()
    for height, ratio in zip(HEIGHTS_M, ratios, strict=True)
]


@each(RATIOS)
def test_ratio_to_the_wind_at_10_m(published):
    published.check(wind_at_height_m_s(wind_speed_m_s=1.0, measured_height_m=10.0, **published.inputs))
