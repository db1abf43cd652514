"""Results of the draft: a quick answer at once where a former one helps, the full one as soon as it is worked out.

A quick answer keeps the noise parameters of a former result.  The full one, the same as the command
line's, is worked out in a thread beside and takes its place on the page without anybody asking.
Everything lives in the state of one browser session; the thread gets its draft and hands back its result.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from fieldaero.basics.errors import FieldaeroError
from fieldaero.draft.draft import Draft

if TYPE_CHECKING:
    from fieldaero.answers.result import Result

__all__ = ["Outcome", "outcome_of", "settle", "settled"]

OUTCOME, WORK = "the_outcomes", "the_work"
MOST_KEPT = 12
POLL_S = 0.6


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """An analysis: of which draft, what it found, or why it found nothing.

    After a failure ``result`` is the last one that was found, and ``stale`` says so.  ``quick`` says
    that the noise parameters are those of a former result.
    """

    of: str
    result: Result | None
    problem: str = ""
    stale: bool = False
    quick: bool = False


@st.cache_resource
def _pool() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=1)


def outcome_of(draft: Draft, *, before: Result | None = None) -> Outcome:
    """Analyse a draft, unless that was done already; ``before`` stays on the page, marked stale, if this fails."""
    known, name = _known(), _name(draft)
    if name in known:
        known[name] = known.pop(name)
        return known[name]
    work = _work().pop(name, None)
    former = _former(draft, list(known.values()))
    try:
        if work is not None and not work.cancelled():
            made = Outcome(of=name, result=work.result())
        elif former is not None:
            made = Outcome(of=name, result=draft.result(former=former, keep_noise=True), quick=True)
        else:
            with st.spinner("Fitting all laps together"):
                made = Outcome(of=name, result=draft.result())
    except FieldaeroError as why:
        made = Outcome(of=name, result=before, problem=str(why), stale=before is not None)
    _keep(made)
    return made


def settled(draft: Draft) -> Outcome:
    """Return the full outcome of a draft, worked out now if it was not before."""
    found = outcome_of(draft)
    if not found.quick:
        return found
    work = _work().pop(found.of, None)
    with st.spinner("Fitting all laps together"):
        try:
            result = work.result() if work is not None and not work.cancelled() else draft.result(former=found.result)
        except FieldaeroError:
            return found
    _keep(Outcome(of=found.of, result=result))
    return _known()[found.of]


def settle(drafts: Sequence[Draft]) -> None:
    """Work out beside the page what was answered quickly, and draw the page again when it is there."""
    known, work = _known(), _work()
    open_ones = {_name(d): d for d in drafts if (o := known.get(_name(d))) is not None and o.quick}
    for name in [n for n in work if n not in open_ones]:
        work.pop(name).cancel()
    for name, draft in open_ones.items():
        if name not in work:
            work[name] = _pool().submit(draft.result, former=known[name].result)
    if open_ones:
        _wait(tuple(open_ones))


@st.fragment(run_every=POLL_S)
def _wait(names: tuple[str, ...]) -> None:
    st.markdown(":small[Quick answer; the full fit is on its way and takes its place in a moment.]")
    work = _work()
    done = [name for name in names if name in work and work[name].done()]
    for name in done:
        future = work.pop(name)
        if not future.cancelled() and future.exception() is None:
            _keep(Outcome(of=name, result=future.result()))
        else:
            _keep(Outcome(of=name, result=_known()[name].result))
    if done:
        st.rerun()


def _known() -> dict[str, Outcome]:
    found: dict[str, Outcome] = st.session_state.setdefault(OUTCOME, {})
    return found


def _work() -> dict[str, Future[Result]]:
    found: dict[str, Future[Result]] = st.session_state.setdefault(WORK, {})
    return found


def _keep(made: Outcome) -> None:
    known = _known()
    known.pop(made.of, None)
    known[made.of] = made
    while len(known) > MOST_KEPT:
        known.pop(next(iter(known)))


def _name(draft: Draft) -> str:
    text = draft.sheet_text() + "".join(ride.ride.source.sha256 for ride in draft.rides)
    return hashlib.sha256(text.encode()).hexdigest()


def _former(draft: Draft, known: Sequence[Outcome]) -> Result | None:
    """Return the full result of the same rides with the most laps, the latest of those."""
    fitting = [
        o.result
        for o in known
        if o.result is not None
        and not o.quick
        and not o.stale
        and [id(r.ride) for r in o.result.session.rides] == [id(r.ride) for r in draft.rides]
    ]
    return max(reversed(fitting), key=_laps, default=None)


def _laps(result: Result) -> int:
    return len(result.estimates.laps)
