"""From cells to the request that they stand for, and back from a place of it to the cell."""

import io
from copy import deepcopy
from typing import Any

import pytest

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.judging import judge
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.profiles.source import Source
from weighworthy_service.tables.asked import Asked, Faulty, refused_rows
from weighworthy_service.tables.cells import (
    Cell,
    ErrorCell,
    NumberCell,
    Row,
    SkippedRow,
    TimeCell,
    UncachedCell,
)
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.gather import items_of
from weighworthy_service.tables.mapping import MappingNotUsable, TableMapping
from weighworthy_service.tables.mapping_flaws import number_columns
from weighworthy_service.tables.mapping_reading import read_mapping
from weighworthy_service.tables.outcome import RowError, Where
from weighworthy_service.tables.plan import Plan, plan_of
from weighworthy_service.tables.reading import open_csv
from weighworthy_service.tables.roles import Roles, roles_of
from weighworthy_service.tables.table import Table

WEIGHTS = {
    "KM-31": {"nominal": "10 g", "weight_class": "OIML F1"},
    "KM-32": {"nominal": "2 g", "weight_class": "OIML F1"},
}
LOSS = {
    "check": "simulated-loss",
    "time_zone": "Europe/Berlin",
    "columns": {
        "instrument": "Balance",
        "initial.indication": "Start [mg]",
        "final.indication": {"column": "End", "unit": "g"},
        "displayed_loss": "Loss [%]",
        "performed_at": {"columns": ["Date", "Time"], "format": "%d.%m.%Y %H:%M"},
        "environment.temperature": "Air [°C]",
        "performed_by": "Who",
        "labels.sample": "Sample",
        "labels.who": "Who",
        "heating": {"column": "Hot", "values": {"x": True}},
    },
    "constants": {
        "initial": {"load": ["KM-31", "KM-32"], "stable": True},
        "final": {"load": ["KM-31"]},
        "weights": WEIGHTS,
        "instrument": {"loss_interval": "0.01 %", "scale_interval": "1 mg"},
        "heating": False,
    },
    "instruments": {"MA-07": {"site": "harbour"}, "MA-08": {"scale_interval": "0.1 mg"}},
}
HEADER = "Balance;Start [mg];End;Loss [%];Date;Time;Air [°C];Who;Sample;Hot"
USUAL = "ma-07;12003;10,001;16,68;17.03.2026;06:55;21,5;K. Miller;V-1;x"


def opened(mapping: TableMapping, header: str, *rows: str) -> Table:
    text = "\r\n".join([header, *rows])
    return open_csv(
        io.BytesIO(text.encode()),
        mapping.table,
        mapping.wanted,
        numbers=number_columns(mapping),
    )


def planned(document: dict[str, Any], header: str, *rows: str) -> tuple[Plan, list[Row], Table]:
    mapping = read_mapping(Source(document))
    table = opened(mapping, header, *rows)
    return plan_of(mapping, table), [row for row in table.rows() if isinstance(row, tuple)], table


def changed(**columns: Any) -> dict[str, Any]:
    document = deepcopy(LOSS)
    document["columns"] |= {name.replace("__", "."): value for name, value in columns.items()}
    return document


def test_a_row_makes_the_request_that_a_person_would_write() -> None:
    plan, (row,), _ = planned(LOSS, HEADER, USUAL)
    read = plan.kinds["simulated-loss"].read(row)
    assert read.errors == ()
    assert read.document == {
        "instrument": {
            "id": "MA-07",
            "site": "harbour",
            "loss_interval": "0.01 %",
            "scale_interval": "1 mg",
        },
        "weights": WEIGHTS,
        "initial": {"load": ["KM-31", "KM-32"], "stable": True, "indication": "12003 mg"},
        "final": {"load": ["KM-31"], "indication": "10.001 g"},
        "displayed_loss": "16.68 %",
        "performed_at": "2026-03-17T06:55:00+01:00",
        "environment": {"temperature": "21.5 °C"},
        "performed_by": "K. Miller",
        "labels": {"sample": "V-1", "who": "K. Miller"},
        "heating": True,
    }
    judged = judge(KINDS[2], read.document, AtHand(built_in()).find)
    # 100 (12.003 - 10.001) / 12.003 - 100 * 2 / 12 = 16.679163542 - 16.666666667
    assert float(judged.evaluation.criteria[0].value or 0) == pytest.approx(0.012496875, abs=1e-9)


