"""The command that writes an invented session."""

from __future__ import annotations

from typing import Any

import click

__all__ = ["simulate"]

DEFAULT_SETUPS = ("first=0.250", "second=0.240")


def _setups(context: click.Context, parameter: click.Parameter, values: tuple[str, ...]) -> dict[str, float]:
    from fieldaero.run_sheet.schema import NOT_USED

    found: dict[str, float] = {}
    for text in values:
        name, _, cda = text.rpartition("=")
        try:
            value = float(cda)
        except ValueError:
            name = ""
        if not name.strip() or name == NOT_USED:
            raise click.BadParameter(f'"{text}": allowed is NAME=CDA with a drag area in m2, like "low bar=0.245".')
        if name in found:
            raise click.BadParameter(f'"{name}" is given twice; each setup needs a name of its own.')
        found[name] = value
    return found


@click.command()
@click.option("--out", metavar="FOLDER", required=True, help="Folder for ride, run sheet and truth.json.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="The same seed, the same session.")
@click.option("--laps", type=int, default=8, show_default=True, help="Number of test laps.")
@click.option("--lap-length-m", type=float, default=2500.0, show_default=True, help="Length of a lap.")
@click.option("--wind-m-s", type=float, default=1.0, show_default=True, help="Mean wind at the rider's height.")
@click.option(
    "--wind-from-deg",
    type=click.FloatRange(0, 360),
    default=240.0,
    show_default=True,
    help="Where it comes from, clockwise from north.",
)
@click.option("--power-w", type=float, default=230.0, show_default=True, help="The rider's target power.")
@click.option(
    "--setup",
    "setups",
    metavar="NAME=CDA",
    multiple=True,
    default=DEFAULT_SETUPS,
    show_default=True,
    callback=_setups,
    help="A setup and its true drag area in m2; give one or more, the baseline first.",
)
@click.option(
    "--format", "file_format", type=click.Choice(["fit", "csv"]), default="fit", show_default=True, help="Of the ride."
)
def simulate(*, out: str, seed: int, setups: dict[str, float], file_format: Any, **scenario: Any) -> None:
    """Write an invented session whose truth is known, to try things out.

    The ride, a run sheet that fits it, and truth.json with the true drag areas go into
    FOLDER. The setups are ridden in a mirrored order.
    """
    from fieldaero.simulator.session_files import scenario_of, write_session

    write_session(scenario_of(setups=setups, **scenario), out, seed=seed, file_format=file_format)
    click.echo(f"Wrote an invented session to {out}. Now: fieldaero analyse {out}/runsheet.toml")
