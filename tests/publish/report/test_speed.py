from __future__ import annotations

import pytest

import fieldaero as fa
from fieldaero.publish.report import html_report
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder


@pytest.mark.benchmark_only
def test_the_sample_is_analysed_and_reported_in_five_seconds(benchmark):
    benchmark.pedantic(lambda: html_report(fa.analyse(sample_folder() / SAMPLE_SHEET)), rounds=3)
    assert benchmark.stats["min"] < 5.0
