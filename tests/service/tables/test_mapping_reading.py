"""Mapping documents: what each fault of them is told as, and where."""

import json
import re
from typing import Any

import pytest

from weighworthy_service.profiles.source import Source
from weighworthy_service.tables.mapping import Column, Gather, MappingNotUsable, TableMapping
from weighworthy_service.tables.mapping_flaws import number_columns
from weighworthy_service.tables.mapping_reading import parse_mapping, read_mapping

TOML = """\
id = "harbour-export"
check = "simulated-loss"
time_zone = "Europe/Berlin"

[table]
decimal = ","
missing = ["---"]

[columns]
instrument = "Balance"
"initial.indication" = { column = "Start weight [g]", decimals = 4 }
"final.indication" = "End weight [g]"
"initial.load" = { column = "On", separator = "+" }
performed_at = { columns = ["Date", "Time"], format = "%d.%m.%Y %H:%M" }
heating = { column = "Heated", values = { yes = true, no = false } }
"labels.sample" = "Sample"

[constants]
final.load = ["KM-31"]
weights.KM-31 = { nominal = "10 g", weight_class = "OIML F1" }
weights.KM-32 = { nominal = "2 g", weight_class = "OIML F1" }

[instruments.MA-07]
scale_interval = "1 mg"
"""


def refused(text: str) -> list[tuple[str, str, str]]:
    with pytest.raises(MappingNotUsable) as caught:
        parse_mapping(text.encode())
    return [(error.pointer, error.code, error.detail) for error in caught.value.errors]


def replaced(old: str, new: str) -> str:
    assert old in TOML
    return TOML.replace(old, new)


def test_a_mapping_says_what_it_says() -> None:
    mapping = parse_mapping(TOML.encode())
    assert mapping.id == "harbour-export"
    assert [kind.slug for kind in mapping.kinds] == ["simulated-loss"]
    assert (mapping.table.decimal, mapping.table.missing) == (",", ("---",))
    assert mapping.columns["initial.indication"] == Column(("Start weight [g]",), decimals=4)
    assert mapping.columns["performed_at"].columns == ("Date", "Time")
    assert mapping.wanted == (
        "Balance",
        "Start weight [g]",
        "End weight [g]",
        "On",
        "Date",
        "Time",
        "Heated",
        "Sample",
    )
    assert number_columns(mapping) == ("Start weight [g]", "End weight [g]")
    assert mapping.gather is None


def test_json_says_the_same_as_toml() -> None:
    from_toml = parse_mapping(TOML.encode())
    from_json = parse_mapping(json.dumps(from_toml.source.document).encode())
    for name in TableMapping.__dataclass_fields__:
        if name != "source":
            assert getattr(from_json, name) == getattr(from_toml, name)


@pytest.mark.parametrize(
    ("old", "new", "pointer", "code", "line"),
    [
        ('"initial.load"', '"initial.laod"', "/columns/initial.laod", "unknown-field", 13),
        ("Europe/Berlin", "Europe/Nowhere", "/time_zone", "not-one-of", 3),
        ("Europe/Berlin", "../../etc/passwd", "/time_zone", "not-one-of", 3),
        ("%d.%m.%Y %H:%M", "%d.%m. %H:%M", "/columns/performed_at/format", "malformed-format", 14),
        ("%d.%m.%Y %H:%M", "%d.%m.%Y", "/columns/performed_at/format", "malformed-format", 14),
        ("yes = true", "yes = 1", "/columns/heating/values/yes", "wrong-type", 15),
        ("yes = true", "NO = true", "/columns/heating/values", "contradiction", 15),
        ('"1 mg"', '"1 mm"', "/instruments/MA-07/scale_interval", "unit-not-taken", 24),
        ("scale_interval", "interval", "/instruments/MA-07/scale_interval", "required", 23),
        ("final.load", "finale.load", "/constants/finale", "unknown-field", 19),
        ('["KM-31"]', '"KM-31"', "/constants/final/load", "wrong-type", 19),
        (
            ', weight_class = "OIML F1" }\nweights.KM-32',
            " }\nweights.KM-32",
            "/constants/weights/KM-31/weight_class",
            "weight-without-value",
            20,
        ),
        (
            'scale_interval = "1 mg"',
            'scale_interval = "1 mg"\nverification_interval = "0.1 mg"',
            "/instruments/MA-07/verification_interval",
            "out-of-range",
            25,
        ),
        ("decimals = 4", "decimal = 4", "/columns/initial.indication/decimal", "unknown-field", 11),
        ("decimals = 4", 'unit = "h"', "/columns/initial.indication/unit", "unit-not-taken", 11),
        (
            "decimals = 4",
            'separator = "+"',
            "/columns/initial.indication/separator",
            "not-for-field",
            11,
        ),
        (
            '"End weight [g]"',
            '"start WEIGHT[g]"',
            "/columns/final.indication",
            "column-twice",
            12,
        ),
        ('"Date", "Time"', '"Date", "date "', "/columns/performed_at/columns", "column-twice", 14),
        ('["Date", "Time"]', '["A", "B", "C"]', "/columns/performed_at/columns", "too-many", 14),
        ('"End weight [g]"', '{ columns = ["A", "B"] }', "/columns/final.indication", None, 12),
        ('"End weight [g]"', '{ unit = "g" }', "/columns/final.indication", "required", 12),
        ('decimal = ","', 'decimal = ","\nthousands = ","', "/table/thousands", "contradiction", 7),
        ('"labels.sample"', '"instrument.id"', "/columns/instrument.id", "contradiction", 16),
        ('check = "simulated-loss"', 'check = "loss"', "/check", "not-one-of", 2),
        ('"labels.sample"', "labels.sample", "/columns/labels/sample", "unknown-field", 16),
    ],
)
def test_a_fault_has_its_place_and_its_line(
    old: str, new: str, pointer: str, code: str | None, line: int
) -> None:
    found = refused(replaced(old, new))
    at_place = [(c, detail) for place, c, detail in found if place == pointer]
    assert at_place, found
    assert code in (None, at_place[0][0])
    assert at_place[0][1].startswith(f"line {line}: ")


