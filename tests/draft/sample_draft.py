"""The sample session as the pages open it, opened and analysed once."""

from __future__ import annotations

from functools import cache

from fieldaero.answers.result import Result
from fieldaero.draft.draft import Draft
from fieldaero.draft.open_files import open_sample
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder

RIDE = "morning.fit"


@cache
def ride_bytes() -> bytes:
    return (sample_folder() / RIDE).read_bytes()


@cache
def sheet_text() -> str:
    return (sample_folder() / SAMPLE_SHEET).read_text(encoding="utf-8")


@cache
def sample_draft() -> Draft:
    return open_sample()


@cache
def sample_draft_result() -> Result:
    return sample_draft().result()
