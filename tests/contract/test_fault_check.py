"""The checker of the fault run finds what is missing, doubled, exchanged or of another row."""

import importlib.util
import json
import sys
from pathlib import Path
from typing import Any

import pytest

PATH = Path(__file__).parents[1] / "bench/fault_check.py"


def _checker() -> Any:
    spec = importlib.util.spec_from_file_location("fault_check", PATH)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["fault_check"] = module
    spec.loader.exec_module(module)
    return module


check = _checker()
HEADER = "Number;Start [g];ww_outcome;ww_verdict;ww_value;ww_error\n"
# 100 (11.501 − 10.001) / 11.501 − 100 · 2 / 12, and the same of 11.502 and 11.503, by hand.
ROWS = [
    "1;11.501;judged;fail;-3.624323;\n",
    "2;11.502;judged;fail;-3.616762;\n",
    "3;11.503;judged;fail;-3.609203;\n",
]
LOSSES = [13.042344, 13.049904, 13.057463]
ANSWERS = [
    json.dumps({"labels": {"number": str(n)}, "results": {"loss": loss}}) + "\n"
    for n, loss in enumerate(LOSSES, 1)
]
FAULTS = {
    "missing": [0, 2],
    "missing at the end": [0, 1],
    "twice": [0, 1, 1, 2],
    "exchanged": [1, 0, 2],
}


def table(tmp_path: Path, rows: list[str]) -> list[str]:
    out = tmp_path / "out.csv"
    out.write_text(HEADER + "".join(rows), "utf-8")
    found: list[str] = check.check_table(out, 3)
    return found


def many(tmp_path: Path, answers: list[str]) -> list[str]:
    out = tmp_path / "out.ndjson"
    out.write_text("".join(answers), "utf-8")
    found: list[str] = check.check_many(out, 3)
    return found


def test_what_is_in_order(tmp_path: Path) -> None:
    assert table(tmp_path, ROWS) == many(tmp_path, ANSWERS) == []


@pytest.mark.parametrize("order", list(FAULTS.values()), ids=list(FAULTS))
def test_numbers(tmp_path: Path, order: list[int]) -> None:
    assert table(tmp_path, [ROWS[i] for i in order])
    assert many(tmp_path, [ANSWERS[i] for i in order])


@pytest.mark.parametrize(
    ("was", "other"), [("judged", "error"), ("-3.616762", "-3.624323"), ("11.502", "11.503")]
)
def test_what_belongs_to_another_row(tmp_path: Path, was: str, other: str) -> None:
    assert table(tmp_path, [ROWS[0], ROWS[1].replace(was, other), ROWS[2]])


def test_an_answer_of_another_row(tmp_path: Path) -> None:
    exchanged = ANSWERS[1].replace(str(LOSSES[1]), str(LOSSES[0]))
    assert many(tmp_path, [ANSWERS[0], exchanged, ANSWERS[2]])
