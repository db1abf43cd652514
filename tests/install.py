"""Does it install, and work without a network: ``python -m tests.install [--python PATH ...] [--lowest]``.

Of a clean clone of HEAD the source archive is built, and from that the wheel.  Each is installed with
the pages into an empty environment of each Python given, and every command of ``CHECKS`` runs there from
an empty folder elsewhere, with an empty home and, where the system allows it, without a network.  With
``--lowest`` the oldest Python given also gets every dependency in the lowest version that the package
allows, and the core of the tests runs there.  The answer to the sample session has to be the same everywhere.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
import venv
import zipfile
from dataclasses import dataclass
from email.parser import HeaderParser
from pathlib import Path
from urllib.error import URLError

from packaging.requirements import Requirement

__all__ = ["CHECKS", "Outcome", "lower_bounds", "main"]

ROOT = Path(__file__).resolve().parents[1]
CORE = tuple(
    f"tests/{name}" for name in ("rides", "published", "estimate", "run_sheet", "answers", "publish", "cli", "ui")
)
ANSWER = "What the laps say"  # the head of every answer
DEMO = "fieldaero-demo"
SHEET = f"{DEMO}/bar-test.toml"
NO_NETWORK = ("unshare", "-n", "sh", "-c", 'ip link set lo up && exec "$@"', "sh")
LONGEST_S = 300.0
SAME_SHARE_OF_SE = 0.01  # environments differ in rounding only: far below the error of what is estimated
# The pages of the installation, drawn with a session in the draft.
DRAW = """
import sys
from pathlib import Path
import fieldaero
from streamlit.testing.v1 import AppTest
here = Path(fieldaero.__file__).parent
assert here.is_relative_to(sys.prefix), f"{here} is not in the environment"
sheet, sys.argv = sys.argv[1], ["app.py", sys.argv[1]]
page = AppTest.from_file(str(here / "_ui" / "app.py"), default_timeout=120).run()
assert not page.exception and not page.error, [one.value for one in (*page.exception, *page.error)]
assert page.title, "an empty page"
"""


class Failed(Exception):
    """What a check found wrong."""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One row of the table: an environment and what happened in it."""

    python: str
    source: str
    versions: str
    passed: int
    failures: list[str]
    delta_cda_m2: float | None = None
    delta_cda_se_m2: float | None = None


def command(*arguments: str, leaves: tuple[tuple[str, bytes], ...] = (), says: str = "") -> None:
    """Run a command of the environment; it must succeed, say that, and leave files that begin so."""
    program = Path(os.environ["BIN"]) / arguments[0]
    done = subprocess.run(
        [program, *arguments[1:]], capture_output=True, text=True, encoding="utf-8", timeout=LONGEST_S, check=False
    )
    if done.returncode != 0 or says not in done.stdout or "Traceback" in done.stderr:
        raise Failed(f"status {done.returncode}, said {(done.stdout + done.stderr)[-600:]!r}")
    for name, beginning in leaves:
        if not Path(name).is_file() or not Path(name).read_bytes().startswith(beginning):
            raise Failed(f"no proper {name}")


def serve() -> None:
    """The pages answer on their health address, the main page is served, and a request to end is obeyed."""
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port = asked.getsockname()[1]
    program = Path(os.environ["BIN"]) / "fieldaero"
    with open("app.log", "w+b") as log:
        server = subprocess.Popen(
            [program, "app", SHEET, "--no-browser", "--port", str(port)],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            start_new_session=True,
        )
        try:
            end = time.monotonic() + LONGEST_S
            while fetched(f"http://127.0.0.1:{port}/_stcore/health") != b"ok":
                if server.poll() is not None or time.monotonic() > end:
                    raise Failed(f"no answer; said {Path('app.log').read_text()[-600:]!r}")
                time.sleep(0.2)
            if not fetched(f"http://127.0.0.1:{port}/").lower().lstrip().startswith(b"<!"):
                raise Failed("the main page is not served")
        finally:
            if server.poll() is None:
                os.killpg(server.pid, signal.SIGINT)  # the group holds the command and its server only
            try:
                server.wait(20.0)
            except subprocess.TimeoutExpired:
                os.killpg(server.pid, signal.SIGKILL)
                server.wait()
                raise Failed("did not end when asked") from None
        if "Traceback" in Path("app.log").read_text():
            raise Failed(f"said {Path('app.log').read_text()[-600:]!r}")


def fetched(address: str) -> bytes:
    """What an address answers, nothing if it does not."""
    try:
        with urllib.request.urlopen(address, timeout=5.0) as answer:
            return bytes(answer.read())
    except (URLError, OSError):
        return b""


