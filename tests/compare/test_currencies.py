"""The table of the three currencies."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.compare.currencies import DISTANCES_KM, POWERS_W, SPEEDS_KM_H, currencies
from fieldaero.physics.flat_road import FlatRoad
from fieldaero.physics.system import System
from tests.test_units_in_names import ends_in_a_unit

ROAD = FlatRoad(system=System(mass_kg=80.0), crr=0.004, air_density_kg_m3=1.2, gravity_m_s2=9.81)
FOUND = currencies(-0.010, interval_m2=(-0.014, -0.006), cda_m2=0.25, road=ROAD)
ENDS = {"": -0.010, "_low": -0.014, "_high": -0.006}


def steady_m_s(cda: float, power: float) -> float:
    """Balance of Martin et al. 1998 on the flat, written out."""
    return float(
        brentq(
            lambda v: 0.976 * power - v * (0.6 * cda * v**2 + 0.004 * 80.0 * 9.81 + 0.091 + 0.0087 * v),
            0.5,
            40.0,
            xtol=1e-13,
        )
    )


def test_every_speed_power_and_distance_has_its_row():
    assert FOUND.watts["speed_km_h"].tolist() == list(SPEEDS_KM_H) == [30, 35, 40, 45, 50, 55]
    asked = [(d, p) for d in DISTANCES_KM for p in POWERS_W]
    assert list(zip(FOUND.seconds["distance_km"], FOUND.seconds["power_w"], strict=True)) == asked
    assert {40.0, 90.0, 180.0} == set(DISTANCES_KM)
    assert (min(POWERS_W), max(POWERS_W)) == (150.0, 400.0)


@pytest.mark.parametrize(("end", "delta"), ENDS.items())
def test_watts_are_half_rho_v_cubed_over_the_efficiency(end, delta):
    v = FOUND.watts["speed_km_h"].to_numpy() / 3.6
    assert FOUND.watts[f"delta{end}_w"].to_numpy() == pytest.approx(0.6 * delta * v**3 / 0.976, rel=1e-12)


@pytest.mark.parametrize(("end", "delta"), ENDS.items())
def test_seconds_are_those_between_two_steady_rides(end, delta):
    for row in FOUND.seconds.to_dict("records"):
        bare, changed = (1000.0 * row["distance_km"] / steady_m_s(0.25 + x, row["power_w"]) for x in (0.0, delta))
        assert row["time_s"] == pytest.approx(bare, rel=1e-10)
        assert row["speed_km_h"] == pytest.approx(3600.0 * row["distance_km"] / bare, rel=1e-10)
        assert row[f"delta{end}_s"] == pytest.approx(changed - bare, abs=1e-5)


def test_the_area_in_per_cent():
    row = FOUND.area.iloc[0]
    assert row["delta_pct"] == pytest.approx(-4.0)
    assert (row["delta_low_pct"], row["delta_high_pct"]) == pytest.approx((-5.6, -2.4))


def test_an_interval_encloses_its_value_in_every_row():
    for frame, unit in ((FOUND.area, "m2"), (FOUND.watts, "w"), (FOUND.seconds, "s")):
        assert (frame[f"delta_low_{unit}"] < frame[f"delta_{unit}"]).all()
        assert (frame[f"delta_{unit}"] < frame[f"delta_high_{unit}"]).all()


def test_names_of_columns_end_in_units():
    for frame in (FOUND.area, FOUND.watts, FOUND.seconds, FOUND.to_frame()):
        assert [name for name in frame.columns if not ends_in_a_unit(name)] == []


def test_one_table_of_all():
    table = FOUND.to_frame()
    assert len(table) == len(FOUND.watts) + len(FOUND.seconds)
    assert table["delta_w"].notna().sum() == len(FOUND.watts)
    assert table["delta_s"].notna().sum() == len(FOUND.seconds)
    assert not (table["delta_w"].notna() & table["delta_s"].notna()).any()


def test_own_ranges():
    found = currencies(
        0.0, interval_m2=None, cda_m2=0.25, road=ROAD, speeds_km_h=[42.0], powers_w=[275.0], distances_km=[20.0, 60.0]
    )
    assert found.watts["speed_km_h"].tolist() == [42.0]
    assert found.seconds["distance_km"].tolist() == [20.0, 60.0]
    assert found.seconds["delta_s"].tolist() == [0.0, 0.0]
    assert np.isnan(found.seconds["delta_low_s"]).all()


def test_an_end_below_no_drag_at_all_has_no_time():
    found = currencies(-0.1, interval_m2=(-0.3, 0.1), cda_m2=0.25, road=ROAD)
    assert np.isnan(found.seconds["delta_low_s"]).all()
    assert found.seconds["delta_high_s"].notna().all()
    assert found.watts["delta_low_w"].notna().all()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"interval_m2": (0.1, -0.1)}, "give the lower end first"),
        ({"cda_m2": 0.005}, "allowed is above 0"),
        ({"cda_m2": float("nan")}, "allowed is above 0"),
        ({"powers_w": [200.0, -5.0]}, "powers_w is -5"),
        ({"powers_w": [0.0]}, "powers_w holds 0"),
        ({"distances_km": [-40.0]}, "distances_km is -40"),
        ({"speeds_km_h": [400.0]}, "speeds_km_h is 400"),
        ({"speeds_km_h": [float("nan")]}, "speeds_km_h holds nan"),
    ],
)
def test_bad_input_is_refused(change, says):
    usual = {"interval_m2": (-0.014, -0.006), "cda_m2": 0.25, "road": ROAD}
    with pytest.raises(OutOfRangeError, match=says):
        currencies(-0.01, **(usual | change))
