"""Charts over the course: virtual elevation lap on lap, and what each lap leaves of the shared road profile."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair
import pandas as pd

from fieldaero.answers.result import Result
from fieldaero.basics.colours import GREY, chart_dash_of, colour_of

alt: Any = altair  # the checker knows its encodings only in part

__all__ = ["elevation_chart", "residual_chart"]

ALONG = "distance along the lap [m]"


def elevation_chart(result: Result) -> Any:
    """Draw virtual elevation over the course, a line per lap, and the road profile that all share, thick."""
    found = result.supporting_data.elevation
    road = pd.DataFrame({"position": found.position_m, "height": found.road_m})
    profile = alt.Chart(road).mark_line(strokeWidth=6, opacity=0.35, color=GREY)
    return alt.layer(
        profile.encode(x=alt.X("position:Q", title=ALONG), y=alt.Y("height:Q")),
        _lines(result, [lap.elevation_m for lap in found.laps]).encode(
            y=alt.Y("height:Q", title="virtual elevation [m]")
        ),
    ).properties(height=300)


def residual_chart(result: Result) -> Any:
    """Draw each lap's residual to the road profile over the course, with the lap's number at its end."""
    found = result.supporting_data.elevation
    lines = _lines(result, [found.residual_m(lap) for lap in found.laps]).encode(
        y=alt.Y("height:Q", title="residual to the road profile [m]")
    )
    zero = alt.Chart(pd.DataFrame([{"zero": 0.0}])).mark_rule(color=GREY).encode(y=alt.Y("zero:Q"))
    return alt.layer(zero, lines).properties(height=300)


def _lines(result: Result, heights: Sequence[tuple[float, ...]]) -> Any:
    found = result.supporting_data.elevation
    frame = pd.concat(
        pd.DataFrame(
            {
                "position": found.position_m,
                "height": height,
                "setup": lap.setup,
                "lap": f"{lap.ride}, lap {lap.lap}",
            }
        )
        for lap, height in zip(found.laps, heights, strict=True)
    )
    setups = [row.setup for row in result.setup_results if row.laps]
    legend = alt.Legend(title=None, orient="top", columns=2, labelLimit=240, symbolType="stroke")
    domain = {"domain": setups}
    return (
        alt.Chart(frame)
        .mark_line(strokeWidth=1.4)
        .encode(
            x=alt.X("position:Q", title=ALONG, scale=alt.Scale(nice=False)),
            detail=alt.Detail("lap:N"),
            color=alt.Color(
                "setup:N",
                scale=alt.Scale(**domain, range=[colour_of(name, setups) for name in setups]),
                legend=legend,
            ),
            strokeDash=alt.StrokeDash(
                "setup:N",
                scale=alt.Scale(**domain, range=[list(chart_dash_of(name, setups)) for name in setups]),
                legend=legend,
            ),
            tooltip=[alt.Tooltip("lap:N"), alt.Tooltip("setup:N"), alt.Tooltip("height:Q", format=".2f", title="[m]")],
        )
    )
