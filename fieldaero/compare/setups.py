"""Setups compared from lap drag areas whose covariance is known: the numbers behind a verdict.

    y = X beta + drift t + lap effect + error

y are the laps' drag areas with the covariance Sigma of the joint fit, X says which lap
is of which setup, the drift is a random slope with a stated standard deviation, and
the lap effect is what a rider changes from lap to lap.  Its variance tau^2 comes from
the laps themselves by restricted likelihood, with a weak prior worth
:data:`SCATTER_PRIOR_DF` degrees of freedom, because a handful of laps would
often estimate it as zero and promise too much.  Contrasts by generalised least squares with
degrees of freedom after Kenward and Roger, which also carry the uncertainty of the
joint fit's noise parameters; several setups against one baseline get simultaneous
intervals.

On laps shorter than two minutes what a rider changes, and what the wind does, lasts for several
laps.  There every stint, laps of one setup in a row, has an effect of its own too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.errors import CannotAnswerError
from fieldaero.basics.quantities import Floats
from fieldaero.statistics import student_t
from fieldaero.statistics.mixed_model import FirstStageUncertainty, LinearMixedFit, VarianceComponent, fit_linear_mixed
from fieldaero.statistics.simultaneous_intervals import simultaneous_intervals

__all__ = ["ComparedSetups", "Influence", "LapTable", "SetupContrast", "SetupMean", "compare_setups"]

SCATTER_PRIOR_DF = 1.0  # chosen: the weight of a single further lap
SCATTER_PRIOR_SD = 0.003  # of the drag area: a rider who tries to hold a position; common practice, no source
OUTLIER_P = 0.01  # chance that among all laps of a clean session one is called an outlier
MOST_OUTLIERS = 3  # with more, the session rather than a lap is in doubt
SHORT_LAP_S = 120.0  # a position slips over minutes, not within a lap of a track; common practice, no source
MOST_DF = 1e6  # as good as a known covariance, and a number that a file can hold
ALONE = 1e-9  # of a lap's information that the other laps leave to judge it by


@dataclass(frozen=True, kw_only=True)
class LapTable:
    """Laps that go into a comparison.

    Attributes
    ----------
    cda_m2, covariance_m4
        Drag areas, shape (K,), and their covariance, shape (K, K).
    setup
        Name of each lap's setup.
    time_h
        Middle of each lap on the session's clock [h], shape (K,).
    lasting_s
        How long each lap took [s], shape (K,); None where they are known to be long.
    first_stage
        How uncertain the covariance itself is; None where it is simply known.
    """

    cda_m2: Floats
    covariance_m4: Floats
    setup: tuple[str, ...]
    time_h: Floats
    lasting_s: Floats | None = None
    first_stage: FirstStageUncertainty | None = None


@dataclass(frozen=True, kw_only=True)
class SetupMean:
    """Drag area of a setup with its standard error [m2] and degrees of freedom."""

    setup: str
    laps: int
    cda_m2: float
    se_m2: float
    df: float

    def interval(self, *, level: float = 0.95) -> tuple[float, float]:
        """Interval of the drag area [m2]."""
        half = float(student_t.quantile(0.5 + level / 2.0, self.df)) * self.se_m2
        return self.cda_m2 - half, self.cda_m2 + half


@dataclass(frozen=True, kw_only=True)
class SetupContrast:
    """A setup minus another [m2]; the interval holds for all contrasts of the session together.

    ``scatter_unknown`` says that no setup has two laps, so that only the fit's own
    error is in the interval and not what a rider changes from lap to lap.
    """

    setup: str
    versus: str
    delta_cda_m2: float
    se_m2: float
    df: float
    interval95_m2: tuple[float, float]
    interval95_alone_m2: tuple[float, float]
    p_value: float
    scatter_unknown: bool

    @property
    def own_level(self) -> float:
        """Level at which ``interval95_m2`` holds for this contrast alone: 0.95, more if it is one of several."""
        half = (self.interval95_m2[1] - self.interval95_m2[0]) / 2.0
        return float(1.0 - 2.0 * student_t.above(half / self.se_m2, self.df))


@dataclass(frozen=True, kw_only=True)
class Influence:
    """How much leaving out one lap would move each difference.

    Attributes
    ----------
    shift_m2
        Change of each contrast if the lap were left out, shape (K, contrasts); NaN
        where its setup has no other lap.
    outlier_z
        The lap against what the others, less outliers, predict for it, in standard deviations, shape (K,).
    outlier
        Whether that is more than chance would bring among so many laps, shape (K,).
    """

    shift_m2: Floats
    outlier_z: Floats
    outlier: NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class ComparedSetups:
    """All that the laps say of the setups."""

    setups: tuple[SetupMean, ...]
    contrasts: tuple[SetupContrast, ...]
    lap_scatter_m2: float | None
    drift_m2_per_h: float
    drift_se_m2_per_h: float
    influence: Influence
    weights: Floats
    """Weight of each lap in each setup's mean, shape (setups, K)."""


