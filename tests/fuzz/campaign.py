"""Read many mutants in a process of its own, bounded in time and memory; write what went wrong as JSON.

Run as ``python -m tests.fuzz.campaign FORMAT COUNT SEED [--real]``.
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

__all__ = ["LONGEST_S", "MEMORY_BYTES", "TooLong", "at_most", "run"]

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


def run(name: str, count: int, seed: int, *, real: bool) -> dict[str, object]:
    """Read the mutants; return outcomes by kind, the slowest, and every fault with its bytes."""
    form = FORMATS[name]
    seeds = real_seeds(name) if real else form.seeds()
    kinds: dict[str, int] = {}
    faults: list[dict[str, str]] = []
    slowest_s = 0.0
    for data in mutants(seeds, count=count, text=form.text, seed=seed):
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
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return {"format": name, "kinds": kinds, "slowest_s": slowest_s, "peak_mib": peak_mib, "faults": faults}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("format", choices=FORMATS)
    parser.add_argument("count", type=int)
    parser.add_argument("seed", type=int)
    parser.add_argument("--real", action="store_true")
    asked = parser.parse_args()
    FORMATS[asked.format].seeds()
    outcome(asked.format, FORMATS[asked.format].seeds()[0])  # libraries are loaded before the limit counts
    # Addresses taken by then are mostly code and reserves of threads; the limit is for what reading adds.
    taken = (
        int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize() if sys.platform == "linux" else 0
    )
    resource.setrlimit(resource.RLIMIT_AS, (taken + MEMORY_BYTES, taken + MEMORY_BYTES))
    json.dump(run(asked.format, asked.count, asked.seed, real=asked.real), sys.stdout)


if __name__ == "__main__":
    main()
