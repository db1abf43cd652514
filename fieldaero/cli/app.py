"""The command that opens the pages in a browser."""

from __future__ import annotations

import contextlib
import importlib.util
import subprocess
import sys
from pathlib import Path

import click

from fieldaero.basics.errors import FieldaeroError, RunSheetError

__all__ = ["app"]

PACKAGE = Path(__file__).resolve().parents[1]
PLACES = (PACKAGE / "_ui", PACKAGE.parent / "ui")


@click.command()
@click.argument("sheet", metavar="[SHEET]", required=False, type=click.Path(path_type=str))
@click.option("--port", type=click.IntRange(1024, 65535), default=8501, show_default=True, help="On this machine.")
@click.option("--browser/--no-browser", default=True, help="Whether to open the page in a browser.")
def app(*, sheet: str | None, port: int, browser: bool) -> None:
    """Open the pages in a browser, with SHEET open if one is given.

    The pages are served to this machine only, and nothing leaves it. End with Ctrl+C.
    """
    if importlib.util.find_spec("streamlit") is None:
        raise FieldaeroError(
            "the pages need streamlit, which is not installed; install it: pip install 'fieldaero[app]'"
        )
    main = next((place / "app.py" for place in PLACES if (place / "app.py").is_file()), None)
    if main is None:
        raise FieldaeroError("the pages are not part of this installation; install fieldaero again")
    arguments = []
    if sheet is not None:
        if not Path(sheet).is_file():
            raise RunSheetError(f"{sheet}: no such run sheet; give the path of a TOML file, or none for an empty test")
        arguments = ["--", str(Path(sheet).resolve())]
    click.echo(f"fieldaero is at http://127.0.0.1:{port} for this machine only. End with Ctrl+C.")
    command = [
        *(sys.executable, "-m", "streamlit", "run", str(main)),
        f"--server.port={port}",
        "--server.address=127.0.0.1",
        f"--server.headless={'false' if browser else 'true'}",
        "--browser.gatherUsageStats=false",
        *arguments,
    ]
    with contextlib.suppress(KeyboardInterrupt):
        # Streamlit looks for its settings where it is started; they lie beside the pages.
        sys.exit(subprocess.run(command, cwd=main.parent, check=False).returncode)