def test_the_nearest_field_is_told_and_how_a_dotted_name_is_written() -> None:
    assert 'did you mean "initial.load"?' in refused(replaced("initial.load", "inital.load"))[0][2]
    assert "in quotes" in refused(replaced('"labels.sample"', "labels.sample"))[0][2]


def test_what_no_column_and_no_constant_fills_is_told_before_any_row_is_read() -> None:
    text = re.sub(r"(?m)^(weights|\"initial.load\").*\n", "", TOML)
    needed = [detail for _, code, detail in refused(text) if code == "field-missing"]
    assert len(needed) == 2
    assert any("needs weights" in detail for detail in needed)
    assert any("needs initial.load" in detail for detail in needed)


BY_RUN: dict[str, Any] = {"gather": {"by": ["Run"]}}


def linearity(columns: dict[str, Any], **more: Any) -> TableMapping:
    constants = {
        "instrument": {"scale_interval": "1 mg"},
        "weights": {"A": {"nominal": "5 g", "weight_class": "OIML F1"}},
    }
    document = {"check": "linearity", "columns": columns, "constants": constants, **more}
    return read_mapping(Source(document))


POINTS = {"points.load": "On", "points.indication": "Shown"}


def test_gathering_has_its_defaults() -> None:
    assert linearity(POINTS, gather={"by": ["Run"]}).gather == Gather(("Run",), None, 500, None)
    stated = {"by": ["Run"], "order": "Point", "within": 50, "complete": 11}
    assert linearity(POINTS, gather=stated).gather == Gather(("Run",), "Point", 50, 11)


@pytest.mark.parametrize(
    ("columns", "more", "pointer", "code"),
    [
        (POINTS, {}, "/columns/points.load", "gather-missing"),
        (
            {"points.0.load": "A", "points.0.indication": "B"},
            BY_RUN,
            "/gather",
            "contradiction",
        ),
        (
            {**POINTS, "points.0.zero": "Z"},
            BY_RUN,
            "/columns/points.0.zero",
            "contradiction",
        ),
        (
            {"points.0.load": "A", "points.00.load": "B", "points.0.indication": "C"},
            {},
            "/columns/points.00.load",
            "contradiction",
        ),
        (
            POINTS | {"points.200.zero": "Z"},
            BY_RUN,
            "/columns/points.200.zero",
            "unknown-field",
        ),
        (
            {**POINTS, "instrument": "Balance"},
            BY_RUN,
            "/columns/instrument",
            "instruments-missing",
        ),
    ],
)
def test_contradictions_of_gathering(
    columns: dict[str, Any], more: dict[str, Any], pointer: str, code: str
) -> None:
    with pytest.raises(MappingNotUsable) as caught:
        linearity(columns, **more)
    assert (pointer, code) in [(error.pointer, error.code) for error in caught.value.errors]


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (b"check = ", "malformed-toml"),
        (b"# \xff\n", "malformed-toml"),
        (b'{"check": ', "malformed-json"),
        (b'{"check": 1, "check": 2}', "malformed-json"),
        (b"x" * (1024 * 1024 + 1), "too-large"),
        (b"a." * 60_000 + b"b = 1", "malformed-toml"),
    ],
)
def test_what_is_no_document_is_refused(raw: bytes, code: str) -> None:
    with pytest.raises(MappingNotUsable) as caught:
        parse_mapping(raw)
    assert [error.code for error in caught.value.errors] == [code]
