"""The command that pools several sessions."""

from __future__ import annotations

import sys
from pathlib import Path

import click

__all__ = ["pool"]

FIGURES = (".svg", ".png")


def _figure(context: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    if value is not None and Path(value).suffix.lower() not in FIGURES:
        raise click.BadParameter(f'"{value}": a figure ends in {" or ".join(FIGURES)}.')
    return value


@click.command()
@click.argument("sheets", metavar="SHEET...", nargs=-1, required=True, type=click.Path(path_type=str))
@click.option("--versus", metavar="NAME", help="Setup to compare with; the first sheet's baseline if not given.")
@click.option("--figure", metavar="FILE", callback=_figure, help="Draw the forest plot into this file, .svg or .png.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the summary.")
@click.option("--out", metavar="DIR", help="Also write the result, its tables and the summary as files into DIR.")
def pool(sheets: tuple[str, ...], *, versus: str | None, figure: str | None, as_json: bool, out: str | None) -> None:
    """Pool several sessions of the same comparison, each with its run sheet.

    Every session is analysed, and what they say of the same setups is averaged as
    sessions that differ by more than chance. Setups that no session had together are
    compared by way of a common one, and marked as indirect. Names of setups must be
    the same to the letter. With --out DIR gets pooled.json, pooled.csv,
    pooled_sessions.csv and pooled.txt.
    """
    from fieldaero.answers.pool import pool_sheets
    from fieldaero.basics.output_files import json_text, write_files
    from fieldaero.publish.result_files import write_pooled_files

    progress = (lambda step: click.echo(f"{step} ...", err=True)) if sys.stderr.isatty() else None
    pooled = pool_sheets(sheets, versus=versus, progress=progress)
    if figure is not None:
        from fieldaero.publish.figures import figure_bytes, forest_plot

        path = Path(figure)
        drawn = figure_bytes(forest_plot(pooled), path.suffix)
        write_files({path.name: drawn}, path.parent, inputs_sha256={one.sha256 for one in pooled.inputs})
    if out is not None:
        write_pooled_files(pooled, out)
    click.echo(json_text(pooled.to_dict()) if as_json else pooled.summary())
    for written in (figure, out):
        if written is not None:
            click.echo(f"Written to {written}.", err=True)
