"""The commands that publish: the report of a test, a pack for others to check, and several sessions pooled."""

from __future__ import annotations

from pathlib import Path

import click

from fieldaero.cli.options import ending_in, progress

__all__ = ["pack", "pool", "report"]

sheet_argument = click.argument("sheet", metavar="SHEET", type=click.Path(path_type=str))


@click.command()
@sheet_argument
@click.option(
    "--out", metavar="FILE", callback=ending_in(".html", ".htm"), help="The report; SHEET-report.html if not given."
)
@click.option("--pdf", metavar="FILE", callback=ending_in(".pdf"), help="Also write it as PDF.")
def report(sheet: str, *, out: str | None, pdf: str | None) -> None:
    """Write the report of a test: one HTML file to publish that needs nothing else.

    The answer comes first, then the comparison, claims, tunnel, every lap, conditions,
    uncertainty budget, method and limits, each figure with its numbers. Photographs
    that the run sheet names are scaled down, and all else in their files is removed.
    """
    from fieldaero.answers.analysis import analyse
    from fieldaero.basics.output_files import write_files
    from fieldaero.publish.report import html_report, pdf_of_html

    target = Path(out if out is not None else f"{Path(sheet).stem}-report.html")
    result = analyse(sheet, progress=progress())
    html = html_report(result)
    made = {target: html.encode("utf-8")}
    if pdf is not None:
        made[Path(pdf)] = pdf_of_html(html)
    inputs = {one.sha256 for one in result.inputs}
    for folder in dict.fromkeys(path.parent for path in made):
        own = {path.name: content for path, content in made.items() if path.parent == folder}
        write_files(own, folder, inputs_sha256=inputs)
    click.echo(f"Wrote {' and '.join(str(path) for path in made)}.")


@click.command()
@sheet_argument
@click.option("--out", metavar="FILE", callback=ending_in(".zip"), help="The ZIP; SHEET-pack.zip here if not given.")
@click.option("--with-positions", is_flag=True, help="Keep latitude, longitude and clock times.")
@click.option("--with-originals", is_flag=True, help="Add the recorded files, with everything that is in them.")
def pack(sheet: str, *, out: str | None, with_positions: bool, with_originals: bool) -> None:
    """Pack a test into a ZIP that anybody can check and redo.

    It holds the run sheet, rides as CSV, results, tables, figures, the report, a list of
    SHA-256 and a README. Unless you ask otherwise, positions become metres around the
    start line, clock times become time since the start, and devices and heart rate are
    left out.
    """
    from fieldaero.answers.analysis import analyse
    from fieldaero.basics.output_files import write_files
    from fieldaero.publish.pack import pack_bytes

    target = Path(out if out is not None else f"{Path(sheet).stem}-pack.zip")
    result = analyse(sheet, progress=progress())
    content = pack_bytes(result, with_positions=with_positions, with_originals=with_originals)
    write_files({target.name: content}, target.parent, inputs_sha256={one.sha256 for one in result.inputs})
    click.echo(f"Wrote {target}.")
    if with_originals:
        click.echo("The originals in it say where and when you rode, and on which devices.", err=True)


@click.command()
@click.argument("sheets", metavar="SHEET...", nargs=-1, required=True, type=click.Path(path_type=str))
@click.option("--versus", metavar="NAME", help="Setup to compare with; the first sheet's baseline if not given.")
@click.option(
    "--figure", metavar="FILE", callback=ending_in(".svg", ".png"), help="Draw the forest plot, .svg or .png."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the summary.")
@click.option("--out", metavar="DIR", help="Also write the result, its tables and the summary as files into DIR.")
def pool(sheets: tuple[str, ...], *, versus: str | None, figure: str | None, as_json: bool, out: str | None) -> None:
    """Pool several sessions of the same comparison, each with its run sheet.

    Every session is analysed, and what they say of the same setups is averaged as
    sessions that differ by more than chance. Setups that were never in one session are
    compared through a setup they have in common, and marked as indirect. The names of
    setups must be the same to the letter. With --out DIR gets pooled.json, pooled.csv,
    pooled_sessions.csv and pooled.txt.
    """
    from fieldaero.answers.pool import pool_sheets
    from fieldaero.basics.output_files import json_text, write_files
    from fieldaero.publish.result_files import write_pooled_files

    pooled = pool_sheets(sheets, versus=versus, progress=progress())
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
