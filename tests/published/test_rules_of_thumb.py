"""Watts and forces that the trade quotes by heart, by arithmetic.

The rules themselves are common practice, no source; the numbers were computed from
1/2 rho CdA v^2 in a separate script.
"""

import pytest

from fieldaero.physics.road_power import power_w
from fieldaero.physics.system import System
from tests.published.published_value import PublishedValue, each

POUND_FORCE_N = 4.4482216
MPH_M_S = 0.44704
HUB = System(mass_kg=80.0, power_at="hub")
CRANK = System(mass_kg=80.0, power_at="crank")


def rule(value: float, what: str, **inputs: float) -> PublishedValue:
    return PublishedValue(
        inputs=inputs,
        value=value,
        relative=0.005,
        source="rule of thumb of the trade",
        locator=what,
        provenance="computed with a separate script",
    )


def watts(*, speed_km_h: float, cda_change_m2: float, system: System, air_density_kg_m3: float = 1.225) -> float:
    def power(cda_m2: float) -> float:
        return float(
            power_w(
                speed_m_s=speed_km_h / 3.6,
                cda_m2=cda_m2,
                crr=0.004,
                system=system,
                air_density_kg_m3=air_density_kg_m3,
            )
        )

    return power(0.25 + cda_change_m2) - power(0.25)


TENTH_OF_A_POUND = [
    rule(cda, "0.1 lbf at 30 mph", air_density_kg_m3=rho)
    for rho, cda in [(1.225, 0.00404), (1.20, 0.00412), (1.15, 0.00430)]
]


@each(TENTH_OF_A_POUND)
def test_a_tenth_of_a_pound_as_drag_area(published):
    v = 30.0 * MPH_M_S
    per_m2 = watts(speed_km_h=v * 3.6, cda_change_m2=0.001, system=HUB, **published.inputs) / 0.001
    published.check(0.1 * POUND_FORCE_N * v / per_m2)


def test_a_tenth_of_a_pound_in_watts():
    rule(5.97, "0.1 lbf at 30 mph [W]").check(0.1 * POUND_FORCE_N * 30.0 * MPH_M_S)


FIVE_THOUSANDTHS = [
    rule(value, "0.005 m2 [W at the road]", speed_km_h=speed)
    for speed, value in [(40.0, 4.20), (45.0, 5.98), (48.28032, 7.39), (50.0, 8.21)]
]


@each(FIVE_THOUSANDTHS)
def test_watts_of_five_thousandths_of_a_square_metre(published):
    at_the_road = watts(cda_change_m2=0.005, system=HUB, **published.inputs)
    published.check(at_the_road)
    # At the crank the chain is in between.
    at_the_crank = watts(cda_change_m2=0.005, system=CRANK, **published.inputs)
    assert at_the_crank == pytest.approx(at_the_road / 0.976, rel=1e-9)


def test_the_five_watts_are_exact_at_42_km_h():
    found = watts(speed_km_h=42.4, cda_change_m2=0.005, system=HUB)
    rule(5.0, "0.005 m2 [W at the road] at 42.4 km/h").check(found)


def test_a_change_of_crr_as_drag_area():
    # 0.0001 with 80 kg is 0.0785 N, as much as 0.0009 m2 at 12 m/s and 1.2 kg/m3.
    ride = {"speed_m_s": 12.0, "system": HUB, "air_density_kg_m3": 1.2, "gravity_m_s2": 9.81}
    rolling = power_w(cda_m2=0.25, crr=0.0041, **ride) - power_w(cda_m2=0.25, crr=0.0040, **ride)
    drag = power_w(cda_m2=0.2509, crr=0.0040, **ride) - power_w(cda_m2=0.25, crr=0.0040, **ride)
    assert float(rolling) / 12.0 == pytest.approx(0.0785, abs=0.00005)
    assert float(drag) == pytest.approx(float(rolling), rel=0.02)
