"""How drag areas answer to a wrong input, against refits with that input changed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldaero.estimate.cut_laps import cut_laps, fittable_laps
from fieldaero.estimate.joint_fit.input_sensitivities import input_sensitivities
from fieldaero.simulator import Sensors
from tests.estimate.joint_fit.fitted_sessions import CALM, CRR, fit_of, fitted, opened, segments_of
from tests.simulator.sessions import OUT_AND_BACK, scenario

SEED, STEP = 3, 0.005
WHAT = {"wind": CALM, "sensors": Sensors()}
# A changed input also changes how laps weigh, which is no part of the sensitivity: some 1 % of the drag
# area for an input wrong by the whole of itself.
WEIGHING_M2 = 0.0026


def as_refitted(change, *, step=STEP, **what):
    """Slope of the drag areas by refits with a change of plus and minus a step, at the same noise."""
    theta = fitted(SEED, **WHAT, **what).theta
    ahead, behind = (fit_of(theta=theta, **change(sign * step)).cda_m2 for sign in (1.0, -1.0))
    return (ahead - behind) / (2.0 * step)


def sensitivities(**what):
    return input_sensitivities(fitted(SEED, **WHAT, **what))


def cut_anew(**changes):
    session = opened(SEED, **changes, **WHAT)
    return cut_laps(session, fittable_laps(session))


def scaled(**columns):
    def edit(table):
        for name, factor in columns.items():
            table[name] *= factor
        return table

    return edit


def test_mass():
    mass = scenario().system.mass_kg
    slope = as_refitted(lambda e: {"segments": cut_anew(sheet={"mass_kg": mass * (1.0 + e)})})
    assert sensitivities().mass_m2 == pytest.approx(slope, rel=0.02, abs=WEIGHING_M2)


def test_power_scale():
    slope = as_refitted(lambda e: {"segments": cut_anew(edit=scaled(power_w=1.0 + e))})
    assert np.all(slope > 0.2)
    assert sensitivities().power_scale_m2 == pytest.approx(slope, rel=0.02)


def test_wheel_circumference():
    slope = as_refitted(lambda e: {"segments": cut_anew(edit=scaled(speed_m_s=1.0 + e, distance_m=1.0 + e))})
    assert np.all(slope < -0.5)
    assert sensitivities().speed_scale_m2 == pytest.approx(slope, rel=0.02)


def test_wheel_circumference_where_every_lap_brakes_and_speeds_up_again():
    segments = segments_of(SEED, **WHAT, course=OUT_AND_BACK)

    def faster(e):
        s = 1.0 + e
        kinetic = segments.kinetic_m * s**2
        return {
            "segments": replace(
                segments,
                base_m=segments.work_m - kinetic,
                kinetic_m=kinetic,
                still_air_m_per_m2=segments.still_air_m_per_m2 * s**3,
                wind_first=segments.wind_first * s**2,
                wind_second=segments.wind_second * s,
                roll_m=segments.roll_m * s,
                braked_m=segments.braked_m * s,
                speed_m_s=segments.speed_m_s * s,
            )
        }

    slope = as_refitted(faster, course=OUT_AND_BACK)
    assert sensitivities(course=OUT_AND_BACK).speed_scale_m2 == pytest.approx(slope, rel=0.02)


def test_air_density():
    segments = segments_of(SEED, **WHAT)

    def denser(e):
        names = ("still_air_m_per_m2", "wind_first", "wind_second")
        return {"segments": replace(segments, **{name: getattr(segments, name) * (1.0 + e) for name in names})}

    assert sensitivities().air_density_m2 == pytest.approx(as_refitted(denser), rel=0.01)


def test_air_density_goes_with_minus_the_drag_area_itself():
    fit = fitted(SEED, **WHAT)
    assert input_sensitivities(fit).air_density_m2 == pytest.approx(-fit.cda_m2, rel=0.02)


def test_crr():
    segments = segments_of(SEED, **WHAT)
    slope = as_refitted(lambda e: {"segments": segments, "crr": CRR + e}, step=2e-4)
    assert np.all(slope < -5.0)
    assert sensitivities().crr_m2 == pytest.approx(slope, rel=0.02)


def test_what_has_no_balance_answers_to_nothing():
    segments = segments_of(SEED, **WHAT)
    unknown = segments.unknown_s.copy()
    unknown[0] = segments.duration_s[0]
    unknown[0, 0] = 0.0
    theta = fitted(SEED, **WHAT).theta
    lost = input_sensitivities(fit_of(replace(segments, unknown_s=unknown), theta=theta))
    whole = input_sensitivities(fitted(SEED, **WHAT))
    assert lost.power_scale_m2[1:] == pytest.approx(whole.power_scale_m2[1:], rel=0.05)
    assert not np.isclose(lost.power_scale_m2[0], whole.power_scale_m2[0], rtol=0.05)
