"""Resistance of a racing cyclist: di Prampero, Cortili, Mognoni, Saibene, J. Appl. Physiol. 47 (1979) 201-206."""

import pytest

from fieldaero.physics.road_power import power_w
from fieldaero.physics.system import System
from tests.published.published_value import PublishedValue

SOURCE = "di Prampero et al. 1979"
LOCATOR = "R = 3.2 + 0.19 v^2 [N], dropped posture"


def from_memory(value: float, what: str) -> PublishedValue:
    return PublishedValue(
        value=value, absolute=1e-9, source=SOURCE, locator=f"{LOCATOR}: {what}", provenance="from memory"
    )


@pytest.fixture
def power_of_the_paper():
    # Towed behind a car: no drivetrain.  The paper's constant holds all that does not grow
    # with v^2, so the bearings are taken out of it.
    system = System(mass_kg=80.0, power_at="hub")

    def power(speed: float) -> float:
        bearings = 0.091 + 0.0087 * speed
        crr = (3.2 - bearings) / (80.0 * 9.80665)
        return float(power_w(speed_m_s=speed, cda_m2=0.19 / 0.6, crr=crr, system=system, air_density_kg_m3=1.2))

    return power


def test_power_at_10_m_s(power_of_the_paper):
    from_memory(222.0, "222 W at 10 m/s").check(power_of_the_paper(10.0))


@pytest.mark.parametrize("speed", [5.0, 8.0, 12.5, 15.0])
def test_resistance_at_other_speeds(power_of_the_paper, speed):
    from_memory(3.2 + 0.19 * speed**2, f"{speed:g} m/s").check(power_of_the_paper(speed) / speed)
