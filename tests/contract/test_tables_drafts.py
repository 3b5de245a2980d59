"""Drafts of tables as they arrive: once their doubts are answered, every row is judged by them.

Kestrel Mill Foods and all its readings are invented.
"""

import io
import json
from dataclasses import dataclass
from pathlib import Path

import pytest

HARBOUR = Path(__file__).parents[2] / "examples" / "tables" / "harbour.csv"
CELLS = "application/vnd.weighworthy.cells+x-ndjson"
ZONE = ("# time_zone", "time_zone")
SCALE = ("# Fill in: scale_interval", "scale_interval")
CLASS = 'weight_class = "OIML F1"'
TEN_AND_TWO = (
    '# weights.W1 = { nominal = "10 g", weight_class = "OIML F1" }',
    f'weights.A10 = {{ nominal = "10 g", {CLASS} }}\nweights.A2 = {{ nominal = "2 g", {CLASS} }}',
)
LOADS = (
    ('# initial.load = ["W1"]', 'initial.load = ["A10", "A2"]'),
    ('# final.load = ["W1"]', 'final.load = ["A10"]'),
)
BALANCE = (
    '# instrument = { id = "…", scale_interval',
    'instrument = { id = "MA-07", scale_interval',
)
LOSS = (TEN_AND_TWO, *LOADS)


@dataclass(frozen=True)
class Fixture:
    """A table, what a person answers to its draft, and how many rows are judged by it then."""

    table: bytes
    answers: tuple[tuple[str, str], ...]
    judged: int
    query: str = ""
    type: str = "text/csv"
    skipped: int = 0


def cells(*rows):
    return "".join(
        json.dumps(["Bench", number, row]) + "\n" for number, row in enumerate(rows, start=1)
    ).encode()


FIXTURES = {
    "the export of the example": Fixture(
        HARBOUR.read_bytes(), (ZONE, SCALE, *LOSS), 40, "?header_row=3", skipped=2
    ),
    "two-faced numbers": Fixture(
        b"Balance;When;Start [g];End [g]\nMA-07;20.03.2026 08:00;12,001;10,001\n",
        (ZONE, SCALE, *LOSS),
        1,
    ),
    "two-faced numbers with a point": Fixture(
        b"Balance;When;Start [g];End [g]\nMA-07;20.03.2026 08:00;12.001;10.001\n",
        (ZONE, SCALE, *LOSS),
        1,
    ),
    "thousands beside a decided mark": Fixture(
        b"Balance|When|Start [mg]|End [g]\n"
        b"MA-07|2026-03-20 08:00|12,001|10.0010\nMA-07|2026-03-21 08:00|12,002|10.0010\n",
        (ZONE, SCALE, *LOSS, ("# thousands", "thousands")),
        2,
    ),
    "windows-1252 and an unknown unit": Fixture(
        "Waage;Datum;Zeit;Einwaage;Auswaage [g];Prüfer\n"
        "Süd;20.03.2026;08:00;12,0010;10,001;Jörg\n".encode("cp1252"),
        (ZONE, SCALE, *LOSS, ('unit = "?"', 'unit = "g"')),
        1,
    ),
    "tabs, and units in the cells": Fixture(
        b"Balance\tWhen\tStart\tEnd\nMA-07\t2026-03-20T08:00:00+01:00\t12.003 g\t10.003 g\n",
        (SCALE, *LOSS),
        1,
    ),
    "numbers without mark, twelve hours and American dates": Fixture(
        b"Balance,When,Start [mg],End [mg]\nMA-07,3/20/2026 08:00 AM,12001,10001\n",
        (ZONE, SCALE, *LOSS),
        1,
    ),
    "missing values": Fixture(
        b"Balance;When;Start [g];End [g];Room temp [\xc2\xb0C]\n"
        b"MA-07;20.03.2026 08:00;12,0010;10,001;21,5\nMA-07;21.03.2026 08:00;12,0010;10,001;21,5\n"
        b"MA-07;22.03.2026 08:00;12,0010;10,001;21,5\nMA-07;23.03.2026 08:00;12,0010;10,001;21,5\n"
        b"MA-07;24.03.2026 08:00;12,0010;10,001;---\n",
        (ZONE, SCALE, *LOSS, ("# doubt: do these stand for an empty cell? missing", "missing")),
        5,
    ),
    "serial numbers of days": Fixture(
        b"Balance;Date;Start [g];End [g]\nMA-07;46101,3333;12,0010;10,0010\n",
        (ZONE, SCALE, *LOSS),
        1,
    ),
    "no balance": Fixture(
        b"When;Start [g];End [g]\n20.03.2026 08:00;12,0010;10,0010\n", (ZONE, BALANCE, *LOSS), 1
    ),
    "points of lines": Fixture(
        b"Run;Point;Load [g];Zero [g];Reading [g]\n"
        b"A;1;2;0,000;2,0001\nA;2;10;0,000;10,0002\nA;3;12;0,000;12,0003\n",
        (
            TEN_AND_TWO,
            BALANCE,
            (
                '"Load [g]"',
                '{ column = "Load [g]", values = { 2 = ["A2"], 10 = ["A10"], 12 = ["A10","A2"] } }',
            ),
            ("# complete = 11", "complete = 3"),
        ),
        3,
        "?check=linearity",
    ),
    "rounds of a span check": Fixture(
        b"Test;Stage;Load;Zero [g];Reading [g]\n"
        b"A;as-f;A10;0.0000;10.0021\nA;as-l;A10;0.0000;10.0001\n",
        (
            TEN_AND_TWO,
            BALANCE,
            (
                '= "Stage"',
                '= { column = "Stage", values = { as-f = "as-found", as-l = "as-left" } }',
            ),
        ),
        2,
        "?check=span",
    ),
    "cells of a workbook": Fixture(
        cells(
            ["Balance", "Date", "Time", "Start [g]", "End [g]"],
            [
                "MA-07",
                {"t": "2026-03-20T00:00:00"},
                {"t": "08:00:00"},
                {"n": "12.001"},
                {"n": "10"},
            ],
        ),
        (ZONE, SCALE, *LOSS),
        1,
        type=CELLS,
    ),
}


