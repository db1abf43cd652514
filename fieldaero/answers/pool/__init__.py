"""Several sessions of the same comparison pooled: random effects, heterogeneity, links by common setups."""

from __future__ import annotations

from fieldaero.answers.pool.pooled import Pooled
from fieldaero.answers.pool.run import pool_results, pool_sheets

__all__ = ["Pooled", "pool_results", "pool_sheets"]
