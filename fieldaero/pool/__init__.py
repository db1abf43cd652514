"""Several sessions of the same comparison pooled: random effects, heterogeneity, links by common setups."""

from __future__ import annotations

from fieldaero.pool.contrasts import SessionContrast, session_contrast
from fieldaero.pool.files import write_pooled_files
from fieldaero.pool.records import LeftOut, Pooled, PooledComparison, PooledSession
from fieldaero.pool.run import pool_results, pool_sheets

__all__ = [
    "LeftOut",
    "Pooled",
    "PooledComparison",
    "PooledSession",
    "SessionContrast",
    "pool_results",
    "pool_sheets",
    "session_contrast",
    "write_pooled_files",
]
