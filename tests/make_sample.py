"""The sample session: an invented test of three handlebar set-ups on an invented loop.

Run ``python -m tests.make_sample [FOLDER]`` to make it anew; the bytes are the same every time.
"""

from __future__ import annotations

import argparse
import json
from datetime import UTC, datetime
from pathlib import Path

from fieldaero.basics.output_files import write_text
from fieldaero.physics.system import System
from fieldaero.physics.wind import wind_at_height_m_s
from fieldaero.simulator.course_shape import CourseShape
from fieldaero.simulator.fit_file import write_fit
from fieldaero.simulator.sample_folder import SAMPLE_SHEET
from fieldaero.simulator.scenario import Scenario
from fieldaero.simulator.sensors import Sensors
from fieldaero.simulator.session import simulate_session
from fieldaero.simulator.wind import Wind

SAMPLE_RIDE = "morning.fit"
SEED = 20260503
ROAD, LOW, NARROW = "road bar", "low extensions", "narrow extensions"
WIND_AT_RIDER_M_S, WIND_FROM_DEG = 1.2, 240.0

ORDER = ("-", ROAD, LOW, NARROW, NARROW, LOW, ROAD, ROAD, LOW, NARROW, NARROW, LOW, ROAD, "-")
BRAKED, STOPPED = 5, 10


def sample_scenario() -> Scenario:
    """Return the scenario behind the sample."""
    return Scenario(
        setups={ROAD: 0.298, LOW: 0.262, NARROW: 0.255},
        order=ORDER,
        course=CourseShape(length_m=2300.0, height_m=9.0, latitude_deg=-28.5, longitude_deg=-122.25),
        system=System(mass_kg=83.5, crr=0.0047),
        sensors=Sensors(power_scale=1.005),
        wind=Wind(speed_m_s=WIND_AT_RIDER_M_S, from_deg=WIND_FROM_DEG, slow_sd_m_s=0.25, gust_sd_m_s=0.3),
        power_w=235.0,
        cda_lap_sd_m2=0.001,
        braked_laps=(BRAKED,),
        stopped_laps=(STOPPED,),
        temperature_c=16.0,
        pressure_hpa=1009.0,
        relative_humidity=0.7,
        start_time=datetime(2026, 5, 3, 6, 40, tzinfo=UTC),
    )


def make_sample(folder: Path) -> None:
    """Write the sample session into a folder, replacing an earlier one."""
    folder.mkdir(parents=True, exist_ok=True)
    session = simulate_session(sample_scenario(), seed=SEED)
    write_fit(session.ride, folder / SAMPLE_RIDE, replace=True)
    write_text(json.dumps(session.truth.to_dict(), indent=2) + "\n", folder / "truth.json", replace=True)
    write_text(_sheet(), folder / SAMPLE_SHEET, replace=True)
    write_text(README, folder / "README.md", replace=True)


def _sheet() -> str:
    # Reports give the wind at 10 m; the log law over short grass brings it down to the rider.
    at_mast = WIND_AT_RIDER_M_S / float(wind_at_height_m_s(wind_speed_m_s=1.0, measured_height_m=10.0))
    used = ["-", *ORDER, "-"]
    used[STOPPED] = "-"
    return f"""\
# Sample run sheet: invented data, see README.md. `fieldaero analyse {SAMPLE_SHEET}`
schema = 1
title = "Three bars on the lagoon loop (invented data)"
baseline = "{ROAD}"

[system]                        # rider, bike and all that is carried
mass_kg = 83.5
mass_sd_kg = 0.5
wheel_inertia_kg_m2 = 0.14      # both wheels together
wheel_circumference_m = 2.105
power_at = "crank"
crr = 0.0045                    # the true one is a little higher, as it would be
crr_sd = 0.0007

[analysis]
smallest_difference_m2 = 0.002
report_speed_km_h = 45
report_distance_km = 40
report_power_w = 250

[[weather]]
time = 2026-05-03T06:40:00Z
temperature_c = 15.6
pressure_hpa = 1009.1           # at the course
relative_humidity_pct = 71
wind_speed_m_s = {at_mast:.1f}
wind_from_deg = 235
wind_height_m = 10

[[weather]]
time = 2026-05-03T07:40:00Z
temperature_c = 16.5
pressure_hpa = 1008.9
relative_humidity_pct = 69
wind_speed_m_s = {at_mast + 0.2:.1f}
wind_from_deg = 245
wind_height_m = 10

[[setups]]
name = "{ROAD}"
description = "hands on the hoods, forearms level"

[[setups]]
name = "{LOW}"
description = "clip-on extensions, pads 20 mm lower"
mass_change_kg = 0.0

[[setups]]
name = "{NARROW}"
description = "the same extensions, elbows 60 mm closer"

[[rides]]
file = "{SAMPLE_RIDE}"
lap_source = "button"
# In order: the way to the line, warm-up, the test, cool-down, the rest.  Lap {STOPPED + 1} has a halt in it.
laps = {json.dumps(used)}

[[claims]]
setup = "{NARROW}"
versus = "{ROAD}"
saves = 150
unit = "s"
distance_km = 40
power_w = 250

[[claims]]
setup = "{LOW}"
versus = "{ROAD}"
saves = 65                      # at report_speed_km_h, as the claim names no speed
unit = "W"

[[tunnel]]
setup = "{NARROW}"
yaw_deg = [-10, -5, 0, 5, 10]   # flow from the rider's right is positive
cda_m2 = [0.249, 0.252, 0.254, 0.252, 0.248]
sd_m2 = 0.001
note = "invented sweep"

[[tunnel]]
setup = "{ROAD}"
yaw_deg = [0, 5, 10]            # one side only: the other is taken to be the same
cda_m2 = [0.300, 0.299, 0.296]
sd_m2 = 0.001
note = "invented sweep"

[[races]]                       # seconds over a course beside the flat distance; also file = "course.gpx"
name = "a long course on roads like this loop"
distance_km = 90
road = "lap"
power_w = 210
highest_speed_km_h = 60
"""


README = f"""\
# Sample session: invented data

A simulated ride on an invented loop in open water, with three invented states of a
handlebar. No person rode it, no place looks like it, and no product is meant.

- `{SAMPLE_SHEET}`: the run sheet
- `{SAMPLE_RIDE}`: the ride, one sample a second, with a warm-up and a cool-down lap, one lap
  with a hard braking in it and one with a halt
- `truth.json`: what the ride was simulated with; the analysis does not look at it

`fieldaero analyse {SAMPLE_SHEET}` analyses it. `python -m tests.make_sample FOLDER`
in a checkout makes the same files again, byte for byte.
"""


def main() -> None:
    """Make the sample session in the folder given on the command line."""
    parser = argparse.ArgumentParser(description="Make the sample session; the same bytes every time.")
    parser.add_argument("folder", nargs="?", default="sample_rides", type=Path)
    make_sample(parser.parse_args().folder)


if __name__ == "__main__":
    main()
