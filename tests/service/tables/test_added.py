"""Cells that are added, and cells that a spreadsheet program must not reckon with (CWE-1236)."""

from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.outcome import Brief, Ruling
from weighworthy_service.tables.added import ADDED, SKIPPED, Columns, harmless, may_be_formula
from weighworthy_service.tables.cells import (
    ErrorCell,
    NumberCell,
    TimeCell,
    UncachedCell,
)
from weighworthy_service.tables.outcome import Refused, RowError, Where

PROFILE: Final = ("kestrel-losses@2026-03", "sha256:" + "0" * 64)


@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+1+1",
        "-1+1",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        " =1",
        "\u00a0=1",
        "a\n=1",
        "a\r\n  +cmd",
        "=cmd|' /C calc'!A0",
        "-cmd|' /C calc'!A0",
        "\u22121+1",
        # Their full-width forms, which some programs take for the same.
        "\uff1d1+1",
        "\uff0b1",
        "\uff0d1+1",
        " \uff20SUM(A1)",
        "+49 30 123456",
        "-1,5 = x",
        "-1 grams",
        "--1",
    ],
)
def test_formulas_get_an_apostrophe(text: str) -> None:
    assert harmless(text) == "'" + text


@settings(max_examples=400, deadline=None, derandomize=True)
@given(
    st.lists(
        st.text(" =+-@\u2212\uff1d\uff20\t\u00a0\u2003,1aä\x1f", max_size=4), min_size=1, max_size=5
    )
)
def test_cells_that_are_no_formula_at_a_glance_need_no_apostrophe(cells: list[str]) -> None:
    if not may_be_formula("\n".join(cells)):
        assert list(map(harmless, cells)) == cells


def test_usual_cells_are_no_formula_at_a_glance() -> None:
    assert not may_be_formula("MA-07\n11.03.2026 07:49\n12,0001\n-0,01\n\nV-12=3\nÄ\n")
    assert may_be_formula("MA-07\n =1")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "12,003",
        "-12,003",
        "\u221212.003",
        "+12,003",
        "-1.234,5",
        "-1 234,5",
        "-12,003 g",
        "-0,5 %",
        "-5",
        "-",
        "---",
        "V-1",
        "2026-03-20",
        "2026-03-20T08:00:00+01:00",
        "a=b",
        "a@b.example",
        "a\nb",
        "'=1",
    ],
)
def test_numbers_and_plain_texts_stay(text: str) -> None:
    assert harmless(text) == text


def brief(value: float | None) -> Brief:
    ruling = Ruling("pass", True, "loss_error", "%", -0.025, 0.025, 0.015, ("a", "b"))
    return Brief(ruling, value, 0.5)


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (0.5, "0,5"),
        (-0.0012, "-0,0012"),
        (1e-05, "0,00001"),
        (1.5e-07, "0,00000015"),
        (1e22, "10000000000000000000000"),
        (3, "3"),
        (None, ""),
    ],
)
def test_numbers_have_the_mark_of_the_table_and_no_exponent(
    value: float | None, written: str
) -> None:
    cells = Columns(",").judged(brief(value), "simulated-loss", PROFILE)
    assert cells[ADDED.index("ww_value")] == written


def test_one_cell_for_each_column() -> None:
    judged = Columns(".").judged(brief(0.5), "span", PROFILE, "=R1", 17)
    assert dict(zip(ADDED, judged, strict=True)) == {
        "ww_outcome": "judged",
        "ww_check": "span",
        "ww_group": "'=R1",
        "ww_first_row": "17",
        "ww_verdict": "pass",
        "ww_usable": "true",
        "ww_criterion": "loss_error",
        "ww_value": "0.5",
        "ww_unit": "%",
        "ww_lower_limit": "-0.025",
        "ww_upper_limit": "0.025",
        "ww_expanded_uncertainty": "0.015",
        "ww_margin": "0.5",
        "ww_findings": "a b",
        "ww_profile": "kestrel-losses@2026-03",
        "ww_profile_digest": "sha256:" + "0" * 64,
        "ww_error": "",
    }
    assert len(SKIPPED) == len(ADDED)
    assert SKIPPED[0] == "skipped"


def test_an_error_names_three_cells_and_counts_the_others() -> None:
    errors = [
        RowError(f"/points/{n}", "not-a-reading", "no number", Where(None, n, "Reading", f"O{n}"))
        for n in range(5)
    ]
    refused = Refused(None, (1,), "invalid", "first", tuple(errors), {})
    cells = dict(zip(ADDED, Columns(".").error("linearity", "R1", refused), strict=True))
    assert cells["ww_outcome"] == "error"
    assert cells["ww_check"] == "linearity"
    assert cells["ww_group"] == "R1"
    assert cells["ww_error"].startswith("invalid: ")
    assert [f"'O{n}'" in cells["ww_error"] for n in range(5)] == [True] * 3 + [False] * 2
    assert cells["ww_error"].endswith("and 2 more")


def test_an_error_without_a_cell_says_its_place_or_sentence() -> None:
    error = RowError("/weights", "required", "this value is needed", Where(None, 3))
    refused = Refused(None, (3,), "invalid", "said as a whole", (error,), {})
    assert Columns(".").error(None, None, refused)[-1] == (
        "invalid: /weights required: this value is needed"
    )
    whole = Refused(None, (3,), "digest-differs", "said as a whole", (), {})
    assert Columns(".").error(None, None, whole)[-1] == "digest-differs: said as a whole"


def test_typed_cells_as_texts() -> None:
    columns = Columns(",")
    cells = [None, "=1", NumberCell("12.5"), TimeCell("2026-03-20"), True, ErrorCell("#N/A")]
    assert [columns.cell(cell) for cell in cells] == [
        "",
        "'=1",
        "12,5",
        "2026-03-20",
        "TRUE",
        "#N/A",
    ]
    assert columns.cell(UncachedCell("=C3-D3")) == "'=C3-D3"


def test_a_finding_on_several_weights_is_named_once() -> None:
    codes = ("weak-ratio", "weight-drift-not-included", "weight-drift-not-included")
    brief = Brief(Ruling("pass", True, "loss_error", "%", -0.04, 0.04, 0.02, codes), 0.01, 0.5)
    cells = Columns(".").judged(brief, "simulated-loss", PROFILE)
    assert cells[ADDED.index("ww_findings")] == "weak-ratio weight-drift-not-included"
