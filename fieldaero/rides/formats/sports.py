"""Which part of a file is the ride, where it holds several sports."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.formatting import counted

__all__ = ["Session", "choose_sessions", "indoor_word", "sport_in_words"]

CYCLING = {"cycling", "biking", "bike", "ride", "e biking", "road biking", "mountain biking"}
INDOOR = ("indoor", "virtual", "trainer", "treadmill", "spin", "fitness equipment")


@dataclass(frozen=True, kw_only=True)
class Session:
    """One sport of a file, in words where the file says so; ``rows`` marks its samples, shape (n,)."""

    sport: str | None
    sub_sport: str | None
    rows: NDArray[np.bool_]


def sport_in_words(word: str | None) -> str | None:
    """Return the sport in lower case, and all the names of cycling as "cycling".

    Examples
    --------
    >>> sport_in_words("Biking"), sport_in_words("Running"), sport_in_words(" ")
    ('cycling', 'running', None)
    """
    plain = " ".join((word or "").lower().replace("_", " ").split())
    return "cycling" if plain in CYCLING else plain or None


def indoor_word(*words: str | None) -> str | None:
    """Return the first of the words that says the ride was indoors or virtual.

    Examples
    --------
    >>> indoor_word("cycling", "virtual activity")
    'virtual activity'
    """
    for word in words:
        plain = (word or "").lower().replace("_", " ")
        if any(sign in plain for sign in INDOOR):
            return plain
    return None


def choose_sessions(sessions: Sequence[Session]) -> tuple[list[Session], list[str]]:
    """Choose the sessions to read, and add a note if others are left out.

    All outdoor cycling; without any, all indoor cycling; without any cycling, the session with most samples.
    """
    present = [session for session in sessions if session.rows.any()]
    if len(present) < 2:
        return present, []
    cycling = [session for session in present if session.sport == "cycling"]
    outdoors = [session for session in cycling if indoor_word(session.sport, session.sub_sport) is None]
    chosen = outdoors or cycling
    if not chosen:
        sports = {session.sport for session in present}
        chosen = list(present) if len(sports) == 1 else [max(present, key=lambda one: int(one.rows.sum()))]
    if len(chosen) == len(present):
        return chosen, []
    names = ", ".join(_name(session) for session in present)
    kept = " and ".join(dict.fromkeys(_name(session) for session in chosen))
    left = counted(sum(int(one.rows.sum()) for one in present) - sum(int(one.rows.sum()) for one in chosen), "sample")
    return chosen, [f"the file holds {len(present)} sessions ({names}); {kept} was read, {left} of the others left out"]


def _name(session: Session) -> str:
    sub = session.sub_sport if session.sub_sport not in (None, "generic") else None
    return f"{session.sport or 'unnamed'}{f' ({sub})' if sub else ''}"
