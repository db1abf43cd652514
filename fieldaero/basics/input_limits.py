"""How large input may be: every module states its own limit, and one switch lifts them all.

A limit keeps a mistaken or malicious file from filling memory; no recorded ride comes near it.
"""

from __future__ import annotations

import os

__all__ = ["HOW_TO_LIFT", "beyond"]

SWITCH = "FIELDAERO_LIMITS"
HOW_TO_LIFT = f"set {SWITCH}=off in the environment to lift the limit"


def beyond(found: float, allowed: float) -> bool:
    """Whether something is larger than allowed, and the limits are not lifted.

    Examples
    --------
    >>> beyond(3, 5), beyond(7, 5)
    (False, True)
    """
    return found > allowed and os.environ.get(SWITCH, "").strip().lower() != "off"
