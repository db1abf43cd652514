"""The command that packs a test for others to check."""

from __future__ import annotations

import sys
from pathlib import Path

import click

__all__ = ["pack"]


def _zip(context: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    if value is not None and Path(value).suffix.lower() != ".zip":
        raise click.BadParameter(f'"{value}": the name ends in .zip.')
    return value


@click.command()
@click.argument("sheet", metavar="SHEET", type=click.Path(path_type=str))
@click.option("--out", metavar="FILE", callback=_zip, help="The ZIP; SHEET-pack.zip here if not given.")
@click.option("--with-positions", is_flag=True, help="Keep latitude, longitude and clock times.")
@click.option("--with-originals", is_flag=True, help="Add the recorded files, with all that is in them.")
def pack(sheet: str, *, out: str | None, with_positions: bool, with_originals: bool) -> None:
    """Pack a test into a ZIP that anybody can check and redo.

    Run sheet, rides as CSV, results, tables, figures, report, a list of SHA-256 and a
    README. Unless asked otherwise positions leave as metres around the start line and
    clock times as time since the start; devices and heart rate stay behind.
    """
    from fieldaero.answers.analysis import analyse
    from fieldaero.basics.output_files import write_files
    from fieldaero.publish.pack import pack_bytes

    target = Path(out if out is not None else f"{Path(sheet).stem}-pack.zip")
    progress = (lambda step: click.echo(f"{step} ...", err=True)) if sys.stderr.isatty() else None
    result = analyse(sheet, progress=progress)
    content = pack_bytes(result, with_positions=with_positions, with_originals=with_originals)
    write_files({target.name: content}, target.parent, inputs_sha256={one.sha256 for one in result.inputs})
    click.echo(f"Wrote {target}.")
    if with_originals:
        click.echo("The originals in it say where and when you rode, and on which devices.", err=True)
