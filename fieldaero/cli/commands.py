"""The commands.  Heavy libraries are imported inside them, so that help is there at once."""

from __future__ import annotations

import os
import sys
import warnings
from typing import Any

import click

from fieldaero.cli.app import app
from fieldaero.cli.exit_status import DEBUG, Commands
from fieldaero.cli.options import progress
from fieldaero.cli.plan import plan
from fieldaero.cli.publish import pack, pool, report
from fieldaero.cli.simulate import simulate

__all__ = ["commands", "main"]

SHEET_NAME = "runsheet.toml"
DEMO_FOLDER = "fieldaero-demo"
LAP_SOURCES = ("button", "line", "repeat")

ride_file = click.Path(path_type=str)


def main() -> None:
    """Run the command line: the entry point of the installed program."""
    if os.environ.get(DEBUG) != "1" and not sys.warnoptions:
        warnings.simplefilter("ignore")  # meant for developers; what users should know are sentences of ours
    # The matrices of a fit are too small to share among processors: waiting for one another doubles the work.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that cannot show "−" gets "?", not an error
    commands.main()


@click.group(
    cls=Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit status: 0 done, 1 the data cannot answer, 2 wrong use or bad input.",
)
@click.option("--version", "show_version", is_flag=True, help="Print the version and exit.")
@click.pass_context
def commands(context: click.Context, *, show_version: bool) -> None:
    """Measure drag area outdoors from ride files, and say honestly what differs.

    Ride laps of a quiet road with a power meter, write down on a run sheet which lap
    was which setup, and have it analysed. The usual order: init, fill in the sheet,
    analyse. No ride yet? Begin with demo.
    """
    if show_version:
        from fieldaero.basics.version import VERSION

        click.echo(f"fieldaero {VERSION}")
    elif context.invoked_subcommand is None:
        click.echo(context.get_help())


@commands.command()
@click.argument("rides", metavar="RIDE...", nargs=-1, required=True, type=ride_file)
@click.option("--out", metavar="SHEET", default=SHEET_NAME, show_default=True, help="Name of the run sheet to write.")
@click.option("--force", is_flag=True, help="Replace an existing run sheet.")
def init(rides: tuple[str, ...], *, out: str, force: bool) -> None:
    """Write a run sheet from rides, with an explanation of every line.

    Complete laps without a flag are entered for one setup, all others are left out.
    What a ride file cannot know, such as the weather and the mass, is marked and
    left for you to fill in.
    """
    from pathlib import Path

    from fieldaero.basics.errors import FieldaeroError
    from fieldaero.basics.output_files import write_text
    from fieldaero.run_sheet.template import draft_run_sheet

    for ride in rides:
        if Path(out).exists() and Path(ride).exists() and Path(out).samefile(ride):
            raise FieldaeroError(f"{out}: is one of the rides, and no input is replaced; choose another name for --out")
    if Path(out).exists() and not force:
        raise FieldaeroError(f"{out}: is there already and was left as it is; choose another --out, or add --force")
    text = draft_run_sheet(rides, folder=Path(out).parent)
    write_text(text, out, replace=force)
    click.echo(f"Wrote {out}. Fill in what it asks for, then: fieldaero analyse {out}")


@commands.command()
@click.argument("ride", metavar="RIDE", type=ride_file)
@click.option(
    "--source", type=click.Choice(LAP_SOURCES), help="How to find the laps; chosen automatically if not given."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of a table.")
def laps(ride: str, *, source: Any, as_json: bool) -> None:
    """List the laps of a ride, and what is odd about each.

    Laps come from the lap button, from a start line, or from a road that repeats.
    """
    from fieldaero.basics.output_files import json_text
    from fieldaero.laps.lap_list import list_laps
    from fieldaero.rides import read_ride

    listing = list_laps(read_ride(ride), lap_source=source)
    click.echo(json_text(listing.to_dict()) if as_json else listing.summary())


@commands.command()
@click.argument("sheet", metavar="SHEET", type=ride_file)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the summary.")
@click.option(
    "--out", metavar="DIR", help="Also write the result, its tables and the summary as files into this folder."
)
def analyse(sheet: str, *, as_json: bool, out: str | None) -> None:
    """Analyse the test that a run sheet describes.

    With --out the folder gets result.json, laps.csv, setups.csv, comparisons.csv and
    summary.txt, all or none of them.
    """
    _analyse(sheet, as_json=as_json, out=out)


@commands.command()
@click.argument("folder", metavar="[FOLDER]", default=DEMO_FOLDER, type=ride_file)
def demo(folder: str) -> None:
    """Copy the sample session here and analyse it.

    The session is invented: its rides were simulated, not ridden. FOLDER is
    fieldaero-demo unless given.
    """
    from fieldaero.simulator.sample_folder import copy_sample

    sheet = copy_sample(folder)
    click.echo(f"The sample session is in {folder}. It was simulated, not ridden. Now: fieldaero analyse {sheet}\n")
    _analyse(str(sheet), as_json=False, out=None)


commands.add_command(app)
commands.add_command(plan)
commands.add_command(simulate)
commands.add_command(pool)
commands.add_command(report)
commands.add_command(pack)


def _analyse(sheet: str, *, as_json: bool, out: str | None) -> None:
    from fieldaero.answers.analysis import analyse as analyse_sheet
    from fieldaero.basics.output_files import json_text
    from fieldaero.publish.result_files import write_result_files

    result = analyse_sheet(sheet, progress=progress())
    if out is not None:
        write_result_files(result, out)
    click.echo(json_text(result.to_dict()) if as_json else result.summary())
    if out is not None:
        click.echo(f"Written to {out}.", err=True)
