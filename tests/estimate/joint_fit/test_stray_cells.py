"""Places where one lap is astray, and what they do to the others."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldaero.estimate.joint_fit.stray_cells import stray_cells
from tests.estimate.joint_fit.fitted_sessions import BREEZE, CRR, difference, fit_of, segments_of
from tests.estimate.joint_fit.small_sessions import random_segments
from tests.simulator.sessions import LOOP, ORDER


def session(*, laps=8, sd_m=0.05):
    """Laps alike but for normal noise of this size."""
    rng = np.random.default_rng(7)
    segments = random_segments(rng, laps=laps, per_lap=40)
    rise = rng.normal(size=40)
    noise = sd_m * rng.normal(size=(laps, 40))
    return replace(segments, base_m=0.26 * segments.still_air_m_per_m2 + CRR * segments.roll_m + rise + noise)


def moved(segments, lap, cell, by_m):
    base = segments.base_m.copy()
    base[lap, cell] += by_m
    return replace(segments, base_m=base)


def test_normal_noise_has_no_strays():
    assert not stray_cells(session(), crr=CRR).any()


@pytest.mark.parametrize("by_m", [-0.8, 0.8])
def test_one_place_far_away_is_found(by_m):
    found = stray_cells(moved(session(), 3, 17, by_m), crr=CRR)
    assert np.argwhere(found).tolist() == [[3, 17]]


def test_a_place_where_every_lap_differs_has_no_strays():
    segments = session()
    base = segments.base_m.copy()
    base[:, 9] += np.linspace(-0.8, 0.8, 8)
    assert not stray_cells(replace(segments, base_m=base), crr=CRR)[:, 9].any()


def test_what_is_braked_or_unknown_is_known_for_what_it_is():
    segments = moved(moved(session(), 3, 17, 0.8), 5, 20, 0.8)
    braked, unknown = segments.braked_s.copy(), segments.unknown_s.copy()
    braked[3, 17], unknown[5, 20] = 2.0, 4.0
    assert not stray_cells(replace(segments, braked_s=braked, unknown_s=unknown), crr=CRR).any()


def test_three_laps_do_not_tell_which_is_astray():
    assert not stray_cells(moved(session(laps=3), 1, 17, 0.8), crr=CRR).any()


def test_a_lap_that_strays_for_long_is_left_whole_to_be_called_an_outlier():
    segments = session()
    base = segments.base_m.copy()
    base[2, 5:12] += 0.8
    assert not stray_cells(replace(segments, base_m=base), crr=CRR).any()


def test_another_drag_area_is_not_astray():
    segments = session()
    base = segments.base_m + np.where(np.arange(8) % 2, 0.03, 0.0)[:, None] * segments.still_air_m_per_m2
    assert not stray_cells(replace(segments, base_m=base), crr=CRR).any()


def test_a_stretch_astray_no_longer_spoils_the_other_laps():
    clean = segments_of(4, course=LOOP, wind=BREEZE)
    astray = moved(clean, 2, 11, 4.0)
    far = stray_cells(astray, crr=CRR)
    assert np.argwhere(far).tolist() == [[2, 11]]
    cut = replace(astray, unknown_s=np.where(far, astray.duration_s, astray.unknown_s))
    (delta, se), (_, spoilt_se), (clean_delta, clean_se) = (difference(fit_of(s), ORDER) for s in (cut, astray, clean))
    assert spoilt_se > 1.5 * clean_se
    assert se < 1.1 * clean_se
    assert delta == pytest.approx(clean_delta, abs=0.5 * clean_se)