def test_an_empty_cell_leaves_the_constant_and_constants_are_never_changed() -> None:
    before = deepcopy(LOSS["constants"])
    plan, (empty, usual), _ = planned(LOSS, HEADER, "MA-08;;;16,68;;;;;;", USUAL)
    single = plan.single
    assert single is not None
    first, second = single.read(empty).document, single.read(usual).document
    assert first["heating"] is False
    assert first["initial"] == {"load": ["KM-31", "KM-32"], "stable": True}
    assert first["instrument"]["scale_interval"] == "0.1 mg"
    assert not {"labels", "performed_at", "environment"} & set(first)
    assert first["weights"] is second["weights"]
    assert plan.mapping.constants == before


def test_every_faulty_cell_of_a_row_is_told_with_its_name_and_text() -> None:
    row = "MA-7;<0,01;OVERLOAD;0;29.03.2026;02:30;warm;K;V;maybe"
    plan, rows, table = planned(LOSS, HEADER, USUAL, row)
    items = list(items_of(table, plan))
    assert isinstance(items[0], Asked)
    assert isinstance(items[1], Faulty)
    assert [(e.pointer, e.code, *e.where) for e in items[1].errors] == [
        ("/instrument", "instrument-unknown", None, 3, "Balance", "MA-7"),
        ("/initial/indication", "censored", None, 3, "Start [mg]", "<0,01"),
        ("/final/indication", "overload", None, 3, "End", "OVERLOAD"),
        ("/performed_at", "time-skipped", None, 3, "Date + Time", "29.03.2026 02:30"),
        ("/environment/temperature", "number-malformed", None, 3, "Air [°C]", "warm"),
        ("/heating", "value-not-mapped", None, 3, "Hot", "maybe"),
    ]
    assert items[1].labels == {"sample": "V", "who": "K"}
    assert items[1].check == "simulated-loss"
    assert 'did you mean "MA-07"?' in items[1].errors[0].detail
    assert rows[1][1] == 3


def test_cells_of_a_workbook_are_read_as_what_they_are() -> None:
    document = changed(final__indication={"column": "End", "unit": "g", "decimals": 3})
    document["columns"]["performed_at"] = {"columns": ["Date", "Time"]}
    plan, _, _ = planned(document, HEADER, USUAL)
    cells: list[Cell] = [
        "MA-07",
        NumberCell("12003"),
        NumberCell("10"),
        NumberCell("0.1668", "0.00%"),
        TimeCell("2026-03-17T00:00:00"),
        TimeCell("06:55:00"),
        ErrorCell("#N/A"),
        UncachedCell("=A1"),
        NumberCell("7"),
        None,
    ]
    read = plan.kinds["simulated-loss"].read(("Data", 2, cells))
    assert read.document["final"]["indication"] == "10.000 g"
    assert read.document["displayed_loss"] == "16.68 %"
    assert read.document["performed_at"] == "2026-03-17T06:55:00+01:00"
    assert read.document["labels"] == {"sample": "7"}
    assert [(e.code, e.where) for e in read.errors] == [
        ("cell-error", Where("Data", 2, "Air [°C]", "#N/A")),
        ("formula-uncached", Where("Data", 2, "Who", "=A1")),
        ("formula-uncached", Where("Data", 2, "Who", "=A1")),
    ]


@pytest.mark.parametrize(
    ("pointer", "column", "cell"),
    [
        ("/initial/indication", "Start [mg]", "12003"),
        ("/performed_at", "Date + Time", "17.03.2026 06:55"),
        ("/instrument/scale_interval", "Balance", "ma-07"),
        ("/environment", "Air [°C]", "21,5"),
        ("/labels/sample", "Sample", "V-1"),
        ("/labels", None, None),  # two columns: neither
        ("/initial/load/0", None, None),  # a constant
        ("/weights/KM-31/nominal", None, None),
        ("", None, None),
    ],
)
def test_a_place_of_the_request_leads_back_to_its_cell(
    pointer: str, column: str | None, cell: str | None
) -> None:
    plan, rows, _ = planned(LOSS, HEADER, USUAL)
    assert plan.kinds["simulated-loss"].where(rows, pointer) == Where(None, 2, column, cell)


