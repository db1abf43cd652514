"""How long the analysis takes; nothing is asserted of time, the table is what counts.

Run with::

    pytest -m benchmark_only tests/test_benchmarks.py

A session of 2.5 h has 30 laps of 3 km, one of 10 h has 120.  A refit starts from the fit of all
laps and leaves one out, as when somebody takes a lap off the list and wants to see what becomes of it.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from fieldaero.answers.analysis import analyse
from fieldaero.estimate.joint_fit.fit import JointFit, joint_fit
from fieldaero.estimate.joint_fit.priors import KnownBefore
from fieldaero.estimate.joint_fit.segments import Segments
from fieldaero.simulator import CourseShape, Sensors
from fieldaero.simulator.sample_folder import SAMPLE_SHEET
from tests.cli.command_line import process
from tests.estimate.joint_fit.fitted_sessions import BREEZE, CRR, CRR_SD, segments_of
from tests.make_sample import make_sample

pytestmark = pytest.mark.benchmark_only

SETTINGS = KnownBefore(crr=CRR, crr_sd=CRR_SD)
SIZES = pytest.mark.parametrize("laps", [pytest.param(30, id="2.5 h, 30 laps"), pytest.param(120, id="10 h, 120 laps")])
LEFT_OUT = 3


@cache
def long_session(laps: int) -> Segments:
    order = (("bare", "faired", "faired", "bare") * laps)[:laps]
    return segments_of(1, order=order, course=CourseShape(length_m=3000.0), wind=BREEZE, sensors=Sensors())


@cache
def fit_of_all(laps: int) -> JointFit:
    return joint_fit(long_session(laps), SETTINGS, hyper_uncertainty=False)


def without_a_lap(segments: Segments) -> Segments:
    keep = np.arange(segments.laps) != LEFT_OUT
    per_lap = {name: value[keep] for name, value in vars(segments).items() if isinstance(value, np.ndarray)}
    return replace(segments, **per_lap)


@pytest.fixture
def sample(tmp_path: Path) -> Path:
    make_sample(tmp_path)
    return tmp_path / SAMPLE_SHEET


def test_analysis_of_the_sample_session(benchmark, sample):
    result = benchmark.pedantic(analyse, args=(sample,), rounds=5, warmup_rounds=1)
    assert len(result.comparison_results) == 2


@SIZES
def test_refit_with_one_lap_left_out(benchmark, laps):
    start, others = fit_of_all(laps), without_a_lap(long_session(laps))
    fit = benchmark.pedantic(
        joint_fit,
        args=(others, SETTINGS),
        kwargs={"start": start, "hyper_uncertainty": False},
        rounds=10,
        warmup_rounds=1,
    )
    assert len(fit.cda_m2) == laps - 1


@SIZES
def test_first_fit(benchmark, laps):
    fit = benchmark.pedantic(joint_fit, args=(long_session(laps), SETTINGS), rounds=2)
    assert len(fit.cda_m2) == laps


def test_help_from_a_shell(benchmark, tmp_path):
    assert benchmark.pedantic(process, args=("--help",), kwargs={"cwd": tmp_path}, rounds=5).returncode == 0
