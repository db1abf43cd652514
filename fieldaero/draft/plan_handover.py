"""A plan handed to the desk: its setups, baseline and smallest difference, so that the laps can be given to them."""

from __future__ import annotations

from fieldaero.draft.draft import Desk
from fieldaero.draft.what_if import WhatIf, what_if
from fieldaero.plan.plan import Plan

__all__ = ["with_plan"]


def with_plan(desk: Desk, plan: Plan) -> Desk:
    """Return the desk with the plan's setups, the baseline first.

    Parameters
    ----------
    desk
        The test as it stands; what it says of a setup of the same name stays, and so does a setup with laps.
    plan
        From :func:`fieldaero.plan.plan.plan_test`.
    """
    own = {str(setup["name"]): setup for setup in desk.tables.get("setups", ())}
    ridden = {desk.setup_of(lap) for lap in desk.laps}
    kept = [name for name in own if name in ridden and name not in plan.setups]
    setups = [own.get(name, {"name": name}) for name in (*plan.setups, *kept)]
    out = desk.with_table("setups", setups).with_table("baseline", plan.setups[0])
    return what_if(out, WhatIf(smallest_difference_m2=round(plan.smallest_difference_m2, 5)))
