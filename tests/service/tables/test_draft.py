"""First mappings: what is seen in a table, and what is left to a person to decide."""

import io
import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.profiles.source import Source
from weighworthy_service.tables.cells import TableNotUsable
from weighworthy_service.tables.draft import Draft, draft
from weighworthy_service.tables.draft_text import comment, key_text, quoted
from weighworthy_service.tables.mapping import MappingNotUsable
from weighworthy_service.tables.mapping_reading import parse_mapping, read_mapping
from weighworthy_service.tables.reading import open_csv
from weighworthy_service.tables.table_section import TableSection

SECTION = TableSection(delimiter=";", header_row=1, encoding="utf-8")
LOSS = """\
Kestrel Mill Foods (invented);;;;;;;;;;;;
;;;;;;;;;;;;
Balance;Date;Time;Sample;Start [g];End weight;Loss [%];Operator;Hot;Room temp [°C];Weights on;;
MA-07;13.04.2026;08:15;V-1;12,0031;10,001;16,68;K. Miller;yes;21,5;KM-31 + KM-32;;
MA-08;14.04.2026;08:20;V-2;12,0030;---;16,68;K. Miller;no;21,5;KM-31 + KM-32;;
MA-08;15.04.2026;08:20;V-3;12,0030;10,001;16,68;K. Miller;no;21,5;KM-31 + KM-32;;
MA-07;16.04.2026;08:20;V-4;12,0030;10,001;16,68;K. Miller;no;21,5;KM-31 + KM-32;;
MA-07;17.04.2026;08:20;V-5;12,0030;10,001;16,68;K. Miller;no;21,5;KM-31 + KM-32;;
"""


def drafted(text: str, check: str | None = None, section: TableSection | None = None) -> Draft:
    return draft(open_csv(io.BytesIO(text.encode()), section or TableSection(), ()), check)


def said(made: Draft, column: str | None) -> str:
    return " | ".join(doubt.detail for doubt in made.doubts if doubt.column == column)


def table(title: str, *cells: str) -> str:
    return "\r\n".join([f"{title};Loss [%]", *(f"{cell};1.5" for cell in cells)])


def test_a_table_of_losses() -> None:
    made = drafted(LOSS)
    document = tomllib.loads(made.toml)
    assert document["check"] == "simulated-loss"
    assert document["columns"] == {
        "performed_at": {"columns": ["Date", "Time"], "format": "%d.%m.%Y %H:%M"},
        "instrument": "Balance",
        "initial.indication": "Start [g]",
        "final.indication": {"column": "End weight", "unit": "?"},
        "displayed_loss": "Loss [%]",
        "performed_by": "Operator",
        "heating": {"column": "Hot", "values": {"yes": True, "no": False}},
        "environment.temperature": "Room temp [°C]",
        "initial.load": {"column": "Weights on", "separator": "+"},
    }
    assert set(document["instruments"]) == {"MA-07", "MA-08"}
    assert 'missing = ["---"]' in made.toml
    assert '# "labels.Sample" = "Sample"' in made.toml
    assert "unit of 'End weight' is not known" in said(made, "End weight")
    assert "header_row 3 is assumed" in said(made, None)
    assert "guess" in said(made, None)


def test_a_completed_draft_is_a_mapping() -> None:
    made = drafted(LOSS).toml
    completed = (
        made.replace('unit = "?"', 'unit = "g"')
        .replace("# time_zone", "time_zone")
        .replace("# weights.W1", "weights.KM-31")
        .replace('# final.load = ["W1"]', 'final.load = ["KM-31"]')
        .replace("# Fill in: scale_interval", "scale_interval")
    )
    mapping = parse_mapping(completed.encode())
    assert mapping.columns["performed_at"].columns == ("Date", "Time")
    assert mapping.instruments["MA-08"] == {"scale_interval": "1 mg"}
    with pytest.raises(MappingNotUsable) as caught:
        parse_mapping(made.encode())
    assert {"unit-not-taken", "field-missing", "required"} <= {e.code for e in caught.value.errors}


def test_a_table_of_points_is_gathered() -> None:
    text = "Run;Point;Load [g];Zero [g];Reading [g]\r\nA;1;5;0.0;5.01\r\nA;2;10;0.0;10.02\r\n"
    document = tomllib.loads(drafted(text).toml)
    assert document["check"] == "linearity"
    assert document["gather"] == {"by": ["Run"], "order": "Point"}
    assert document["columns"]["points.indication"] == "Reading [g]"
    assert document["columns"]["points.zero"] == "Zero [g]"


