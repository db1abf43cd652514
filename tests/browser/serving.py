"""The pages served as a user starts them, and the browser that is found on this machine."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
# A browser that asks its maker for nothing, so that every request seen is one of the pages'.
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
LONGEST_START_S = 600.0
LONGEST_END_S = 10.0


def browser_found() -> str | None:
    """Path of a browser, None where there is none."""
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


@contextmanager
def served(*arguments: str) -> Iterator[str]:
    """Start `fieldaero app` with further arguments; gives the address, and ends the server with all it started."""
    port = free_port()
    command = [sys.executable, "-m", "fieldaero", "app", *arguments, "--no-browser", "--port", str(port)]
    server = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )
    try:
        _wait_for(port, server)
        yield f"http://127.0.0.1:{port}"
    finally:
        # The group holds the command and the server that it started, and nothing else.
        os.killpg(server.pid, signal.SIGTERM)
        try:
            server.wait(LONGEST_END_S)
        except subprocess.TimeoutExpired:
            os.killpg(server.pid, signal.SIGKILL)
            server.wait()


def _wait_for(port: int, server: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + LONGEST_START_S
    while time.monotonic() < end:
        if server.poll() is not None:
            raise AssertionError(f"the server ended at once, with status {server.returncode}")
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=1.0):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.05)
    raise AssertionError(f"the server did not answer within {LONGEST_START_S:g} s")
