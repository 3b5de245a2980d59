"""What the client reads of a mapping, and what it may change in it."""

import json
from datetime import date

import pytest

from weighworthy import TableFileError
from weighworthy.mapping_files import open_mapping
from weighworthy.site import load_site

TOML = """
check = { column = "Kind", values = { loss = "simulated-loss" } }
[table]
sheet = "Bench"
[columns]
instrument = "Balance"
performed_at = { columns = ["Date", "Time"] }
"initial.indication" = { column = "Start" }
[gather]
by = ["Run", "Date"]
order = "No"
"""


@pytest.fixture
def file(tmp_path):
    def made(text, name="m.toml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return made


def test_columns_sheet_and_gathering(file):
    mapping = open_mapping(file(TOML))
    assert mapping.columns == ("Balance", "Date", "Time", "Start", "Kind", "Run", "No")
    assert mapping.table == {"sheet": "Bench"}
    skip = 'skip = { column = "Sample", texts = ["Mean"] }'
    skipping = open_mapping(file(TOML.replace("[columns]", f"{skip}\n[columns]")))
    assert set(skipping.columns) == {*mapping.columns, "Sample"}
    assert not mapping.cuttable
    assert mapping.text == TOML.encode()


@pytest.mark.parametrize(
    ("document", "cuttable"),
    [
        ({"columns": {"a": "A"}}, True),
        ({"columns": {"a": "A"}, "gather": {"by": ["R"]}}, False),
        ({"columns": {"a": "A"}, "table": {"stop_at": "Total"}}, False),
        ({}, False),
    ],
)
def test_what_may_be_cut(document, cuttable):
    assert open_mapping(document).cuttable is cuttable


@pytest.mark.parametrize(
    "text", ["check = ", b"\xff", '{"a": ', "[1]", '{"columns": 3, "table": 4}']
)
def test_what_cannot_be_read_is_sent_as_it_is_and_never_cut(file, text):
    raw = text if isinstance(text, bytes) else text.encode()
    mapping = open_mapping(file(text))
    assert (mapping.text, mapping.columns) == (raw, ())


def test_json_is_known_by_its_first_sign(file):
    assert open_mapping(file('\ufeff{"columns": {"a": "A"}}')).columns == ("A",)


def test_a_name_is_one_that_the_service_knows(tmp_path, monkeypatch, file):
    monkeypatch.chdir(tmp_path)
    mapping = open_mapping("harbour-export")
    assert (mapping.name, mapping.text, mapping.cuttable) == ("harbour-export", None, False)
    with pytest.raises(TableFileError, match="lies at the service"):
        mapping.stating(delimiter=";")
    assert mapping.stating(delimiter=None) is mapping
    # A file of that name comes first.
    file(TOML, "harbour-export")
    assert open_mapping("harbour-export").name is None


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(FileNotFoundError):
        open_mapping(tmp_path / "none.toml")


def test_statements_about_the_table_replace_its_own(file):
    mapping = open_mapping(file(TOML)).stating(sheet="Other", decimal=",", thousands=None)
    assert mapping.table == {"sheet": "Other", "decimal": ","}
    assert json.loads(mapping.text)["table"] == {"sheet": "Other", "decimal": ","}


def test_dates_of_toml_go_as_text(file):
    text = '[columns]\na = "A"\n[constants.weights.A]\ndue_on = 2027-01-01\n'
    mapping = open_mapping(file(text)).stating(decimal=",")
    assert json.loads(mapping.text)["constants"]["weights"]["A"]["due_on"] == "2027-01-01"
    assert mapping.document["constants"]["weights"]["A"]["due_on"] == date(2027, 1, 1)


def test_the_site_completes_what_the_mapping_leaves_out():
    site = load_site(
        {
            "weights": {"A": {"nominal": "1 g"}, "B": {"nominal": "2 g"}},
            "instruments": {"MA-1": {"scale_interval": "1 mg"}},
            "time_zone": "Europe/Berlin",
        }
    )
    document = {
        "columns": {"instrument": "Balance"},
        "constants": {"weights": {"A": {"nominal": "1.5 g"}}},
    }
    found = json.loads(open_mapping(document).completed(site).text)
    assert found["constants"]["weights"] == {"A": {"nominal": "1.5 g"}, "B": {"nominal": "2 g"}}
    assert found["instruments"] == {"MA-1": {"id": "MA-1", "scale_interval": "1 mg"}}
    assert found["time_zone"] == "Europe/Berlin"
    kept = open_mapping({**document, "time_zone": "Europe/Paris"}).completed(site)
    assert kept.document["time_zone"] == "Europe/Paris"
    assert open_mapping(document).completed(load_site(None)).document == document
