"""A tunnel's sweeps beside what the laps say: drag area over yaw."""

from __future__ import annotations

from matplotlib.figure import Figure

from fieldaero.answers.result import Result
from fieldaero.basics.colours import BAND, DARK, colour_of, mark_of
from fieldaero.publish.figures.marks import figure_label, open_sides

__all__ = ["tunnel"]

SPREAD = 2.0  # standard uncertainties shown either side of a tunnel's value
WIDTH_INCH, PANEL_INCH = 9.0, 3.3


def tunnel(result: Result) -> Figure:
    """Draw every sweep [m2] over yaw [deg], and the field's drag area over the yaw ridden.

    A panel per swept setup: the sweep with two standard uncertainties, and as a band the 95 % interval of the laps,
    over twice the root mean square of yaw to either side.
    """
    rows = [row for row in result.tunnel_results if row.versus is None and row.sweep_yaw_deg]
    setups = [row.setup for row in result.setup_results if row.laps]
    figure = Figure(figsize=(WIDTH_INCH, PANEL_INCH * max(len(rows), 1)), layout="constrained")
    panels = figure.subplots(max(len(rows), 1), 1, squeeze=False, sharex=True)[:, 0]
    for axes, row in zip(panels, rows, strict=False):
        colour = colour_of(row.setup, setups)
        if row.field_m2 is not None and row.yaw_rms_deg is not None:
            reach = SPREAD * row.yaw_rms_deg
            if row.field_expanded_m2 is not None:
                low, high = row.field_m2 - row.field_expanded_m2, row.field_m2 + row.field_expanded_m2
                axes.fill_between([-reach, reach], low, high, color=BAND, linewidth=0.0, label="laps, 95 % interval")
            axes.plot([-reach, reach], [row.field_m2] * 2, color=DARK, linestyle="--", label="laps", gid="field")
        axes.errorbar(
            row.sweep_yaw_deg,
            row.sweep_cda_m2,
            yerr=[SPREAD * sd for sd in row.sweep_sd_m2] if row.sweep_sd_m2 else None,
            color=colour,
            marker=mark_of(row.setup, setups),
            markersize=6,
            capsize=3,
            linewidth=1.2,
            label="tunnel",
        )
        axes.set_ylabel("drag area CdA [m²]")
        axes.set_title(figure_label(row.setup), loc="left", fontsize="medium")
        axes.legend(frameon=False, loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=3)
        open_sides(axes)
    panels[-1].set_xlabel("yaw [°]")
    return figure
