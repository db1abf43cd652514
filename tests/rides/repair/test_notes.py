"""What looks wrong is noted and not changed."""

from __future__ import annotations

import re

import numpy as np
import pytest

from fieldaero.rides.repair.notes import notes_on
from fieldaero.rides.repair.pauses import find_pauses
from tests.rides.repair.samples import NAN, no_breaks, samples


def riding(n=400, **more):
    t = np.arange(float(n))
    power = 200.0 + t % 7
    place = {"latitude_deg": np.full(n, -28.0), "longitude_deg": -122.0 + 10.0 * t / 98_360.0}
    return samples(t, **{"power_w": power, "speed_m_s": np.full(n, 10.0), **place, **more})


def noted(table):
    before = table.copy()
    notes = notes_on(table, find_pauses(table["time_s"].to_numpy(), no_breaks(table), []))
    assert table.equals(before)
    return "; ".join(notes)


def test_a_clean_ride_gets_no_note():
    assert noted(riding(altitude_m=100.0 + 0.2 * np.arange(400.0))) == ""


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"power_w": np.where(np.arange(400) < 100, NAN, 200.0 + np.arange(400) % 7)}, r"100 of 400 samples \(25 %\)"),
        ({"power_w": np.full(400, NAN)}, "no power was recorded"),
        ({"power_w": np.zeros(400)}, "no usable power"),
        ({"power_w": np.where(np.arange(400) < 20, 250.0, 200.0 + np.arange(400) % 7)}, "19 s, 1 time"),
        (
            {
                "power_w": np.where(np.arange(400) < 5, 0.0, 200.0 + np.arange(400) % 7),
                "cadence_rpm": np.full(400, 90.0),
            },
            "0 at a cadence of 60 or more in 5 samples",
        ),
        ({"altitude_m": -20.0 + 0.2 * (np.arange(400.0) % 3)}, "altitude goes down to -20 m"),
        ({"altitude_m": np.where(np.arange(400) < 200, 100.0, 150.2)}, "altitude jumps .* 1 time"),
        ({"altitude_m": 100.0 + np.arange(400.0) % 3}, "steps of 1 m"),
        ({"latitude_deg": np.full(400, NAN), "longitude_deg": np.full(400, NAN)}, "no position"),
        ({"speed_m_s": np.full(400, 10.4)}, "0.96[12] times the distance"),
        (
            {"longitude_deg": -122.0 + 10.0 * np.maximum(np.arange(400.0), 30.0) / 98_360.0},
            "stands still .* 30 samples",
        ),
    ],
)
def test_what_looks_wrong_is_noted(columns, words):
    assert re.search(words, noted(riding(**columns)))