@pytest.mark.parametrize(
    ("cells", "written"),
    [
        (("3/4/2026 08:15", "5/6/2026 08:15"), "%d/%m/%Y %H:%M, %m/%d/%Y %H:%M"),
        (("03/04/26 08:15",), "%d/%m/%y %H:%M, %m/%d/%y %H:%M"),
    ],
)
def test_a_date_with_two_readings_is_a_doubt(cells: tuple[str, ...], written: str) -> None:
    made = drafted(table("Date", *cells), section=SECTION)
    assert f"in several ways: {written}" in said(made, "Date")


def test_a_date_that_only_one_reading_fits_is_none() -> None:
    made = drafted(table("Date", "3/4/2026 08:15", "13/4/2026 08:15"), section=SECTION)
    assert said(made, "Date") == ""
    assert tomllib.loads(made.toml)["columns"]["performed_at"]["format"] == "%d/%m/%Y %H:%M"


def test_serial_numbers_under_a_title_of_dates_are_a_doubt() -> None:
    made = drafted(table("Date", "46098.288", "46099.3"), section=SECTION)
    assert tomllib.loads(made.toml)["columns"]["performed_at"] == {
        "column": "Date",
        "format": "excel",
    }
    assert "serial number" in said(made, "Date")


@pytest.mark.parametrize("check", ["simulated-loss", "linearity", "span"])
@pytest.mark.parametrize("mark", [",", "."])
def test_numbers_that_can_be_read_in_two_ways_are_to_be_confirmed(check: str, mark: str) -> None:
    text = "Start [g];Zero [g];Reading [g]\r\n1,234;1,234;1,234\r\n".replace(",", mark)
    made = drafted(text, check, SECTION)
    assert "can be read as 1.234 or as 1234" in said(made, None)
    # A balance shows grams with three digits more often than kilograms; the person has to agree.
    assert tomllib.loads(made.toml)["table"] == {"decimal": mark}
    before, _, _ = made.toml.partition("\ndecimal = ")
    assert before.splitlines()[-1].startswith(f"# doubt: '1{mark}234' in '")


def test_a_group_of_three_beside_a_decided_mark_may_be_thousands() -> None:
    made = drafted("Start [g];End [g];Loss [%]\r\n1,234;10.5;3.5\r\n", section=SECTION)
    assert tomllib.loads(made.toml)["table"] == {"decimal": "."}
    assert "'1,234' in 'Start [g]'" in said(made, None)
    assert '\n# thousands = ","\n' in made.toml


def test_numbers_with_either_mark_are_told_with_one_of_each() -> None:
    made = drafted("Start [g];End [g];Loss [%]\r\n12,5;10.5;16\r\n", section=SECTION)
    assert "'10.5' in 'End [g]' with a point" in said(made, None)
    assert "'12,5' in 'Start [g]' with a comma" in said(made, None)
    assert "decimal" not in tomllib.loads(made.toml)["table"]


def test_times_with_an_offset_need_no_time_zone() -> None:
    with_offset = drafted(table("When", "2026-04-13T08:15:00+02:00"), section=SECTION)
    without = drafted(table("When", "2026-04-13T08:15:00"), section=SECTION)
    assert "time_zone" not in with_offset.toml
    assert "time_zone" in without.toml


def test_columns_of_one_name_are_addressed_by_their_places() -> None:
    made = drafted("Start [g];Start [g];Loss [%]\r\n12.1;12.2;3.0\r\n", section=SECTION)
    assert tomllib.loads(made.toml)["columns"]["initial.indication"] == "#1"


@pytest.mark.parametrize("text", ['a"b', "a\\b", "a\tb\x00\x7f", "µg\u2028", "", "x.y"])
def test_texts_come_through_toml_as_they_are(text: str) -> None:
    document = tomllib.loads(f"{comment(text)}\nvalue = {quoted(text)}\n{key_text(text)} = 1\n")
    assert document == {"value": text, text: 1}


@settings(deadline=None, derandomize=True)
@given(
    st.lists(
        st.lists(
            st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0;\ufffd"))
            | st.sampled_from(["1,5", "12.04.2026", "8:15", "yes", "---", '"x"', "12.003 g"]),
            min_size=3,
            max_size=3,
        ),
        min_size=2,
        max_size=6,
    )
)
def test_whatever_is_in_a_table_its_draft_is_toml(rows: list[list[str]]) -> None:
    text = "\r\n".join(";".join(row) for row in [["Date", "Start", "Loss"], *rows])
    try:
        made = drafted(text, section=SECTION)
    except TableNotUsable:
        return
    document: dict[str, Any] = tomllib.loads(made.toml)
    assert document["check"] == "simulated-loss"
    with pytest.raises(MappingNotUsable) as caught:
        read_mapping(Source(document, made.toml))
    assert {e.code for e in caught.value.errors} <= {
        "required", "field-missing", "unit-not-taken", "too-long", "malformed-text"
    }  # fmt: skip


