"""A linear contrast: an estimate, its standard error, and the t distribution around it."""

from __future__ import annotations

from dataclasses import dataclass

from fieldaero.statistics import student_t

__all__ = ["Contrast"]


@dataclass(frozen=True, kw_only=True)
class Contrast:
    """An estimated combination of effects, in the unit of the effects.

    ``df`` is infinite where the covariance is known, and NaN where no scatter could be
    estimated: interval and p value are then NaN too.  ``method`` says how
    standard error and df were found.

    Examples
    --------
    >>> c = Contrast(estimate=-2.0, standard_error=1.0, df=10.0, method="kenward-roger")
    >>> [round(bound, 3) for bound in c.interval()]
    [-4.228, 0.228]
    >>> round(c.p_value(), 4)
    0.0734
    """

    estimate: float
    standard_error: float
    df: float
    method: str

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Two-sided interval at the level asked for."""
        half = float(student_t.quantile(0.5 + level / 2.0, self.df)) * self.standard_error
        return self.estimate - half, self.estimate + half

    def p_value(self, null: float = 0.0) -> float:
        """Two-sided p value of the true value being ``null``."""
        if not self.standard_error > 0.0:
            return float("nan")
        return float(2.0 * student_t.above(abs(self.estimate - null) / self.standard_error, self.df))