CHECKS = {
    "--version": lambda: command("fieldaero", "--version", says="fieldaero "),
    "--help": lambda: command("fieldaero", "--help", says="analyse"),
    "demo": lambda: command("fieldaero", "demo", says=ANSWER, leaves=((SHEET, b""),)),
    "laps": lambda: command("fieldaero", "laps", f"{DEMO}/morning.fit", says="km/h"),
    "init": lambda: command("fieldaero", "init", f"{DEMO}/morning.fit", leaves=(("runsheet.toml", b"#"),)),
    "analyse": lambda: command(
        *("fieldaero", "analyse", SHEET, "--out", "results"), says=ANSWER, leaves=(("results/result.json", b"{"),)
    ),
    "report": lambda: command(
        *("fieldaero", "report", SHEET, "--out", "report.html", "--pdf", "report.pdf"),
        leaves=(("report.html", b"<!"), ("report.pdf", b"%PDF-")),
    ),
    "plan": lambda: command(
        *("fieldaero", "plan", "--wind-m-s", "2", "--lap-length-m", "2500", "--smallest-s", "20"),
        *("--sheet", "plan.html"),
        leaves=(("plan.html", b"<!"),),
    ),
    "app": serve,
    "pages": lambda: command("python", "-c", DRAW, SHEET),
}


def check_here() -> int:
    """Run every check in this folder with the environment of ``BIN``; write what happened to outcome.json."""
    failures = []
    for name, check in CHECKS.items():
        begun = time.monotonic()
        try:
            check()
            print(f"  {name}: passed, {time.monotonic() - begun:.0f} s", flush=True)
        except (Failed, OSError, subprocess.TimeoutExpired) as wrong:
            failures.append(name)
            print(f"  {name}: FAILED, {wrong}", flush=True)
    result = Path("results/result.json")
    found = json.loads(result.read_text(encoding="utf-8"))["comparisons"][0] if result.is_file() else {}
    told = {
        "passed": len(CHECKS) - len(failures),
        "failures": failures,
        "delta_cda_m2": found.get("delta_cda_m2"),
        "delta_cda_se_m2": found.get("se_m2"),
    }
    Path("outcome.json").write_text(json.dumps(told), encoding="utf-8")
    return 0


def without_network() -> tuple[str, ...]:
    """What to put before a command so that it has no network but its own loopback; nothing where that cannot be."""
    tried = shutil.which("unshare") and subprocess.run([*NO_NETWORK, "true"], capture_output=True, check=False)
    return NO_NETWORK if tried and tried.returncode == 0 else ()


def lower_bounds(wheel: Path) -> list[str]:
    """Every dependency of a wheel and its pages pinned to the lowest version allowed, as pip's constraints."""
    with zipfile.ZipFile(wheel) as packed:
        name = next(one for one in packed.namelist() if one.endswith(".dist-info/METADATA"))
        metadata = HeaderParser().parsestr(packed.read(name).decode("utf-8"))
    pins = set()
    for text in metadata.get_all("Requires-Dist", []):
        wanted = Requirement(text)
        if wanted.marker is None or wanted.marker.evaluate({"extra": "app"}):
            bounds = [one.version for one in wanted.specifier if one.operator == ">="]
            if not bounds:
                raise SystemExit(f"{text}: has no lower bound; give it one in pyproject.toml")
            pins.add(f"{wanted.name}=={bounds[0]}")
    return sorted(pins)


