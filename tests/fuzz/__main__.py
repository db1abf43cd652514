"""Coverage-guided fuzzing: ``python -m tests.fuzz --minutes N [--only fit|tcx|gpx|csv|metar|sheet]``.

Needs ``pip install atheris``, which is not among the test requirements: it has wheels for few
Pythons.  Each format is fuzzed in a process of its own, from the same small files as the tests and
what earlier campaigns kept in ``--corpus``.  Whatever goes wrong is written to ``tests/fuzz/found/``,
where a test reads it ever after.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.util
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.fuzz.campaign import LONGEST_S, MEMORY_BYTES
from tests.fuzz.targets import FORMATS, Fault, outcome

FOUND = Path(__file__).parent / "found"
WATCHED = ["fieldaero.rides", "fieldaero.weather", "fieldaero.run_sheet", "fitdecode", "metar"]


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0, help="for each format")
    parser.add_argument("--only", choices=FORMATS)
    parser.add_argument("--corpus", type=Path, help="folder that keeps interesting inputs for the next campaign")
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if importlib.util.find_spec("atheris") is None:
        print("atheris is not installed; pip install atheris (it has wheels for some Pythons only)", file=sys.stderr)
        return 2
    if asked.child:
        fuzz(asked.only, asked.minutes, asked.corpus)
    status = 0
    with tempfile.TemporaryDirectory() as scratch:
        for name in [asked.only] if asked.only else FORMATS:
            corpus = (asked.corpus or Path(scratch)) / name
            corpus.mkdir(parents=True, exist_ok=True)
            command = [sys.executable, "-m", "tests.fuzz", "--child", "--only", name, "--corpus", str(corpus)]
            status |= subprocess.run([*command, "--minutes", str(asked.minutes)], check=False).returncode
    return min(status, 1)


def fuzz(name: str, minutes: float, corpus: Path) -> None:
    """Fuzz one format until the time is up; the process ends here."""
    import atheris

    with atheris.instrument_imports(include=WATCHED):
        for room in [one for one in sys.modules if one.startswith(tuple(WATCHED))]:
            del sys.modules[room]
        import tests.fuzz.targets as fresh

        fresh = importlib.reload(fresh)
    for number, seed in enumerate(fresh.FORMATS[name].seeds()):
        (corpus / f"seed-{number}").write_bytes(seed)
    known: set[str] = set()

    def one(data: bytes) -> None:
        try:
            fresh.outcome(name, data)
        except fresh.Fault as fault:
            kind = str(fault)[:40]
            if kind not in known:
                known.add(kind)
                print(f"{name}: {fault} -> {keep(name, data)}", flush=True)

    limits = [f"-max_total_time={round(60 * minutes)}", f"-timeout={LONGEST_S:.0f}", "-max_len=4096"]
    limits += [f"-rss_limit_mb={MEMORY_BYTES >> 20}", f"-artifact_prefix={FOUND}/{name}-", "-print_final_stats=1"]
    atheris.Setup([sys.argv[0], *limits, "-verbosity=0", str(corpus)], one)
    atheris.Fuzz()


def keep(name: str, data: bytes) -> Path:
    """Keep an input that went wrong, cut down as far as it still does."""
    data = shortest(name, data)
    path = FOUND / f"{name}-{hashlib.sha256(data).hexdigest()[:10]}"
    path.write_bytes(data)
    return path


def shortest(name: str, data: bytes) -> bytes:
    """Leave out piece after piece, as long as the same kind of fault comes out."""
    wanted = kind_of(name, data)
    piece = max(len(data) // 2, 1)
    while piece:
        at = 0
        while at < len(data):
            less = data[:at] + data[at + piece :]
            if wanted is not None and kind_of(name, less) == wanted:
                data = less
            else:
                at += piece
        piece //= 2
    return data


def kind_of(name: str, data: bytes) -> str | None:
    """Class of what goes wrong, None where nothing does."""
    try:
        outcome(name, data)
    except Fault as fault:
        return str(fault).partition(":")[0]
    return None


if __name__ == "__main__":
    sys.exit(main())
