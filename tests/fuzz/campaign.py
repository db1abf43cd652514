"""Read many mutants in a process bounded in time and memory: ``python -m tests.fuzz.campaign [--share X] [--real]``.

The whole campaign is 12,000 mutants, the same in every run. The tests run a share of it, with
``--json``. Whatever goes wrong is named, and the exit status is then 1.
"""

from __future__ import annotations

import argparse
import base64
import json
import resource
import signal
import sys
import time
from pathlib import Path
from types import FrameType

from tests.fuzz.mutants import mutants
from tests.fuzz.targets import FORMATS, Fault, outcome, real_seeds

__all__ = ["COUNT", "LONGEST_S", "MEMORY_BYTES", "TooLong", "at_most", "run"]

COUNT = {"fit": 2500, "tcx": 2000, "gpx": 2000, "csv": 2000, "metar": 2000, "sheet": 1500}
REAL_COUNT = {"fit": 300, "tcx": 150, "gpx": 150}
SEED = 20260503
LONGEST_S = 5.0
MEMORY_BYTES = 1 << 30


class TooLong(BaseException):
    """Past the time allowed; not an Exception, so that no reader takes it for damage."""


def at_most(seconds: float) -> None:
    """Have TooLong raised after so many seconds of this process's own work; 0 calls it off."""

    def ring(_: int, __: FrameType | None) -> None:
        raise TooLong

    # Own work, because a machine that is busy with others does not make a reader slow.
    signal.signal(signal.SIGVTALRM, ring)
    signal.setitimer(signal.ITIMER_VIRTUAL, seconds)


def run(name: str, count: int, *, real: bool = False) -> dict[str, object]:
    """Read the mutants; return outcomes by kind, the slowest, and every fault with its bytes."""
    form = FORMATS[name]
    seeds = real_seeds(name) if real else form.seeds()
    kinds: dict[str, int] = {}
    faults: list[dict[str, str]] = []
    slowest_s = 0.0
    for data in mutants(seeds, count=count, text=form.text, seed=SEED):
        begun = time.process_time()
        kind = "fault"
        try:
            at_most(LONGEST_S)
            kind = outcome(name, data)
        except Fault as fault:
            faults.append({"what": str(fault)[:500], "data": base64.b64encode(data).decode()})
        except TooLong:
            faults.append({"what": f"longer than {LONGEST_S} s", "data": base64.b64encode(data).decode()})
        finally:
            at_most(0.0)
        slowest_s = max(slowest_s, time.process_time() - begun)
        kinds[kind] = kinds.get(kind, 0) + 1
    return {"format": name, "count": count, "kinds": kinds, "slowest_s": slowest_s, "faults": faults}


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz.campaign", description=__doc__)
    parser.add_argument("--share", type=float, default=1.0, help="of the whole campaign")
    parser.add_argument("--real", action="store_true", help="mutants of real ride files on this machine")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    counts = {name: n for name, n in REAL_COUNT.items() if real_seeds(name)} if asked.real else COUNT
    for name in counts:
        outcome(name, FORMATS[name].seeds()[0])  # libraries are loaded before the limit counts
    # Addresses taken by then are mostly code and reserves of threads; the limit is for what reading adds.
    taken = (
        int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize() if sys.platform == "linux" else 0
    )
    resource.setrlimit(resource.RLIMIT_AS, (taken + MEMORY_BYTES, taken + MEMORY_BYTES))
    told = [run(name, round(asked.share * count), real=asked.real) for name, count in counts.items()]
    if asked.json:
        json.dump(told, sys.stdout)
        return 0
    for one in told:
        print(f"{one['format']}: {one['kinds']}, the slowest {one['slowest_s']:.2f} s")
        for fault in one["faults"]:
            print(f"  {fault['what']}: {base64.b64decode(fault['data'])[:300]!r}")
    return int(any(one["faults"] for one in told))


if __name__ == "__main__":
    sys.exit(main())
