"""How large input may be: every room states its own limit, and one switch lifts them all.

A limit keeps a mistaken or malicious file from filling memory; no ride that anybody records comes
near it.  ``FIELDAERO_LIMITS=off`` in the environment lifts the limits, for whoever knows better.
"""

from __future__ import annotations

import os

__all__ = ["HOW_TO_LIFT", "beyond"]

SWITCH = "FIELDAERO_LIMITS"
HOW_TO_LIFT = f"if it is meant to be so large, {SWITCH}=off in the environment lifts the limit"


def beyond(found: float, allowed: float) -> bool:
    """Whether something is larger than allowed, and the limits are not lifted.

    Examples
    --------
    >>> beyond(3, 5), beyond(7, 5)
    (False, True)
    """
    return found > allowed and os.environ.get(SWITCH, "").strip().lower() != "off"
