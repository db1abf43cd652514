"""All figures of the sample session on one page: ``python -m tests.publish.figures.gallery FOLDER``."""

from __future__ import annotations

import sys
from html import escape
from pathlib import Path

from fieldaero.publish.figures import FIGURES, figure_bytes
from tests.whole_sessions import sample_result

if __name__ == "__main__":
    folder, entries = Path(sys.argv[1]), []
    folder.mkdir(parents=True, exist_ok=True)
    for name, draw in FIGURES.items():
        (folder / f"{name}.svg").write_bytes(figure_bytes(draw(sample_result()), ".svg"))
        told = escape((draw.__doc__ or name).splitlines()[0], quote=True)
        entries.append(f'<figure><figcaption>{name}: {told}</figcaption><img src="{name}.svg" alt="{told}"></figure>')
    page = f'<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>Figures</title>{"".join(entries)}</html>'
    (folder / "index.html").write_text(page, encoding="utf-8")
    print(f"Wrote {folder / 'index.html'}.")