@pytest.mark.parametrize(
    ("columns", "header", "pointer"),
    [
        # The unit in the header is of another kind, or not the one that the mapping states.
        ({"initial__indication": "Start [h]"}, HEADER.replace("Start [mg]", "Start [h]"), ""),
        (
            {"initial__indication": {"column": "Start [mg]", "unit": "g"}},
            HEADER,
            "/unit",
        ),
        ({"displayed_loss": "Loss (mg)"}, HEADER.replace("Loss [%]", "Loss (mg)"), ""),
    ],
)
def test_a_header_that_contradicts_the_mapping_is_refused(
    columns: dict[str, Any], header: str, pointer: str
) -> None:
    with pytest.raises(MappingNotUsable) as caught:
        planned(changed(**columns), header, USUAL)
    name = next(iter(columns)).replace("__", ".")
    assert [(e.pointer, e.code) for e in caught.value.errors] == [
        (f"/columns/{name}{pointer}", "unit-differs")
    ]


def test_two_spellings_of_one_unit_do_not_contradict() -> None:
    document = changed(initial__indication={"column": "Start (µg)", "unit": "ug"})
    plan, (row,), _ = planned(document, HEADER.replace("Start [mg]", "Start (µg)"), USUAL)
    assert plan.kinds["simulated-loss"].read(row).document["initial"]["indication"] == "12003 ug"


def test_a_column_without_unit_takes_the_unit_of_each_cell_or_refuses_it() -> None:
    document = changed(final__indication="End")
    plan, (with_unit, without), _ = planned(
        document, HEADER, USUAL.replace("10,001", "10,001 g"), USUAL
    )
    read = plan.kinds["simulated-loss"].read
    assert read(with_unit).document["final"]["indication"] == "10.001 g"
    assert [(e.pointer, e.code) for e in read(without).errors] == [
        ("/final/indication", "unit-missing")
    ]


def test_entries_of_a_list_in_one_wide_row() -> None:
    document = {
        "check": "linearity",
        "columns": {
            "points.0.indication": "P0 [g]",
            "points.1.indication": "P1 [g]",
            "points.2.indication": "P2 [g]",
            "points.2.load": {"columns": ["L2", "#5"]},
        },
        "constants": {
            "instrument": {"scale_interval": "1 mg"},
            "weights": WEIGHTS,
            "points": [{"load": ["KM-31"]}, {"load": ["KM-32"], "stable": True}],
        },
    }
    header = "P0 [g],P1 [g],P2 [g],L2,"
    plan, (three, two, one), _ = planned(
        document, header, "10.0,2.0,12.0,KM-31,KM-32", "10.0,2.0,,,", "10.0,,12.0,KM-31,"
    )
    read = plan.kinds["linearity"].read
    first = [{"load": ["KM-31"], "indication": "10.0 g"}]
    second = [{"load": ["KM-32"], "stable": True, "indication": "2.0 g"}]
    third = [{"indication": "12.0 g", "load": ["KM-31", "KM-32"]}]
    assert read(three).document["points"] == [*first, *second, *third]
    assert read(two).document["points"] == [*first, *second]
    gap = read(one).document
    with pytest.raises(Refusal) as caught:
        judge(KINDS[1], gap, AtHand(built_in()).find)
    (error,) = caught.value.errors
    assert (error.pointer, error.code) == ("/points/1/indication", "required")
    assert plan.kinds["linearity"].where([one], error.pointer) == Where(None, 4, "P1 [g]", "")


def test_what_is_refused_later_falls_on_the_rows_whose_cells_are_at_fault() -> None:
    document = {
        "check": "linearity",
        "columns": {
            "points.indication": "Shown [g]",
            "points.load": "On",
            "points.zero": "Zero [g]",
        },
        "constants": {"instrument": {"scale_interval": "1 mg"}, "weights": WEIGHTS},
        "gather": {"by": ["Run"]},
    }
    plan, _, table = planned(
        document,
        "Run,Shown [g],On,Zero [g]",
        "A,10.0,KM-31,0",
        "A,2.0,KM-99,0",
        "A,2.0,KM-32,0",
        "B,2.0,KM-32,0",
    )
    asked, _ = items_of(table, plan)
    assert isinstance(asked, Asked)
    with pytest.raises(Refusal) as caught:
        judge(KINDS[1], asked.document, AtHand(built_in()).find)
    fellows, bad = refused_rows(asked, caught.value)
    assert ([row[1] for row in fellows.rows], fellows.slug) == ([2, 4], "group-incomplete")  # type: ignore[index]
    assert ([row[1] for row in bad.rows], bad.slug) == ([3], "invalid")  # type: ignore[index]
    assert [(e.pointer, e.code, e.where) for e in bad.errors] == [
        ("/points/1/load/0", "weight-not-declared", Where(None, 3, "On", "KM-99"))
    ]


