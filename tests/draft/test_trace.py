"""A thinned trace keeps what the eye needs: peaks, gaps, laps that begin at nothing."""

from __future__ import annotations

import numpy as np
import pytest

from fieldaero.basics.errors import RideError
from fieldaero.draft.trace import thinned, trace_of, virtual_elevation_trace
from fieldaero.laps.lap_list import list_laps
from fieldaero.physics.system import System
from fieldaero.rides import read_ride, read_ride_bytes
from fieldaero.simulator.sample_folder import sample_folder


@pytest.fixture(scope="module")
def ride():
    return read_ride(sample_folder() / "morning.fit")


def test_extremes_survive_thinning():
    rng = np.random.default_rng(4)
    t, y = np.arange(20_000.0), rng.normal(size=20_000)
    kept_s, kept = thinned(t, y, points=200)
    assert len(kept) <= 202
    assert (kept.min(), kept.max()) == (y.min(), y.max())
    assert np.all(np.diff(kept_s) > 0.0)


def test_a_short_series_is_left_alone():
    t = np.arange(10.0)
    assert thinned(t, t)[0] is t


def test_a_hole_of_one_sample_still_breaks_the_line():
    t = np.arange(5000.0)
    y = np.where(t == 2345.0, np.nan, 1.0)
    assert np.isnan(thinned(t, y, points=100)[1]).sum() == 1


@pytest.mark.parametrize("quantity", ["speed", "power", "elevation"])
def test_a_trace_is_of_about_two_thousand_points_with_its_unit(ride, quantity):
    trace = trace_of(ride, quantity)
    assert 1000 < len(trace.time_s) <= 2002
    assert trace.label.endswith("]")


def test_speed_is_shown_in_km_h(ride):
    assert np.nanmax(trace_of(ride, "speed").values) == pytest.approx(3.6 * np.nanmax(ride.column("speed_m_s")))


def test_a_pause_breaks_the_trace():
    rows = "\n".join(f"{t},10.0,200" for t in [*range(60), *range(400, 460)])
    paused = read_ride_bytes(f"time_s,speed_m_s,power_w\n{rows}".encode(), name="paused.csv")
    assert np.isnan(trace_of(paused, "speed").values).sum() == 1


def test_what_was_not_recorded_cannot_be_traced():
    rows = "\n".join(f"{t},10.0,200" for t in range(60))
    bare = read_ride_bytes(f"time_s,speed_m_s,power_w\n{rows}".encode(), name="bare.csv")
    with pytest.raises(RideError, match="holds no elevation; choose another trace"):
        trace_of(bare, "elevation")


def test_virtual_elevation_begins_every_lap_at_nought_and_closes_the_median_lap(ride):
    laps = [lap for lap in list_laps(ride).laps if 3 <= lap.number <= 7]
    trace = virtual_elevation_trace(ride, laps, system=System(mass_kg=83.5), air_density_kg_m3=1.21, points=100_000)
    assert np.all(np.diff(trace.time_s) > 0.0)
    ends = []
    for lap in laps:
        inside = (trace.time_s >= lap.start_s) & (trace.time_s < lap.end_s) & np.isfinite(trace.values)
        mine = trace.values[inside]
        assert mine[0] == 0.0
        ends.append(float(mine[-1]))
    assert min(ends) < 0.0 < max(ends)
    assert "not the result" in trace.note


def test_without_a_lap_there_is_no_virtual_elevation(ride):
    with pytest.raises(RideError, match="no lap with power"):
        virtual_elevation_trace(ride, [], system=System(mass_kg=80.0), air_density_kg_m3=1.2)
