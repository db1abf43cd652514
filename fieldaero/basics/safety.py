"""What everybody reads before a test is ridden: on the plan, its page to print, the run sheet, report and data pack."""

from __future__ import annotations

__all__ = ["SAFETY"]

SAFETY = (
    "Quiet or closed road only, within the traffic law.",
    "Eyes up in every position: watch the road, not the screen, and brake when you must.",
    "No test in strong gusts. Stop when gusts move the bike, when traffic builds up, or when anything feels unsafe: "
    "no test is worth a fall.",
    "Local rules come first; ask for permission where a course or an event needs it.",
)
