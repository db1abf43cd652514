"""The summaries word for word, the bad cases first.

``python -m tests.answers.test_golden_summaries`` writes the texts anew; read the difference before it is committed.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

import fieldaero as fa
from fieldaero.answers.result import Result
from tests.whole_sessions import sample_result
from tests.written_sessions import scenario, without_wind, written

GOLDEN = Path(__file__).parent / "golden"


def unresolved(folder: Path) -> Result:
    """Setups 0.001 m2 apart, four laps, a fresh wind that nobody measured."""
    close = scenario(setups={"road bar": 0.250, "aero bar": 0.249}, wind_m_s=3.0)
    return fa.analyse(written(folder, close, seed=8, edit=without_wind))


def one_lap_per_setup(folder: Path) -> Result:
    return fa.analyse(written(folder, scenario(laps=2), seed=3))


CASES: dict[str, Callable[[Path], Result]] = {
    "unresolved": unresolved,
    "one_lap_per_setup": one_lap_per_setup,
    "sample": lambda _: sample_result(),
}


def masked(text: str) -> str:
    """The text without what changes with every version or file: version number and check sums."""
    text = re.sub(r"fieldaero \d+\.\d+[^\s]*\.(?=\s)", "fieldaero VERSION.", text)
    return re.sub(r"\([0-9a-f]{12}\)", "(SHA-256)", text)


@pytest.mark.parametrize("case", CASES)
def test_summary_is_the_golden_one(case, tmp_path):
    expected = (GOLDEN / f"summary_{case}.txt").read_text(encoding="utf-8")
    assert masked(CASES[case](tmp_path).summary()) == expected


def test_masks_hide_versions_and_check_sums_only():
    text = "- Inputs: a.toml (0123456789ab); fieldaero 0.1.0.\n- Crr 0.0045 ± 0.0007.\n"
    assert masked(text) == "- Inputs: a.toml (SHA-256); fieldaero VERSION.\n- Crr 0.0045 ± 0.0007.\n"


if __name__ == "__main__":
    for name, analysed in CASES.items():
        with tempfile.TemporaryDirectory() as scratch:
            (GOLDEN / f"summary_{name}.txt").write_text(masked(analysed(Path(scratch)).summary()), encoding="utf-8")
