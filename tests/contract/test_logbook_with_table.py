"""A logbook whose daily checks are an export: the same answers as from the log they came from.

The mill of the examples is simulated; as_export.py parts its log into losses.csv and all else.
"""

import json
import re
import subprocess
import sys
from io import BytesIO, TextIOWrapper
from pathlib import Path

import openpyxl
import pytest

from weighworthy import Client
from weighworthy.cli import main
from weighworthy.errors import Invalid
from weighworthy.logbook_table import MOST_BESIDE
from weighworthy_service.web.logbook_body import MAX_BODY

FOLDER = Path(__file__).parents[2] / "examples/logbook"
MAPPING = FOLDER / "losses.toml"
AT = "2025-05-12T06:15:00+02:00"
QUESTIONS = ("status", "support", "drift", "intervals", "signals")


@pytest.fixture(autouse=True)
def clean(monkeypatch):
    for name in ("WEIGHWORTHY_URL", "WEIGHWORTHY_API_KEY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "100")


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    """A folder with the whole log, its results, the table, and the log without what is in it."""
    folder = tmp_path_factory.mktemp("mill")
    sys.path.insert(0, str(FOLDER))
    try:
        from invented_log import write_log
    finally:
        sys.path.remove(str(FOLDER))
    book, _ = write_log(folder)
    script = [sys.executable, FOLDER / "as_export.py", book, folder / "losses.csv"]
    with (folder / "others.ndjson").open("wb") as file:
        subprocess.run(script, stdout=file, check=True)
    return folder


@pytest.fixture
def said(capsys):
    def run(*arguments):
        code = main(["logbook", *map(str, arguments)])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return run


@pytest.fixture
def untidy(mill, tmp_path):
    """Writes the first rows of the table, changed; options that ask about it with the others."""

    def written(change=lambda lines: lines, encode=str.encode, name="losses.csv"):
        lines = (mill / "losses.csv").read_text("utf-8").splitlines()[:40]
        path = tmp_path / name
        path.write_bytes(encode("\r\n".join(change(lines)) + "\r\n"))
        return (mill / "others.ndjson", "--at", AT, "--table", path, "--mapping", MAPPING)

    return written


def replaced(row, old, new):
    def change(lines):
        assert old in lines[row - 1]
        return [*lines[: row - 1], lines[row - 1].replace(old, new), *lines[row:]]

    return change


def judged(answer):
    """An answer without the names of entries: those of a table's are its rows."""
    return json.loads(re.sub(r"\bMA-4[1-4]-[0-9]{4}\b|\brow [0-9]+\b", "…", json.dumps(answer)))


@pytest.mark.parametrize("question", QUESTIONS)
def test_the_same_as_from_the_log_that_was_parted(mill, said, live_service, question):
    more = ["--results", mill / "results.ndjson"] if question == "support" else []
    parted = ["--table", mill / "losses.csv", "--mapping", MAPPING, *more, "--at", AT, "--json"]
    code, out, err = said(question, mill / "others.ndjson", *parted)
    assert err == ""
    whole = said(question, mill / "log.ndjson", *more, "--at", AT, "--json")
    answer = json.loads(out)
    assert code == whole[0]
    assert answer["entries"]["judged_anew"] == 225
    assert judged(answer) == judged(json.loads(whole[1]))
    with Client(live_service) as client:
        same = getattr(client.logbook, question)(
            mill / "others.ndjson",
            table=mill / "losses.csv",
            mapping=MAPPING,
            at=AT,
            **({"results": mill / "results.ndjson"} if more else {}),
        )
    assert (same.raw.decode(), same.notes) == (out.rstrip("\n"), ())


def test_a_table_alone_with_what_the_options_say(mill, said, tmp_path, monkeypatch):
    calendar = tmp_path / "calendar.toml"
    calendar.write_text('time_zone = "Europe/Berlin"\n', "utf-8")
    options = ["--profile", FOLDER / "kestrel.toml", "--calendar", calendar, "--at", AT]
    table = mill / "losses.csv"
    code, out, err = said("status", "--table", table, "--mapping", MAPPING, *options)
    assert (code, err) == (1, "")
    # No span check was ever seen: the export has simulated losses only.
    assert out.count("□ check needed") == 4
    with Client.embedded(defaults={"time_zone": "Europe/Berlin"}) as client:
        answer = client.logbook.status(
            table=table, mapping=MAPPING, profile=FOLDER / "kestrel.toml", at=AT
        )
    assert answer.data["entries"]["sent"] == len(table.read_text("utf-8").splitlines()) - 3
    assert answer.summary["check_needed"] == 4
    piped = TextIOWrapper(BytesIO(table.read_bytes()))
    monkeypatch.setattr(sys, "stdin", piped)
    assert said("status", "--mapping", MAPPING, *options, "--table", "-") == (code, out, err)


def test_reasons_name_rows(untidy, said):
    # (11.999 - 9.001)/11.999 = 24.99 %, where weights of 12 g and 10 g give 16.67 %.
    book, *options = untidy(lambda lines: replaced(4, "10,001", "9,001")(lines[:4]))
    code, out, _ = said("status", book, *options, "--why", "--instrument", "MA-41")
    assert code == 1
    assert re.search(r"row 4: .*simulated-loss", out)


@pytest.mark.parametrize(
    "encode",
    [
        lambda text: text.encode("utf-8-sig"),
        lambda text: text.replace("\r\n", "\n").encode(),
        lambda text: text.encode("utf-16"),
        lambda text: ("sep=;\r\n" + text).encode(),
    ],
    ids=["byte order mark", "line feeds", "UTF-16", "sep"],
)
def test_forms_of_a_table_give_the_same(untidy, said, encode):
    tidy = said("status", *untidy())
    assert tidy[0] == 1
    assert said("status", *untidy(encode=encode)) == tidy


def test_a_table_that_is_not_utf_8_is_read_and_said_to_be(untidy, said):
    def change(lines):
        return [line.replace("C. Field", "C. Müller") for line in lines]

    tidy = said("status", *untidy(change))
    code, out, err = said("status", *untidy(change, lambda text: text.encode("cp1252")))
    assert (code, out) == tidy[:2]
    assert re.fullmatch(
        r"note: losses\.csv: the file is not UTF-8 and was read as Windows-1252; .*\n", err
    )
    assert said("status", *untidy(change, lambda t: t.encode("cp1252")), "--quiet")[2] == ""


def test_a_workbook_says_what_is_hidden(untidy, said, tmp_path):
    tidy = said("status", *untidy())
    book = openpyxl.Workbook()
    sheet = book.active
    for line in (tmp_path / "losses.csv").read_text("utf-8").splitlines():
        sheet.append(line.split(";"))
    sheet.row_dimensions[7].hidden = True
    path = tmp_path / "losses.xlsx"
    book.save(path)
    options = [path if one == tmp_path / "losses.csv" else one for one in untidy()]
    code, out, err = said("status", *options)
    assert (code, out) == tidy[:2]
    assert re.match("note: sheet 'Sheet': read like the others: .*hidden", err)
    sheet["K6"] = "OVERLOAD"
    book.save(path)
    code, out, err = said("status", *options)
    assert (code, out) == (4, "")
    assert re.search(r"losses\.xlsx sheet 'Sheet' row 6 /final/indication: column 'End", err)


def test_options_say_how_a_table_is_read_in_place_of_its_mapping(untidy, said, tmp_path):
    tidy = said("status", *untidy())
    book, *options = untidy(
        lambda lines: [line.replace(";", "\t").replace("C. Field", "C. Müller") for line in lines],
        lambda text: text.encode("cp850"),
    )
    mapping = tmp_path / "losses.toml"
    # Not so in this file.
    stated = 'decimal = "."\nencoding = "utf-8"\ndelimiter = ";"'
    mapping.write_text(MAPPING.read_text("utf-8").replace('decimal = ","', stated), "utf-8")
    options[-1] = mapping
    assert said("status", book, *options)[0] == 2
    more = ["--decimal", ",", "--encoding", "cp850", "--delimiter", "tab"]
    assert said("status", book, *options, *more) == tidy


def test_an_option_names_the_sheet(untidy, said, tmp_path):
    book, *options = untidy()
    path = tmp_path / "losses.xlsx"
    workbook = openpyxl.Workbook()
    for name, change in (("Old", "12,900"), ("New", None)):
        sheet = workbook.create_sheet(name)
        for line in (tmp_path / "losses.csv").read_text("utf-8").splitlines():
            sheet.append([change if change and "," in one else one for one in line.split(";")])
    workbook.save(path)
    tidy = said("status", book, *options)
    options = [path if one == tmp_path / "losses.csv" else one for one in options]
    assert said("status", book, *options, "--sheet", "New") == tidy
    code, _, err = said("status", book, *options)
    assert code == 2
    assert "[sheet-unclear]" in err


@pytest.mark.parametrize(
    ("change", "code", "told"),
    [
        (replaced(5, "K. Strand;", "K. Strand;;"), 4, r"losses\.csv row 5"),
        (replaced(5, "11,998", "OVERLOAD"), 4, r"losses\.csv row 5 /initial/indication: column"),
        (replaced(5, "31.03.2025", "yesterday"), 4, r"losses\.csv row 5 /performed_at: column"),
        (replaced(5, "MA-42", "MA-99"), 4, r"losses\.csv row 5.*'MA-99'"),
        (replaced(5, "MA-42", ""), 4, r"losses\.csv row 5 /instrument"),
        (replaced(5, "H10+H2", "H10+H3"), 4, r"losses\.csv row 5 .*H3"),
        (replaced(3, "Balance", "Scale"), 2, r"losses\.toml: .*Balance"),
        (lambda lines: lines[3:], 2, r"losses\.toml: .*none of the first 30 rows holds"),
        (lambda _: [], 2, r"losses\.csv: .*table-empty"),
        (replaced(5, "11,998", "\x00"), 2, r"losses\.csv: .*NUL"),
    ],
)
def test_what_is_wrong_is_told_with_its_row(untidy, said, change, code, told):
    got, out, err = said("status", *untidy(change))
    assert (got, out) == (code, "")
    assert re.search(told, err, re.DOTALL), err


def test_a_fault_of_an_entry_beside_a_table_has_its_line(mill, untidy, said, tmp_path):
    book, *options = untidy()
    head, first, *rest = book.read_text("utf-8").splitlines()
    log = tmp_path / "log.ndjson"
    wrong = json.dumps({**json.loads(first), "colour": "red"})
    log.write_text("\n".join(["", head, "", rest[0], wrong]), "utf-8")
    code, _, err = said("status", log, *options)
    assert code == 4
    assert "log.ndjson:5 /colour: there is no such field" in err
    log.write_text("\n".join([head, "", wrong[:80]]), "utf-8")
    code, _, err = said("status", log, *options)
    assert code == 2
    assert "log.ndjson:3: not JSON" in err


def test_a_caller_gets_each_fault_with_its_row(untidy):
    book, *_ = options = untidy(replaced(5, "11,998", "OVERLOAD"))
    with Client.embedded() as client, pytest.raises(Invalid) as caught:
        client.logbook.status(book, table=options[4], mapping=MAPPING, at=AT)
    (fault,) = caught.value.errors
    assert (fault.pointer, fault.code) == ("/initial/indication", "overload")
    assert fault.detail.startswith("row 5: column 'Start [g]': ")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "BOOK, --table with --mapping, or both"),
        (["--table", "TABLE"], "--table needs --mapping"),
        (["--mapping", MAPPING], "BOOK, --table"),
        (["BOOK", "--mapping", MAPPING], "--mapping is for --table"),
        (["BOOK", "--encoding", "cp1252"], "--encoding is for --table"),
        (["BOOK", "--sheet", "Bench"], "--sheet is for --table"),
        (["--table", "TABLE", "--mapping", "losses"], "there is no file 'losses'"),
        (["--table", "no-such.csv", "--mapping", MAPPING], "no-such.csv: "),
        (["--table", "TABLE", "--mapping", "no-such.toml"], "no-such.toml: "),
        (["--table", FOLDER, "--mapping", MAPPING], "logbook: "),
        (["-", "--table", "-", "--mapping", MAPPING], "only one of them"),
        (["--table", "TABLE", "--mapping", MAPPING, "-o", "TABLE"], "not written over"),
    ],
)
def test_options_that_cannot_work(untidy, said, arguments, told):
    book, *_, table, _, _ = untidy()
    names = {"BOOK": book, "TABLE": table}
    code, out, err = said("status", *(names.get(one, one) for one in arguments))
    assert (code, out) == (2, "")
    assert told in err, err


def test_the_client_knows_how_much_the_service_takes_beside_a_table():
    assert MOST_BESIDE == MAX_BODY
