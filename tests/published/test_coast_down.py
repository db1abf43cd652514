"""Coasting on a flat, windless road: an exact solution, which virtual elevation must show as flat.

With a = Crr g and b = rho CdA / 2m the motion dv/dt = -(a + b v^2) has the solution

    v(t) = sqrt(a/b) tan[atan(v0 sqrt(b/a)) - t sqrt(ab)],
    v(x)^2 = (v0^2 + a/b) exp(-2 b x) - a/b.
"""

import math

import numpy as np
import pytest

from fieldaero.answers.race import motion as course_motion
from fieldaero.answers.race.motion import Mover, RoadPieces, arrival, march
from fieldaero.physics.height_gain import height_gain_terms
from fieldaero.physics.system import System
from tests.published.published_value import PublishedValue

MASS, CRR, CDA, RHO, G = 85.0, 0.004, 0.30, 1.2, 9.80665
A, B = CRR * G, RHO * CDA / (2.0 * MASS)
B0, B1 = 0.091, 0.0087  # wheel bearings, Martin et al. 1998
WITHOUT_INERTIA = System(mass_kg=MASS, wheel_inertia_kg_m2=0.0)
ROAD = {"cda_m2": CDA, "crr": CRR, "air_density_kg_m3": RHO, "gravity_m_s2": G}

# Start speed, distance, speed there, time to there.
TABLE = [
    (12.0, 200.0, 7.151642, 21.656315),
    (10.0, 150.0, 6.653402, 18.405004),
    (15.0, 300.0, 7.058701, 29.418304),
]


def speed_at(t, v0):
    return math.sqrt(A / B) * np.tan(math.atan(v0 * math.sqrt(B / A)) - np.asarray(t) * math.sqrt(A * B))


def computed(value: float, what: str) -> PublishedValue:
    return PublishedValue(
        value=value,
        absolute=1e-6,
        source="exact solution of the coast-down",
        locator=what,
        provenance="computed with a separate script",
    )


def virtual_elevation(t, v, *, power_w, system, cda_m2, crr, **air):
    terms = height_gain_terms(
        power_w=power_w, start_speed_m_s=v[:-1], end_speed_m_s=v[1:], duration_s=np.diff(t), system=system, **air
    )
    gains = terms.base_m - cda_m2 * terms.per_cda_m_per_m2 - crr * terms.per_crr_m
    return np.concatenate([[0.0], np.cumsum(gains)])


def power_of_the_bearings(t, v, system):
    """Mean power at the meter that makes up for the bearings, which the closed form leaves out."""
    work = B0 * (v[1:] + v[:-1]) / 2.0 + B1 * (v[1:] ** 2 + v[1:] * v[:-1] + v[:-1] ** 2) / 3.0
    return work / system.efficiency


@pytest.mark.parametrize(("v0", "x", "v_end", "t_end"), TABLE)
def test_the_closed_form_is_the_tabulated_one(v0, x, v_end, t_end):
    v = math.sqrt((v0**2 + A / B) * math.exp(-2.0 * B * x) - A / B)
    computed(v_end, f"v after {x:g} m").check(v)
    computed(v_end, f"v after {t_end:g} s").check(speed_at(t_end, v0))


def coast(v0, t_end, step, cda=CDA):
    t = np.append(np.arange(0.0, t_end - 1e-9, step), t_end)
    v = speed_at(t, v0)
    power = power_of_the_bearings(t, v, WITHOUT_INERTIA)
    return virtual_elevation(t, v, power_w=power, system=WITHOUT_INERTIA, **{**ROAD, "cda_m2": cda})


@pytest.mark.parametrize(("v0", "x", "v_end", "t_end"), TABLE)
@pytest.mark.parametrize("step", [0.5, 0.25])
def test_coast_down_is_flat_to_a_millimetre(v0, x, v_end, t_end, step):
    assert np.max(np.abs(coast(v0, t_end, step))) < 0.001


@pytest.mark.parametrize(("v0", "x", "v_end", "t_end"), TABLE)
def test_samples_at_one_second_cost_less_than_a_twentieth_of_a_per_cent_of_drag_area(v0, x, v_end, t_end):
    # A straight line between samples 1 s apart misses the curve of so hard a deceleration: the
    # virtual elevation ends 0.5 to 2.9 mm low.  As a drag area that closes it, this is nothing.
    low = coast(v0, t_end, 1.0)[-1]
    per_m2 = coast(v0, t_end, 1.0, CDA + 1.0)[-1] - low
    assert abs(low / per_m2) < 0.0005 * CDA


def test_the_remaining_error_falls_with_the_square_of_the_step():
    errors = [coast(12.0, 20.0, step)[-1] for step in (2.0, 1.0, 0.5)]
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.05)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.05)


def test_coast_down_with_bearings_and_turning_wheels_is_flat_too():
    # M dv/dt = -(a + b v + c v^2) with b from the bearings, solved by the same substitution shifted by b / 2c.
    system = System(mass_kg=MASS)
    M = MASS + system.rotating_mass_kg
    a, b, c = (MASS * A + B0) / M, B1 / M, RHO * CDA / (2.0 * M)
    root, shift = math.sqrt(a / c - (b / (2.0 * c)) ** 2), b / (2.0 * c)
    t = np.arange(0.0, 20.5, 0.5)
    v = root * np.tan(math.atan((12.0 + shift) / root) - c * root * t) - shift
    elevation = virtual_elevation(t, v, power_w=0.0, system=system, **ROAD)
    assert np.max(np.abs(elevation)) < 0.001


def test_a_drag_area_one_per_cent_too_large_shows_as_its_share_of_the_drag_work():
    t = np.arange(0.0, 20.0 + 1e-9, 0.01)
    v = speed_at(t, 12.0)
    drag_work = 0.5 * RHO * CDA * np.trapezoid(v**3, t)
    fall = coast(12.0, 20.0, 0.5, CDA * 1.01)[-1] - coast(12.0, 20.0, 0.5)[-1]
    assert fall == pytest.approx(-0.01 * drag_work / (MASS * G), rel=1e-3)


@pytest.mark.parametrize(("v0", "x", "v_end", "t_end"), TABLE)
def test_the_equation_of_motion_coasts_as_the_closed_form_says(monkeypatch, v0, x, v_end, t_end):
    monkeypatch.setattr(course_motion, "BEARING_N", 0.0)
    monkeypatch.setattr(course_motion, "BEARING_N_S_M", 0.0)
    coasting = Mover(wheel_power_w=0.0, mass_kg=MASS, inertia_kg=MASS, cda_m2=CDA, crr=CRR, gravity_m_s2=G)
    road = RoadPieces(
        length_m=np.array([x]),
        grade=np.zeros(1),
        wind_along_m_s=np.zeros(1),
        wind_across_m_s=np.zeros(1),
        air_density_kg_m3=np.array([RHO]),
    )
    index, length, speed = march(coasting, road, start_m_s=v0)
    time, speed = arrival(coasting, road.cut(index, length), start_m_s=v0, guess_m_s=speed)
    assert speed[-1] == pytest.approx(v_end, abs=2e-5)
    assert time[-1] == pytest.approx(t_end, abs=2e-4)
