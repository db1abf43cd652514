"""The report's figures as inline SVG, each with its caption and its text alternative."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from matplotlib.figure import Figure

from fieldaero.answers.result import Result
from fieldaero.answers.wording import pair_words
from fieldaero.basics.formatting import interval, name, number
from fieldaero.publish import figures as plots
from fieldaero.publish.report.inline_svg import inline_svg

__all__ = ["Drawing", "drawings"]


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A figure ready to be shown; ``svg`` is escaped already."""

    svg: str
    title: str
    caption: str


def drawings(result: Result) -> dict[str, Drawing]:
    """Return the figures that this result can fill, by name."""
    wanted: list[tuple[str, bool, Callable[[Result], Figure], str, str, str]] = [
        (
            "differences",
            any(c.delta_cda_m2 is not None for c in result.comparison_results),
            plots.differences,
            "Differences of drag area",
            "Each setup's difference of drag area with its 95 % interval. Left of the line is less drag. The grey band "
            "is smaller than the smallest difference that matters; a filled mark is a verdict, a hollow one is not "
            "resolved.",
            _differences_told(result),
        ),
        (
            "laps",
            True,
            plots.laps_by_time,
            "Every lap over the session",
            "Drag area of every lap with its own 95 % interval. Most of it is common to all laps and cancels in a "
            "difference. Dotted: the mean of a setup. Hollow grey: a lap that does not count, by plain closure.",
            _laps_told(result),
        ),
        (
            "elevation",
            True,
            plots.elevation,
            "Virtual elevation, lap on lap",
            "The height that the energy balance implies along each lap. Laps of one road lie on one another where drag "
            "area, rolling resistance and wind are right.",
            _elevation_told(result),
        ),
        (
            "residual",
            True,
            plots.residual,
            "What each lap leaves of the road profile",
            "The same, less the road profile: gusts, brakes and steps of the sensors show where they happened.",
            _residual_told(result),
        ),
        (
            "air",
            True,
            plots.air,
            "Wind and yaw during the laps",
            "Above: mean wind of each lap at the rider's height, by the fit. Below: the middle nine tenths of its yaw.",
            _air_told(result),
        ),
        (
            "yaw",
            bool(result.supporting_data.yaw_ridden),
            plots.yaw_ridden,
            "How much was ridden at which yaw",
            "Share of the weight that each yaw angle has in a setup's drag area, in steps of two degrees.",
            "Steps of two degrees over yaw, one line per setup; the table has the shares.",
        ),
        (
            "tunnel",
            any(t.versus is None and t.sweep_yaw_deg for t in result.tunnel_results),
            plots.tunnel,
            "Tunnel and road",
            "The tunnel's sweep with two standard uncertainties. Dashed: what the laps found, over the yaw they rode; "
            "grey: its 95 % interval.",
            _tunnel_told(result),
        ),
        (
            "budget",
            bool(result.budget_rows),
            plots.budget,
            "What the uncertainty is made of",
            "Hatched: contribution to the standard uncertainty of a drag area. Filled: what is left of it in the "
            "difference, where errors that all laps share cancel.",
            _budget_told(result),
        ),
    ]
    return {
        key: Drawing(
            svg=inline_svg(draw(result), key=key, title=title, description=description), title=title, caption=caption
        )
        for key, can, draw, title, caption, description in wanted
        if can
    }


def _differences_told(result: Result) -> str:
    told = []
    for c in result.comparison_results:
        if c.interval95_m2 is not None:
            spread = interval(*c.interval95_m2, unit="m²", signed=True)
            told.append(f"{pair_words(c.setup, c.versus)}: {c.verdict}, {spread}")
    return "; ".join(told) + "." if told else "No difference has an interval."


def _laps_told(result: Result) -> str:
    means = [f"{name(s.setup)} about {number(s.cda_m2, places=3)} m²" for s in result.setup_results if s.laps]
    return f"Marks over time, one per lap, by setup: {'; '.join(means)}. The table has the numbers."


def _elevation_told(result: Result) -> str:
    height = number(result.supporting_data.course.height_range_m, places=1)
    return f"One line per lap over the distance along it; they follow one profile with {height} m from low to high."


def _residual_told(result: Result) -> str:
    largest = max((lap.residual_largest_m for lap in result.supporting_data.elevation.laps), default=0.0)
    return f"One line per lap over the distance along it; the farthest strays by {number(largest, places=2)} m."


def _air_told(result: Result) -> str:
    winds = [row.wind_m_s for row in result.supporting_data.air if row.wind_m_s is not None]
    if not winds:
        return "No lap has a wind."
    return (
        f"Mean wind of the laps between {number(min(winds), places=1)} and {number(max(winds), places=1)} m/s; "
        "yaw as bars, one per lap. The table has the numbers."
    )


def _tunnel_told(result: Result) -> str:
    told = [
        f"{name(t.setup)}: laps {number(t.field_m2, places=3)} m², tunnel {number(t.tunnel_m2, places=3)} m² weighted "
        "with the yaw ridden"
        for t in result.tunnel_results
        if t.versus is None
    ]
    return "; ".join(told) + "."


def _budget_told(result: Result) -> str:
    told = []
    for pair in dict.fromkeys((row.setup, row.versus) for row in result.budget_rows):
        own = [row for row in result.budget_rows if (row.setup, row.versus) == pair]
        most = max(own, key=lambda row: abs(row.contribution_delta_m2))
        told.append(f"{pair_words(*pair)}: most of the difference's comes from {most.input}")
    return "; ".join(told) + "."
