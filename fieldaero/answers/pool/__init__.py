"""Several sessions of the same comparison pooled: random effects, heterogeneity, links by common setups."""

from __future__ import annotations

from fieldaero.answers.pool.legs import SessionContrast, session_contrast
from fieldaero.answers.pool.pooled import LeftOut, Pooled, PooledComparison, PooledSession
from fieldaero.answers.pool.run import pool_results, pool_sheets

__all__ = [
    "LeftOut",
    "Pooled",
    "PooledComparison",
    "PooledSession",
    "SessionContrast",
    "pool_results",
    "pool_sheets",
    "session_contrast",
]
