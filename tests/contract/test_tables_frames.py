"""Frames of pandas and polars, and partitions of one on a cluster."""

import datetime
import importlib.util
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pytest

from weighworthy import Client, frames

ROOT = Path(__file__).parents[2]
MAPPING = {
    "check": "simulated-loss",
    "time_zone": "Europe/Berlin",
    "columns": {
        "initial.indication": {"column": "start", "unit": "g", "decimals": 3},
        "final.indication": {"column": "end", "unit": "g", "decimals": 3},
        "performed_at": "at",
        "heating": "heated",
    },
    "constants": {
        "instrument": {"scale_interval": "1 mg"},
        "weights": {
            "A10": {"nominal": "10 g", "weight_class": "OIML F1"},
            "A2": {"nominal": "2 g", "weight_class": "OIML F1"},
        },
        "initial": {"load": ["A10", "A2"]},
        "final": {"load": ["A10"]},
    },
}
AT = datetime.datetime(2026, 3, 2, 7, 30)  # noqa: DTZ001
DATA = {
    "start": [12.001, 12.0, 11.9, None],
    "end": [10.0, 10.0, 10.0, 10.0],
    "at": [AT, AT, AT, AT],
    "heated": [False, False, True, False],
    "note": ["a", None, "=1+1", "d"],
}


@pytest.fixture(scope="module")
def client():
    with Client.embedded() as made:
        yield made


@pytest.fixture(params=["pandas", "polars"])
def frame(request):
    return pd.DataFrame(DATA) if request.param == "pandas" else pl.DataFrame(DATA)


def test_the_same_frame_with_verdicts(frame, client):
    judged = frames.evaluate(frame, MAPPING, client)
    assert type(judged) is type(frame)
    columns = list(judged.columns)
    assert columns[:5] == list(DATA)
    assert columns[5] == "ww_outcome"
    assert judged["ww_outcome"].to_list() == ["judged", "judged", "judged", "error"]
    assert judged["ww_verdict"].to_list()[:3] == ["pass", "pass", "fail"]
    # Of the second row: 100·(12 − 10)/12 against 100·2/12, so no error at all.
    assert judged["ww_value"].to_list()[1] == 0
    assert "start" in judged["ww_error"].to_list()[3]
    # 100·(12.001 − 10)/12.001 − 100·2/12 = 0.00694…
    assert judged["ww_value"].to_list()[0] == pytest.approx(0.00694, abs=5e-6)
    assert list(judged["note"])[:1] == ["a"]


def test_the_same_answer_for_both_libraries(client):
    one = frames.evaluate(pd.DataFrame(DATA), MAPPING, client)
    two = frames.evaluate(pl.DataFrame(DATA), MAPPING, client)
    added = [name for name in one.columns if name.startswith("ww_")]
    for name in added:
        gone = one[name].isna().tolist()
        values = [None if g else v for v, g in zip(one[name].tolist(), gone, strict=True)]
        assert values == two[name].to_list()


def test_an_index_of_its_own_stays(client):
    frame = pd.DataFrame(DATA, index=[7, 7, 3, 1])
    assert frames.evaluate(frame, MAPPING, client).index.tolist() == [7, 7, 3, 1]


def test_decimals_and_texts_keep_their_zeros(client):
    data = {**DATA, "start": [Decimal("12.0010"), Decimal(12), Decimal("11.9"), None]}
    without = {**MAPPING, "columns": {**MAPPING["columns"]}}
    without["columns"]["initial.indication"] = {"column": "start", "unit": "g"}
    for frame in (pd.DataFrame(data), pd.DataFrame({**data, "start": ["12.0010 g"] * 4})):
        judged = frames.evaluate(frame, without, client)
        assert judged["ww_outcome"].to_list()[0] == "judged"


def test_what_is_no_frame_and_columns_that_are_taken(client):
    with pytest.raises(TypeError, match="not dict"):
        frames.evaluate(DATA, MAPPING, client)
    judged = frames.evaluate(pd.DataFrame(DATA), MAPPING, client)
    with pytest.raises(ValueError, match="ww_outcome"):
        frames.evaluate(judged, MAPPING, client)


