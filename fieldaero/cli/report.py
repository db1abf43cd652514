"""The command that writes the report of a test."""

from __future__ import annotations

import sys
from pathlib import Path

import click

__all__ = ["report"]


def _html(context: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    return _ends_in((".html", ".htm"), value)


def _pdf(context: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    return _ends_in((".pdf",), value)


def _ends_in(suffixes: tuple[str, ...], value: str | None) -> str | None:
    if value is not None and Path(value).suffix.lower() not in suffixes:
        raise click.BadParameter(f'"{value}": the name ends in {" or ".join(suffixes)}.')
    return value


@click.command()
@click.argument("sheet", metavar="SHEET", type=click.Path(path_type=str))
@click.option("--out", metavar="FILE", callback=_html, help="The report; SHEET-report.html here if not given.")
@click.option("--pdf", metavar="FILE", callback=_pdf, help="Also write it as PDF.")
def report(sheet: str, *, out: str | None, pdf: str | None) -> None:
    """Write the report of a test: one HTML file to publish, that needs nothing else.

    The answer first, then the comparison, claims, tunnel, every lap, conditions,
    uncertainty budget, method and limits, each figure with its numbers. Photographs
    that the run sheet names are scaled and carry nothing but the picture.
    """
    from fieldaero.answers.analysis import analyse
    from fieldaero.basics.output_files import write_files
    from fieldaero.publish.report import html_report, pdf_of_html

    target = Path(out if out is not None else f"{Path(sheet).stem}-report.html")
    progress = (lambda step: click.echo(f"{step} ...", err=True)) if sys.stderr.isatty() else None
    result = analyse(sheet, progress=progress)
    html = html_report(result)
    made = {target: html.encode("utf-8")}
    if pdf is not None:
        made[Path(pdf)] = pdf_of_html(html)
    inputs = {one.sha256 for one in result.inputs}
    for folder in dict.fromkeys(path.parent for path in made):
        own = {path.name: content for path, content in made.items() if path.parent == folder}
        write_files(own, folder, inputs_sha256=inputs)
    click.echo(f"Wrote {' and '.join(str(path) for path in made)}.")