@pytest.mark.parametrize("name", FIXTURES)
def test_a_draft_whose_doubts_are_answered_judges_every_row(client, name):
    fixture = FIXTURES[name]
    drafted = client.post(
        f"/v1/mappings/draft{fixture.query}",
        data=fixture.table,
        content_type=fixture.type,
        headers={"Accept": "application/toml"},
    )
    mapping = drafted.get_data(as_text=True)
    assert drafted.status_code == 200, mapping
    for old, new in fixture.answers:
        assert old in mapping, mapping
        mapping = mapping.replace(old, new)
    answer = client.post(
        "/v1/batches",
        data={
            "table": (io.BytesIO(fixture.table), "table", fixture.type),
            "mapping": (io.BytesIO(mapping.encode()), "mapping.toml"),
        },
    )
    assert answer.status_code == 200, (answer.get_data(as_text=True), mapping)
    *lines, last = map(json.loads, answer.data.splitlines())
    assert not [line for line in lines if "problem" in line]
    counts = last["summary"]
    assert (counts["rows_judged"], counts["rows_in_error"], counts["rows_skipped"]) == (
        fixture.judged,
        0,
        fixture.skipped,
    )


def test_what_was_confirmed_decides_the_value(client):
    """12.001 g to 10.001 g: 100·2.000/12.001 - 100·2/12 = -0.00138877…, whichever the mark."""
    values = []
    for name in ("two-faced numbers", "two-faced numbers with a point"):
        fixture = FIXTURES[name]
        headers = {"Accept": "application/toml"}
        path = "/v1/mappings/draft"
        sent = client.post(path, data=fixture.table, content_type="text/csv", headers=headers)
        mapping = sent.get_data(as_text=True)
        for old, new in fixture.answers:
            mapping = mapping.replace(old, new)
        parts = {
            "table": (io.BytesIO(fixture.table), "t.csv"),
            "mapping": (io.BytesIO(mapping.encode()), "m.toml"),
        }
        first, _ = map(json.loads, client.post("/v1/batches", data=parts).data.splitlines())
        values.append(first["answer"]["criteria"][0]["value"])
    assert values == [pytest.approx(-0.00138877315779, abs=1e-14)] * 2
