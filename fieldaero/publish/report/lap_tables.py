"""Tables of the laps: where each ended on the road profile, its air, its yaw, and what was taken as given."""

from __future__ import annotations

from fieldaero.answers.result import Result
from fieldaero.answers.tables import Table, table
from fieldaero.basics.formatting import MISSING, name, number, value_with_uncertainty
from fieldaero.run_sheet.schema import NOT_USED

__all__ = ["air_table", "elevation_table", "given_table", "profile_table", "yaw_table"]

SIDE_BY_SIDE = 3


def elevation_table(result: Result) -> Table:
    """Where each lap's virtual elevation ends, and how far it strays from the road."""
    closure = {(row.ride, row.lap): row for row in result.lap_results}
    rows = [
        [
            str(lap.lap),
            name(lap.setup),
            number(lap.end_m, places=2, signed=True),
            number(lap.residual_largest_m, places=2),
            number(closure[lap.ride, lap.lap].residual_rms_m, places=3),
            value_with_uncertainty(closure[lap.ride, lap.lap].cda_m2, closure[lap.ride, lap.lap].cda_se_m2),
            number(closure[lap.ride, lap.lap].closure_cda_m2, places=4),
        ]
        for lap in result.supporting_data.elevation.laps
    ]
    header = (
        "lap",
        "setup",
        "ends at [m]",
        "farthest from the road profile [m]",
        "residual per segment [m]",
        "CdA, joint fit [m²]",
        "CdA, closure [m²]",
    )
    return table("Virtual elevation and closure of each lap", header, rows, words=(0, 1))


def profile_table(result: Result) -> Table:
    """Return the road profile that all laps share, in several columns side by side."""
    road = result.supporting_data.elevation
    points = [
        [number(at), number(height, places=2, signed=True)]
        for at, height in zip(road.position_m, road.road_m, strict=True)
    ]
    tall = -(-len(points) // SIDE_BY_SIDE)
    points += [["", ""]] * (tall * SIDE_BY_SIDE - len(points))
    rows = [[cell for k in range(SIDE_BY_SIDE) for cell in points[row + k * tall]] for row in range(tall)]
    header = ("distance [m]", "elevation [m]") * SIDE_BY_SIDE
    return table("Road profile above the start line", header, rows, words=())


def air_table(result: Result) -> Table:
    """Air, wind and yaw of each lap."""
    rows = [
        [
            str(row.lap),
            MISSING if row.setup == NOT_USED else name(row.setup),
            number(row.middle_min, places=1),
            number(row.temperature_c, places=1),
            number(row.pressure_hpa, places=1),
            number(row.relative_humidity_pct),
            _wind(row.observed_wind_m_s, row.observed_wind_from_deg),
            _wind(row.wind_m_s, row.wind_from_deg),
            MISSING
            if row.yaw_low_deg is None
            else f"{number(row.yaw_low_deg, places=1)} to {number(row.yaw_high_deg, places=1)}",
        ]
        for row in result.supporting_data.air
    ]
    header = (
        "lap",
        "setup",
        "middle [min]",
        "temperature [°C]",
        "pressure [hPa]",
        "humidity [%]",
        "wind observed [m/s from °]",
        "wind at the rider, fitted [m/s from °]",
        "yaw, middle nine tenths [°]",
    )
    muted = [k for k, row in enumerate(result.supporting_data.air) if row.wind_m_s is None]
    return table("Air, wind and yaw of each lap", header, rows, words=(0, 1), muted=muted)


def yaw_table(result: Result) -> Table:
    """Shares of yaw, a column per setup."""
    shares = [{one.low_deg: one for one in ridden.bins} for ridden in result.supporting_data.yaw_ridden]
    every = {low: one for own in shares for low, one in own.items()}
    rows = [
        [
            f"{number(one.low_deg)} to {number(one.high_deg)}",
            *(number(100.0 * own[low].share, places=1) if low in own else MISSING for own in shares),
        ]
        for low, one in sorted(every.items())
    ]
    header = ["yaw [°]", *(f"{name(ridden.setup)} [%]" for ridden in result.supporting_data.yaw_ridden)]
    return table("Share of the weight by yaw", header, rows)


def given_table(result: Result) -> Table:
    """System, course and choices that went in."""
    system, course, choices = (
        result.supporting_data.system,
        result.supporting_data.course,
        result.supporting_data.choices,
    )
    crr = result.crr
    shape = (
        "there and back" if course.out_and_back else "a closed loop" if course.closed else "from one end to the other"
    )
    rows = [
        ["mass, rider and bike", f"{value_with_uncertainty(system.mass_kg, system.mass_sd_kg)} kg"],
        ["power measured at", f"the {system.power_at}"],
        ["drivetrain efficiency", number(course.efficiency, places=3)],
        ["power scale, standard uncertainty", f"{number(100.0 * system.power_scale_sd, places=1)} %"],
        ["wheel circumference", f"{number(system.wheel_circumference_m, places=3)} m"],
        ["wheel circumference, standard uncertainty", f"{number(100.0 * system.wheel_circumference_sd, places=1)} %"],
        ["inertia of both wheels", f"{number(system.wheel_inertia_kg_m2, places=2)} kg m²"],
        ["Crr, beforehand", value_with_uncertainty(crr.given, crr.given_sd)],
        ["Crr, after the fit", value_with_uncertainty(crr.value, crr.se)],
        ["course", f"{shape}, {number(course.length_m)} m"],
        ["from its lowest to its highest point", f"{number(course.height_range_m, places=1)} m"],
        ["gravity", f"{number(course.gravity_m_s2, places=4)} m/s²"],
        ["roughness length for the wind's profile", f"{number(choices.roughness_length_m, places=4)} m"],
        ["drift allowed for, standard deviation", f"{number(100.0 * choices.drift_sd_per_h, places=1)} % per hour"],
        ["scatter from lap to lap, beyond the fit's", _found(result.lap_scatter_m2)],
    ]
    return table("Taken as given, and found on the way", ("quantity", "value"), rows, words=(0, 1))


def _found(value: float | None) -> str:
    return MISSING if value is None else f"{number(value, places=4)} m²"


def _wind(speed: float | None, from_deg: float | None) -> str:
    if speed is None:
        return MISSING
    return number(speed, places=1) + ("" if from_deg is None else f" from {number(from_deg)}")