SPANS = """\
Gerät;Datum;Zeit;Zustand;Gewicht;Nullpunkt [g];Anzeige [g];Prüfer
MA-07;06.01.2025;08:00;vorher;50 g;0,0000;50,0010;AB
MA-07;06.01.2025;08:05;nachher;50 g;0,0000;50,0000;AB
"""


def test_readings_are_no_numbers_that_order_the_rows() -> None:
    document = tomllib.loads(drafted(SPANS, "span").toml)
    assert document["columns"]["rounds.zero"] == "Nullpunkt [g]"
    assert "order" not in document["gather"]
    text = "Run;Point;Load [g];Zero [g];Reading [g]\r\nA;1;5;0.0;5.01\r\nA;2;10;0.0;10.02\r\n"
    lines = drafted(text).toml.splitlines()
    assert lines[lines.index('order = "Point"') - 1].startswith("# doubt: ")


def test_rows_that_sum_up_others_are_a_doubt_and_no_balances() -> None:
    rows = "".join(f"MA-07;12.001{n};10.000\n" for n in range(4))
    made = drafted("Balance;Start [g];End [g]\n" + rows + "Mean;12.0015;10.0\nSD;0.0013;0\n")
    assert list(tomllib.loads(made.toml)["instruments"]) == ["MA-07"]
    proposed = 'skip = { column = "Balance", texts = ["Mean", "SD"] }'
    assert proposed in said(made, "Balance")
    (line,) = [line for line in made.toml.splitlines() if proposed in line]
    assert line.startswith("# doubt: ")
    # What is proposed can be taken as it stands.
    taken = tomllib.loads(made.toml.replace(line, proposed))["table"]["skip"]
    assert taken == {"column": "Balance", "texts": ["Mean", "SD"]}


MIXED = """\
Test,Balance,When,Load,Zero (mg),Reading (g),Start (g),End (g)
Span,MA-07,2026-03-16 07:32,A50,0,50.0010,,
Loss test,MA-07,2026-03-16 08:32,,,,12.0010,10.0010
Break,MA-07,,,,,,
loss test ,MA-07,2026-03-16 08:32,,,,12.0010,10.0010
"""


def test_a_column_that_tells_the_kind_of_check_is_found() -> None:
    made = drafted(MIXED)
    document = tomllib.loads(made.toml)
    assert document["check"] == {
        "column": "Test",
        "values": {"Span": "span", "Loss test": "simulated-loss"},
        "skip": ["Break"],
    }
    assert {
        "instrument": "Balance",
        "performed_at": "When",
        "rounds.zero": "Zero (mg)",
        "rounds.indication": "Reading (g)",
        "initial.indication": "Start (g)",
        "final.indication": "End (g)",
    }.items() <= document["columns"].items()
    assert "kind of check" in said(made, "Test")
    assert "guess" not in said(made, None)
    # What is skipped by the kind need not be skipped twice.
    assert "sum up" not in drafted(MIXED + "Mean,MA-07,,,,,12.0,10.0\n").toml
    # Who says the kind wants that one.
    assert tomllib.loads(drafted(MIXED, "span").toml)["check"] == "span"


def test_a_list_whose_rows_are_in_columns_is_not_asked_for() -> None:
    made = drafted("Run,Mass before [g],Mass after [g]\nA,3.012,2.542\n", "reference-material")
    columns = tomllib.loads(made.toml)["columns"]
    assert columns == {"runs.initial_mass": "Mass before [g]", "runs.final_mass": "Mass after [g]"}
    assert "Fill in: runs" not in made.toml
    assert "Fill in: runs" in drafted("Run,Note\nA,x\n", "reference-material").toml


def test_lists_of_measured_values_are_no_names_of_weights() -> None:
    made = drafted("Set [°C];Reading [°C]\n60,0;60,6\n105,0;106,2\n", "heater")
    columns = tomllib.loads(made.toml)["columns"]
    assert columns["set_points.readings"] == "Reading [°C]"
    assert "names of weights" not in made.toml
    assert "one value of the list" in said(made, "Reading [°C]")