def compare_setups(
    laps: LapTable,
    *,
    baseline: str,
    setups: Sequence[str],
    drift_sd_per_h: float = 0.01,
    pairs: Sequence[tuple[str, str]] | None = None,
) -> ComparedSetups:
    """Compare setups by their laps.

    Each setup is compared with the baseline, or the ``pairs`` (setup, versus) that are wanted.  ``setups`` gives
    the order of the result; those without a lap are passed over, and without a single lap CannotAnswerError is
    raised.  ``drift_sd_per_h`` is the standard deviation of a steady change of drag area, a fraction of it per hour.
    """
    names = [name for name in setups if name in laps.setup]
    if not names:
        raise CannotAnswerError("no lap gives a drag area")
    if pairs is None:
        pairs = [(name, baseline) for name in names if name != baseline]
    pairs = [pair for pair in pairs if pair[0] in names and pair[1] in names and pair[0] != pair[1]]
    counts = {name: laps.setup.count(name) for name in names}
    scatter_unknown = max(counts.values()) < 2
    model = _model(laps, names, drift_sd_per_h)
    fit = model.fit()
    V = model.covariance(fit)
    means = []
    for name, weights in zip(names, np.eye(len(names)), strict=True):
        c = fit.contrast(weights)
        means.append(SetupMean(setup=name, laps=counts[name], cda_m2=c.estimate, se_m2=c.standard_error, df=_df(c.df)))
    weights = np.array([[float(n == a) - float(n == b) for n in names] for a, b in pairs]).reshape(-1, len(names))
    drift, drift_se = _drift(model, V)
    return ComparedSetups(
        setups=tuple(means),
        contrasts=_contrasts(fit, weights, pairs, scatter_unknown=scatter_unknown),
        lap_scatter_m2=None if scatter_unknown else float(np.sqrt(fit.theta[0])),
        drift_m2_per_h=drift,
        drift_se_m2_per_h=drift_se,
        influence=_influence(model, V, weights),
        weights=_gls(V, model.design),
    )


@dataclass(frozen=True, kw_only=True)
class _Model:
    """What every fit of these laps has in common.

    ``design`` says which lap is of which setup, shape (K, setups); ``known`` is the covariance with the drift's
    part, shape (K, K); ``hours`` are centred and ``drift_sd_m2_per_h`` is the drift's standard deviation.
    """

    laps: LapTable
    names: Sequence[str]
    design: Floats
    hours: Floats
    drift_sd_m2_per_h: float
    known: Floats
    components: Sequence[VarianceComponent]

    def with_own_effects(self, aside: Sequence[int]) -> Floats:
        """Return the design with an effect of its own for some laps, which takes them out."""
        return np.column_stack([self.design, np.eye(len(self.hours))[:, list(aside)]])

    def fit(self, *, aside: Sequence[int] = ()) -> LinearMixedFit:
        return fit_linear_mixed(
            self.laps.cda_m2,
            design=self.with_own_effects(aside),
            components=self.components,
            known_covariance=self.known,
            first_stage=self.laps.first_stage,
            columns=[*self.names, *(f"lap {k + 1}" for k in aside)],
        )

    def covariance(self, fit: LinearMixedFit) -> Floats:
        """Return V, shape (K, K); a scatter that these laps cannot show has no part in it."""
        effects = zip(fit.theta, self.components, strict=True)
        return np.asarray(self.known + sum(tau2 * c.structure for tau2, c in effects if np.isfinite(tau2)))


def _model(laps: LapTable, names: Sequence[str], drift_sd_per_h: float) -> _Model:
    hours = laps.time_h - np.mean(laps.time_h)
    drift_sd = drift_sd_per_h * float(np.mean(laps.cda_m2))
    return _Model(
        laps=laps,
        names=names,
        design=np.array([[float(own == name) for name in names] for own in laps.setup]),
        hours=hours,
        drift_sd_m2_per_h=drift_sd,
        known=laps.covariance_m4 + drift_sd**2 * np.outer(hours, hours),
        components=_components(laps),
    )