def test_an_empty_frame(frame, client):
    empty = frame.head(0)
    judged = frames.evaluate(empty, MAPPING, client)
    assert judged.shape[0] == 0
    assert "ww_verdict" in list(judged.columns)


NESTED = {"lists": [[1.0, 2.0, 3.0]] * 4, "bytes": [b"x"] * 4, "dicts": [{"a": 1}] * 4}


@pytest.mark.parametrize("made", [pd.DataFrame, pl.DataFrame])
@pytest.mark.parametrize("name", [*NESTED, "durations"])
def test_what_columns_hold_that_nobody_wants_does_not_matter(client, made, name):
    values = NESTED.get(name, [datetime.timedelta(1)] * 4)
    frame = made({**DATA, "note": values})
    judged = frames.evaluate(frame, MAPPING, client)
    assert judged["ww_outcome"].to_list() == ["judged", "judged", "judged", "error"]
    assert type(judged["note"]) is type(frame["note"])
    assert judged["note"].to_list() == frame["note"].to_list()


@pytest.mark.parametrize("made", [pd.DataFrame, pl.DataFrame])
@pytest.mark.parametrize("values", [*NESTED.values(), [datetime.timedelta(1)] * 4])
def test_what_is_no_cell_in_a_column_of_the_mapping_is_refused(client, made, values):
    frame = made({**DATA, "start": values})
    with pytest.raises(TypeError, match="column 'start', row 2"):
        frames.evaluate(frame, MAPPING, client)


def singles():
    # 12.001 as a float of 32 bits is 12.0010004043579…, of which 8 digits are its own.
    for dtype in ("float32", "Float32", "float32[pyarrow]"):
        if dtype.endswith("]") and importlib.util.find_spec("pyarrow") is None:
            continue
        yield pd.DataFrame(DATA).astype({"start": dtype, "end": dtype})
    yield pl.DataFrame(DATA).with_columns(pl.col("start", "end").cast(pl.Float32))
    objects = [np.float32(12.001), np.float32(12), np.float32(11.9), None]
    yield pd.DataFrame({**DATA, "start": pd.Series(objects, dtype=object)})


def test_floats_of_32_bits_are_the_numbers_that_they_are_shown_as(client):
    expected = frames.evaluate(pl.DataFrame(DATA), MAPPING, client)
    for frame in singles():
        judged = frames.evaluate(frame, MAPPING, client)
        assert judged["ww_outcome"].to_list() == expected["ww_outcome"].to_list()
        assert judged["ww_value"].to_list()[:3] == expected["ww_value"].to_list()[:3]


def test_use_is_a_yes_or_no_that_may_be_missing(frame, client):
    usable = frames.evaluate(frame, MAPPING, client)["ww_usable"]
    assert str(usable.dtype).lower() == "boolean"
    assert usable.to_list()[:3] == [True, True, False]
    assert usable.to_list()[3] in (None, pd.NA)
    assert usable.sum() == 2


MIDNIGHT = datetime.datetime(2026, 3, 2)  # noqa: DTZ001


@pytest.mark.parametrize("made", [pd.DataFrame, pl.DataFrame])
def test_midnight_among_times_is_a_time_and_days_alone_are_dates(client, made):
    some = made({**DATA, "at": [MIDNIGHT, AT, AT, AT]})
    assert frames.evaluate(some, MAPPING, client)["ww_outcome"].to_list()[:2] == ["judged"] * 2
    days = frames.evaluate(made({**DATA, "at": [MIDNIGHT] * 4}), MAPPING, client)
    assert days["ww_outcome"].to_list() == ["error"] * 4
    assert "'2026-03-02', time-missing" in days["ww_error"].to_list()[0]


@pytest.mark.needs_dask
def test_partitions_on_a_cluster_give_the_same_bytes(tmp_path):
    pytest.importorskip("distributed")
    subprocess.run(
        [sys.executable, ROOT / "examples" / "tables" / "archive_dask.py", tmp_path, "2000"],
        check=True,
        timeout=600,
    )
    one, many = tmp_path / "one.csv", tmp_path / "many.csv"
    assert many.read_bytes() == one.read_bytes()
    assert many.read_bytes().count(b"judged") > 1900