def run(*arguments: str | Path, cwd: Path) -> None:
    """Run a step that must succeed, quietly if it does."""
    done = subprocess.run(arguments, cwd=cwd, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise Failed(f"{' '.join(map(str, arguments))}: {(done.stdout + done.stderr)[-3000:]}")


def empty_environment(folder: Path, python: str | Path) -> Path:
    """Make an environment with pip alone; return its folder of programs."""
    run(python, "-m", "venv", folder, cwd=folder.parent)
    return folder / "bin"


def built(work: Path) -> dict[str, Path]:
    """The source archive of a clean clone of HEAD, and the wheel made from that archive."""
    run("git", "clone", "-q", ROOT, "clone", cwd=work)
    venv.create(work / "builder", with_pip=True)
    run(work / "builder/bin/pip", "install", "-q", "build", cwd=work)
    run(work / "builder/bin/python", "-m", "build", "--outdir", work / "dist", work / "clone", cwd=work)
    return {"sdist": next((work / "dist").glob("*.tar.gz")), "wheel": next((work / "dist").glob("*.whl"))}


def outcome(python: str, version: str, source: str, archive: Path, work: Path, pins: list[str] | None) -> Outcome:
    """Install one archive into an empty environment and run every check there."""
    versions = "newest" if pins is None else "lowest"
    print(f"Python {version}, {source}, {versions}", flush=True)
    here = work / f"{version}-{source}-{versions}"
    elsewhere, constraints = here / "empty folder", here / "constraints.txt"
    elsewhere.mkdir(parents=True)
    constraints.write_text("\n".join(pins or []), encoding="utf-8")
    kept: tuple[str, ...] = ("-c", str(constraints))
    try:
        programs = empty_environment(here / "environment", python)
        run(programs / "pip", "install", "-q", *kept, f"{archive}[app]", cwd=elsewhere)
    except Failed as wrong:
        print(f"  install: FAILED, {wrong}", flush=True)
        return Outcome(python=version, source=source, versions=versions, passed=0, failures=["install"])
    own = {name: said for name, said in os.environ.items() if not name.startswith(("PYTHON", "FIELDAERO", "XDG"))}
    own |= {"LANG": "C.UTF-8", "HOME": str(here / "home"), "BIN": str(programs)}
    (here / "home").mkdir()
    subprocess.run(
        [*without_network(), sys.executable, "-P", Path(__file__).resolve(), "--here"],
        cwd=elsewhere,
        env=own,
        check=True,
    )
    told = json.loads((elsewhere / "outcome.json").read_text(encoding="utf-8"))
    if pins is not None:
        try:
            run(programs / "pip", "install", "-q", *kept, f"{archive}[app,test]", cwd=elsewhere)
            begun = time.monotonic()
            run(programs / "python", "-m", "pytest", "-q", "-n", "2", *CORE, cwd=work / "clone")
            print(f"  core of the tests: passed, {time.monotonic() - begun:.0f} s", flush=True)
            told["passed"] += 1
        except Failed as wrong:
            print(f"  core of the tests: FAILED, {wrong}", flush=True)
            told["failures"].append("core of the tests")
    return Outcome(python=version, source=source, versions=versions, **told)


def table(rows: list[Outcome]) -> str:
    """The outcomes, one a line, with the first difference of the sample session."""
    lines = [
        "| Python | source | versions | passed | failed | difference, m² |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        total = row.passed + len(row.failures)
        found = "—" if row.delta_cda_m2 is None else f"{row.delta_cda_m2:.7f}"
        failed = ", ".join(row.failures) or "—"
        lines.append(f"| {row.python} | {row.source} | {row.versions} | {row.passed} of {total} | {failed} | {found} |")
    return "\n".join(lines)


def same_answer(rows: list[Outcome]) -> bool:
    """Whether all environments found the same difference, to a hundredth of its standard error."""
    found = [(row.delta_cda_m2, row.delta_cda_se_m2) for row in rows if row.delta_cda_m2 and row.delta_cda_se_m2]
    deltas = [delta for delta, _ in found]
    return not found or max(deltas) - min(deltas) <= SAME_SHARE_OF_SE * min(se for _, se in found)


def main() -> int:
    """Run it; 1 if anything failed."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--python", metavar="PATH", nargs="+", default=[sys.executable], help="Interpreters to try.")
    options.add_argument("--lowest", action="store_true", help="Also the lowest versions, on the oldest of them.")
    options.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    chosen = options.parse_args()
    if chosen.here:
        return check_here()
    if not without_network():
        print("No network namespace can be made here, so the commands run with the network there is.", flush=True)
    asked = "import platform; print(platform.python_version())"
    versions = {
        path: subprocess.run([path, "-c", asked], capture_output=True, text=True, check=True).stdout.strip()
        for path in chosen.python
    }
    oldest = min(versions, key=lambda path: tuple(int(part) for part in versions[path].split(".")[:2]))
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        archives = built(work)
        rows = [
            outcome(path, version, source, archive, work, None)
            for path, version in versions.items()
            for source, archive in archives.items()
        ]
        if chosen.lowest:
            pins = lower_bounds(archives["wheel"])
            print(f"Lowest versions: {', '.join(pins)}", flush=True)
            rows.append(outcome(oldest, versions[oldest], "wheel", archives["wheel"], work, pins))
        print(f"\n{table(rows)}", flush=True)  # before the environments go, which takes a while
    if not same_answer(rows):
        print("The environments differ in the answer to the sample session.")
    return 0 if same_answer(rows) and not any(row.failures for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