def _components(laps: LapTable) -> list[VarianceComponent]:
    """Scatter from lap to lap, and from stint to stint where laps are short and stints repeat."""
    scale = (SCATTER_PRIOR_SD * float(np.mean(laps.cda_m2))) ** 2
    structures = {"lap": np.eye(len(laps.setup))}
    begins = [k > 0 and laps.setup[k] != laps.setup[k - 1] for k in range(len(laps.setup))]
    stint = np.cumsum(begins)
    short = laps.lasting_s is not None and float(np.median(laps.lasting_s)) < SHORT_LAP_S
    if short and len(set(laps.setup)) < stint[-1] + 1 < len(stint):
        structures["stint"] = np.equal.outer(stint, stint).astype(np.float64)
    return [
        VarianceComponent(name=name, structure=structure, prior_df=SCATTER_PRIOR_DF, prior_scale=scale)
        for name, structure in structures.items()
    ]


def _df(df: float) -> float:
    return float(np.clip(df, 1.0, MOST_DF)) if np.isfinite(df) else MOST_DF


def _contrasts(
    fit: LinearMixedFit, weights: Floats, pairs: Sequence[tuple[str, str]], *, scatter_unknown: bool
) -> tuple[SetupContrast, ...]:
    if not len(pairs):
        return ()
    alone = [fit.contrast(w) for w in weights]
    covariance = weights @ fit.covariance_kenward_roger @ weights.T
    together = simultaneous_intervals([c.estimate for c in alone], covariance=covariance, df=[_df(c.df) for c in alone])
    return tuple(
        SetupContrast(
            setup=a,
            versus=b,
            delta_cda_m2=c.estimate,
            se_m2=c.standard_error,
            df=_df(c.df),
            interval95_m2=(float(together.low[i]), float(together.high[i])),
            interval95_alone_m2=c.interval(),
            p_value=float(together.p_adjusted[i]),
            scatter_unknown=scatter_unknown,
        )
        for i, ((a, b), c) in enumerate(zip(pairs, alone, strict=True))
    )


def _gls(V: Floats, X: Floats) -> Floats:
    """Weights W with beta = W y."""
    Vi_X = np.linalg.solve(V, X)
    return np.asarray(np.linalg.solve(X.T @ Vi_X, Vi_X.T))


def _drift(model: _Model, V: Floats) -> tuple[float, float]:
    """Best linear predictor of the slope, and the standard error of that."""
    X, sd, t = model.design, model.drift_sd_m2_per_h, model.hours
    P = np.linalg.inv(V) @ (np.eye(len(t)) - X @ _gls(V, X))
    slope = sd**2 * float(t @ P @ model.laps.cda_m2)
    return slope, float(np.sqrt(max(sd**2 - sd**4 * float(t @ P @ t), 0.0)))


def _influence(model: _Model, V: Floats, weights: Floats) -> Influence:
    X, y = model.design, model.laps.cda_m2
    error, z = _against_the_others(V, X, y)
    # Left out, a lap counts as much as if it were what the others predict for it.
    shift = -(weights @ _gls(V, X)).T * error[:, None]
    outliers, clean_z = _outliers(model, z)
    return Influence(shift_m2=shift, outlier_z=clean_z, outlier=np.isin(np.arange(len(y)), outliers))


def _against_the_others(V: Floats, X: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Each lap less what the others predict for it, and that in standard deviations; NaN where they cannot."""
    inverse = np.linalg.inv(V)
    P = inverse - inverse @ X @ _gls(V, X)
    own = np.where(np.diag(P) > ALONE * np.diag(inverse), np.diag(P), np.nan)
    return P @ y / own, P @ y / np.sqrt(own)


def _outliers(model: _Model, z: Floats) -> tuple[list[int], Floats]:
    """Laps that lie further out than chance brings, and every lap against the clean ones in standard deviations.

    One wild lap widens the scatter by which all are judged.  So the furthest lap is given
    an effect of its own, tested by that, and set aside whatever the test says; then the next
    furthest, up to a quarter of the laps and no more than three; the outliers are those up to the last that fails
    (B. Rosner, Technometrics 25 (1983) 165, his many-outlier procedure, from memory).
    """
    y, aside, outliers = model.laps.cda_m2, list[int](), list[int]()
    clean_z, found = z.copy(), z
    steps = min(max(len(y) // 4, 1), MOST_OUTLIERS)
    for _ in range(steps):
        judged = int(np.count_nonzero(np.isfinite(found)))
        if judged < 3:
            break
        aside.append(int(np.nanargmax(np.abs(found))))
        fit = model.fit(aside=aside)
        effects = [fit.contrast(row) for row in np.eye(len(fit.columns))[len(model.names) :]]
        _, found = _against_the_others(model.covariance(fit), model.with_own_effects(aside), y)
        if effects[-1].p_value() * judged * steps < OUTLIER_P:
            outliers = list(aside)
            clean_z = found.copy()
            clean_z[aside] = [effect.estimate / effect.standard_error for effect in effects]
    return outliers, clean_z
