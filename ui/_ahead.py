"""What later pages need is imported while the first one is looked at, so that the start does not wait for it."""

from __future__ import annotations

import importlib
from contextlib import suppress
from threading import Thread

import streamlit as st

__all__ = ["import_ahead", "imported"]

LATER = ("altair", "fieldaero.rides.formats.fit", "fieldaero.answers.analysis", "fieldaero.plan.plan")


def import_ahead() -> None:
    """Begin to import what later pages need, once for all browser sessions."""
    thread = _importing()
    with suppress(RuntimeError):  # begun already
        thread.start()


def imported() -> None:
    """Wait for it where it has begun: two threads that import the same modules can meet half made ones."""
    thread = _importing()
    if thread.is_alive():
        thread.join()


@st.cache_resource(show_spinner=False)
def _importing() -> Thread:
    def imports() -> None:
        for name in LATER:
            with suppress(ImportError):  # the page that needs it says so
                importlib.import_module(name)

    return Thread(target=imports, name="imports", daemon=True)
