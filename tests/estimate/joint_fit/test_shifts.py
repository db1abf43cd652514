"""Laps whose line was crossed a metre or two away from where satellites saw it, on a steep road."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldaero.estimate.joint_fit import noise
from tests.estimate.joint_fit.fitted_sessions import CALM, difference, fit_of, segments_of
from tests.simulator.sessions import LEVEL, ORDER

WAVES, HEIGHT_M = 6, 2.5  # on a lap of the course: grades of some 5 %


def on_a_steep_road(segments, *, shift_m):
    """The same laps over waves of road, each lap seen as much too far along it."""
    edge = segments.cells.edge_m
    k = 2.0 * np.pi * WAVES / edge[-1]
    height = HEIGHT_M * np.sin(k * (edge[None, :] + np.asarray(shift_m)[:, None]))
    return replace(segments, base_m=segments.base_m + np.diff(height, axis=1))


@pytest.mark.parametrize("seed", [4, 5])
def test_a_shift_along_a_steep_road_does_not_pass_for_wind(seed, monkeypatch):
    even = segments_of(seed, course=LEVEL, wind=CALM)
    shift = 3.0 * np.random.default_rng(seed).normal(size=even.laps)
    shifted = on_a_steep_road(even, shift_m=shift)
    (clean, clean_se), (found, se) = (difference(fit_of(s), ORDER) for s in (even, shifted))
    assert found == pytest.approx(clean, abs=0.5 * clean_se)
    assert se == pytest.approx(clean_se, rel=0.25)
    monkeypatch.setattr(noise, "SHIFT_SD_M", 1e-6)
    _, mistaken_se = difference(fit_of(shifted), ORDER)
    assert mistaken_se > 2.0 * clean_se
