"""The files of a result: their names, and the order of their columns, which people's own scripts rely on."""

from __future__ import annotations

import json

import pytest

from fieldaero.publish.result_files import write_pooled_files, write_result_files
from tests.answers.pool.pooled_days import chain, days, pooled
from tests.whole_sessions import sample_result

HEADS = {
    "laps.csv": (
        "ride,lap,setup,used,flags,start,duration_s,distance_m,speed_m_s,power_w,air_density_kg_m3,yaw_deg_median,"
        "cda_m2,cda_se_m2,closure_cda_m2,residual_rms_m,outlier,flag_sentences,why_not"
    ),
    "setups.csv": "setup,laps,cda_m2,se_m2,interval95_low_m2,interval95_high_m2",
    "comparisons.csv": (
        "setup,versus,delta_cda_m2,se_m2,df,interval95_low_m2,interval95_high_m2,p_value,verdict,watts,"
        "watts_interval95_low,watts_interval95_high,seconds,seconds_interval95_low,seconds_interval95_high,"
        "further_laps,smallest_difference_m2,interval95_low_alone_m2,interval95_high_alone_m2,closure_delta_cda_m2,"
        "closure_se_m2"
    ),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("result") / "out"
    write_result_files(sample_result(), out)
    return out


def test_a_result_is_five_files(folder):
    assert sorted(path.name for path in folder.iterdir()) == sorted([*HEADS, "result.json", "summary.txt"])
    assert json.loads((folder / "result.json").read_text(encoding="utf-8"))["schema"] == 1


@pytest.mark.parametrize("name", HEADS)
def test_the_columns_of_a_table_keep_their_order(folder, name):
    assert (folder / name).read_text(encoding="utf-8").splitlines()[0] == HEADS[name]


def test_a_pooled_result_is_four_files_of_the_same_kind(tmp_path):
    found = pooled(chain(days([-0.004, -0.005, -0.003], [0.001, 0.001, 0.001])))
    written = write_pooled_files(found, tmp_path / "out")
    assert [path.name for path in written] == ["pooled.json", "pooled.csv", "pooled_sessions.csv", "pooled.txt"]
    assert json.loads(written[0].read_text(encoding="utf-8")) == json.loads(json.dumps(found.to_dict()))
    head = written[1].read_text(encoding="utf-8").splitlines()[0]
    assert head.startswith("setup,versus,")
    assert head == ",".join(found.comparisons.columns)