def test_a_fault_of_a_constant_falls_on_all_rows() -> None:
    document = changed()
    document["constants"]["initial"] = {"load": ["KM-99"]}
    plan, _, table = planned(document, HEADER, USUAL)
    (asked,) = items_of(table, plan)
    assert isinstance(asked, Asked)
    with pytest.raises(Refusal) as caught:
        judge(KINDS[2], asked.document, AtHand(built_in()).find)
    (faulty,) = refused_rows(asked, caught.value)
    assert faulty.errors == (
        RowError(
            "/initial/load/0",
            "weight-not-declared",
            "the weight 'KM-99' is not declared in weights",
            Where(None, 2),
        ),
    )


def test_the_kind_of_check_may_stand_in_a_column() -> None:
    document = changed()
    document["check"] = {
        "column": "Test",
        "values": {"loss": "simulated-loss", "span": "span"},
        "skip": ["blank run"],
    }
    document["columns"] |= {
        "rounds.0.zero": {"column": "Zero [g]"},
        "rounds.0.load": {"column": "Zero [g]", "values": {"0": ["KM-31"]}},
    }
    kinds = ["Loss", "SPAN", "Blank run", "", "other"]
    plan, _, table = planned(
        document, f"{HEADER};Test;Zero [g]", *(f"{USUAL};{k};0" for k in kinds)
    )
    loss, span, skipped, empty, other = items_of(table, plan)
    assert isinstance(loss, Asked)
    assert isinstance(span, Asked)
    assert loss.plan.kind.slug == "simulated-loss"
    assert "rounds" not in loss.document
    # What a span check has no use for, a constant or a column, is no part of it.
    assert set(span.document) == {
        "instrument", "weights", "rounds", "performed_at", "environment", "performed_by", "labels"
    }  # fmt: skip
    assert isinstance(skipped, SkippedRow)
    assert skipped.reason == "no-check"
    assert isinstance(empty, Faulty)
    assert isinstance(other, Faulty)
    assert [(e.pointer, e.code, e.where.column) for e in (*empty.errors, *other.errors)] == [
        ("/check", "required", "Test"),
        ("/check", "value-not-mapped", "Test"),
    ]
    assert plan.single is None


def roles(document: dict[str, Any], header: str = HEADER, row: str = USUAL) -> Roles | None:
    plan, _, table = planned(document, header, row)
    return roles_of(plan, table.marks)


def test_columns_have_their_roles_in_a_simulated_loss() -> None:
    found = roles(LOSS)
    assert found is not None
    cells: list[Cell] = list(USUAL.split(";"))
    assert [None if read is None else read(cells) for read in found.readings] == [
        12_003 * 10**12,
        10_001 * 10**12,
        1668 * 10**13,
    ]
    assert found.moment is not None
    assert found.moment(cells) == "2026-03-17T06:55:00+01:00"
    assert [HEADER.split(";")[place] for place in found.others] == ["Balance", "Hot"]
    assert sorted(HEADER.split(";")[place] for place, _ in found.idle) == [
        "Air [°C]",
        "Sample",
        "Who",
        "Who",
    ]


@pytest.mark.parametrize(
    ("column", "cell", "right"),
    [
        ("Air [°C]", "21,5", True),
        ("Air [°C]", "", True),
        ("Air [°C]", "99", False),  # above 50 °C, which the form refuses
        ("Air [°C]", "warm", False),
        ("Sample", "x" * 1024, True),
        ("Sample", "x" * 1025, False),
        ("Sample", NumberCell("7"), False),  # right, but for the long way to say
        ("Who", "x" * 201, False),
    ],
)
def test_cells_that_decide_nothing_are_still_held_to_their_form(
    column: str, cell: Cell, right: bool
) -> None:
    found = roles(LOSS)
    assert found is not None
    place = HEADER.split(";").index(column)
    assert all(test(cell) for at, test in found.idle if at == place) is right


@pytest.mark.parametrize(
    "document",
    [
        changed(displayed_loss={"column": "Loss [%]", "values": {"nil": "0 %"}}),
        changed(displayed_loss=None, final__load={"column": "End", "values": {"9": ["KM-31"]}}),
        changed(**{f"labels__l{number}": "Sample" for number in range(31)}),
    ],
)
def test_there_are_no_roles_where_one_cell_says_several_things(document: dict[str, Any]) -> None:
    document["columns"] = {k: v for k, v in document["columns"].items() if v is not None}
    assert roles(document) is None
