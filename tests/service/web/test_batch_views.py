"""Batches inside the process: what is sent in which form, what is refused, and what comes back."""

import csv
import gzip
import io
import json
import re
import tempfile
from pathlib import Path
from typing import Any, Final

import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.tables import run as run_module
from weighworthy_service.tables.added import ADDED
from weighworthy_service.tables.table_section import TableLimits
from weighworthy_service.web import batch_body, multipart
from weighworthy_service.web.app import create_app
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.document import document
from weighworthy_service.web.settings import Settings

BATCHES: Final = "/v1/batches"
NDJSON: Final = "application/x-ndjson"
CELLS: Final = "application/vnd.weighworthy.cells+x-ndjson"
MAPPING: Final = """
id = "harbour-export"
check = "simulated-loss"
time_zone = "Europe/Berlin"
[table]
decimal = ","
[columns]
instrument = "Balance"
performed_at = { column = "When", format = "%d.%m.%Y %H:%M" }
"initial.indication" = "Start [g]"
"final.indication" = "End [g]"
"labels.sample" = "Sample"
[constants]
weights.A10 = { nominal = "10 g", weight_class = "OIML F1", due_on = 2027-01-01 }
weights.A2 = { nominal = "2 g", weight_class = "OIML F1", due_on = 2027-01-01 }
initial.load = ["A10", "A2"]
final.load = ["A10"]
[instruments.MA-07]
scale_interval = "1 mg"
"""
TABLE: Final = """\
Kestrel Mill Foods (invented), harbour;;;;
;;;;
Balance;When;Start [g];End [g];Sample
MA-07;20.03.2026 08:00;12,001;10,001;V-1
MA-07;29.03.2026 02:30;12,001;10,001;V-2
MA-07;20.03.2026 08:10;12,001;OL;V-3
;;;;
MA-07;20.03.2026 08:20;12,001;10,101;=1+1
"""
# The loss of 12.001 g to 10.001 g, less the expected one: 100·2.000/12.001 - 100·2/12
# = 16.665277893508874 - 16.666666666666667 = -0.001388773157792...
FIRST_ERROR: Final = -0.00138877315779
PROFILE: Final = """
id = "kestrel-losses"
revision = "2026-03"
[[rules]]
limits.loss_error = { within = "0.04 %" }
"""


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> FlaskClient:
    """A service with one mapping and one profile in its folders."""
    mappings, profiles = (tmp_path_factory.mktemp(name) for name in ("mappings", "profiles"))
    (mappings / "harbour.toml").write_text(MAPPING)
    (profiles / "losses.toml").write_text(PROFILE)
    return create_app(profiles=profiles, mappings=mappings).test_client()


def file(text: str | bytes, name: str = "t.csv") -> tuple[io.BytesIO, str]:
    return io.BytesIO(text if isinstance(text, bytes) else text.encode()), name


def post(client: FlaskClient, query: str = "", accept: str = NDJSON, **parts: Any) -> Any:
    parts = {"table": file(TABLE), "mapping": file(MAPPING, "m.toml"), **parts}
    data = {name: part for name, part in parts.items() if part is not None}
    return client.post(BATCHES + query, data=data, headers={"Accept": accept})


def told(response: Any) -> list[dict[str, Any]]:
    assert response.status_code == 200, response.data
    assert response.content_type == NDJSON
    return [json.loads(line) for line in response.data.splitlines()]


def refused(response: Any) -> tuple[int, str, list[str]]:
    body = response.get_json()
    slug = body["type"].rpartition("/")[2]
    return response.status_code, slug, [error["code"] for error in body["errors"]]


def lines_of(response: Any) -> list[list[str]]:
    assert response.status_code == 200, response.data
    text = response.data.decode("utf-8-sig")
    assert text.endswith("\r\n")
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=";"))


def test_every_row_ends_as_a_verdict_an_error_or_skipped(client: FlaskClient) -> None:
    first, second, third, last, summary = told(post(client))
    assert [one["rows"] for one in (first, second, third, last)] == [[4], [5], [6], [8]]
    assert first["answer"]["criteria"][0]["value"] == pytest.approx(FIRST_ERROR, abs=1e-14)
    assert second["problem"]["errors"][0] | {"detail": ""} == {
        "pointer": "/performed_at",
        "code": "time-skipped",
        "detail": "",
        "sheet": None,
        "row": 5,
        "column": "When",
        "cell": "29.03.2026 02:30",
    }
    assert second["labels"] == {"sample": "V-2"}
    assert third["problem"]["errors"][0]["cell"] == "OL"
    assert last["answer"]["verdict"] == "fail"
    assert last["answer"]["labels"] == {"sample": "=1+1"}
    said = summary["summary"]
    assert said["complete"] is True
    assert (said["rows_in"], said["rows_judged"]) == (7, 2)
    assert (said["rows_in_error"], said["rows_skipped"]) == (2, 3)
    assert (said["verdicts"]["pass"], said["verdicts"]["fail"]) == (1, 1)
    assert said["read_as"]["delimiter"] == ";"
    assert said["read_as"]["decimal"] == ","
    assert said["read_as"]["header_row"] == 3


def test_the_lines_conform_to_the_document(client: FlaskClient) -> None:
    schemas = document()["components"]
    names = ["BatchAnswer", "BatchProblem", "BatchProblem", "BatchAnswer", "BatchSummary"]
    for name, line in zip(names, told(post(client)), strict=True):
        schema = {"$ref": f"#/components/schemas/{name}", "components": schemas}
        Draft202012Validator(schema).validate(line)


def test_the_table_comes_back_as_it_was_with_verdicts(client: FlaskClient) -> None:
    response = post(client, accept="text/csv")
    assert response.content_type == "text/csv; charset=utf-8"
    assert response.headers["Weighworthy-Rows-In"] == "7"
    assert response.headers["Weighworthy-Read-As"] == (
        'encoding="utf-8", delimiter=";", decimal=",";stated, header_row=3'
    )
    assert not response.data.startswith(b"\xef\xbb\xbf")
    written = lines_of(response)
    came = list(csv.reader(io.StringIO(TABLE), delimiter=";"))
    assert [row[:5] for row in written[:-1]] == came[:-1]
    assert written[-1][:5] == ["MA-07", "20.03.2026 08:20", "12,001", "10,101", "'=1+1"]
    assert written[2][5:] == list(ADDED)
    column = {name: 5 + place for place, name in enumerate(ADDED)}
    outcomes = [row[column["ww_outcome"]] for row in written if row is not written[2]]
    assert outcomes == ["skipped", "skipped", "judged", "error", "error", "skipped", "judged"]
    first = written[3]
    assert first[column["ww_verdict"]] == "pass"
    assert first[column["ww_usable"]] == "true"
    value = first[column["ww_value"]]
    assert float(value.replace(",", ".")) == pytest.approx(FIRST_ERROR, abs=1e-14)
    # 3 d referred to the initial load: 100·0.003/12.
    assert first[column["ww_upper_limit"]] == "0,025"
    assert "OL" in written[5][column["ww_error"]]
    assert "'End [g]'" in written[5][column["ww_error"]]


def test_only_what_is_added(client: FlaskClient) -> None:
    written = lines_of(post(client, "?columns=added", "text/csv"))
    assert written[0] == ["ww_sheet", "ww_row", *ADDED]
    assert [row[1] for row in written[1:]] == ["1", "2", "4", "5", "6", "7", "8"]
    whole = lines_of(post(client, accept="text/csv"))
    del whole[2]
    assert [row[2:] for row in written[1:]] == [row[5:] for row in whole]


@pytest.mark.parametrize(
    ("encoding", "marked"), [("utf-8", False), ("utf-8-sig", True), ("cp1252", True)]
)
def test_what_was_no_plain_utf_8_comes_back_marked(
    client: FlaskClient, encoding: str, marked: bool
) -> None:
    table = TABLE.replace("harbour", "Hafen für Öl")
    response = post(client, accept="text/csv", table=file(table.encode(encoding)))
    assert response.data.startswith(b"\xef\xbb\xbf") is marked
    assert "Hafen für Öl" in lines_of(response)[0][0]


def test_typed_cells(client: FlaskClient) -> None:
    rows = [
        ["Checks", 1, ["Balance", "When", "Start [g]", "End [g]", "Sample"]],
        ["Checks", 2, ["MA-07", {"t": "2026-03-20T08:00:00"}, {"n": "12.001"}, {"n": "10.001"}]],
        ["Checks", 3, ["MA-07", {"t": "2026-03-20T08:00:00"}, {"n": "12.001"}, {"error": "#N/A"}]],
        ["Other", 1, ["note"]],
    ]
    body = "\n".join(map(json.dumps, rows)).encode()
    parts = {"table": (io.BytesIO(body), "t", CELLS)}
    first, second, summary = told(post(client, **parts))
    assert (first["sheet"], first["rows"]) == ("Checks", [2])
    assert first["answer"]["criteria"][0]["value"] == pytest.approx(FIRST_ERROR, abs=1e-14)
    error = second["problem"]["errors"][0]
    assert (error["sheet"], error["row"], error["column"], error["cell"]) == (
        "Checks",
        3,
        "End [g]",
        "#N/A",
    )
    assert summary["summary"]["rows_skipped"] == 1
    parts = {"table": (io.BytesIO(body), "t", CELLS)}
    written = lines_of(post(client, "?columns=added", "text/csv", **parts))
    assert [row[:3] for row in written[1:]] == [
        ["Checks", "2", "judged"],
        ["Checks", "3", "error"],
        ["Other", "1", "skipped"],
    ]


def test_the_table_alone_with_what_the_service_knows(client: FlaskClient) -> None:
    query = "?mapping=harbour-export&profile=kestrel-losses@2026-03"
    response = client.post(BATCHES + query, data=TABLE.encode(), content_type="text/csv")
    sent = post(client, profile=file(PROFILE, "p.toml"))
    assert told(response)[0]["answer"]["profile"] == told(sent)[0]["answer"]["profile"]
    assert told(response)[0]["answer"]["profile"]["id"] == "kestrel-losses"
    assert told(post(client))[0]["answer"]["profile"]["id"] == "weighworthy-general"


def test_an_answer_is_that_of_the_request_sent_alone(client: FlaskClient) -> None:
    """Cell by cell what the mapping says, as a request, at the address of its kind."""
    profile = {"id": "kestrel-losses", "revision": "2026-03"}
    profile |= {"rules": [{"limits": {"loss_error": {"within": "0.04 %"}}}]}  # type: ignore[dict-item]
    weight = {"weight_class": "OIML F1", "due_on": "2027-01-01"}
    alone = {
        "profile": profile,
        "instrument": {"id": "MA-07", "scale_interval": "1 mg"},
        "weights": {"A10": {"nominal": "10 g", **weight}, "A2": {"nominal": "2 g", **weight}},
        "performed_at": "2026-03-20T08:00:00+01:00",
        "initial": {"load": ["A10", "A2"], "indication": "12.001 g"},
        "final": {"load": ["A10"], "indication": "10.001 g"},
        "labels": {"sample": "V-1"},
    }
    expected = client.post("/v1/checks/simulated-loss", json=alone).get_json()
    assert told(post(client, profile=file(PROFILE, "p.toml")))[0]["answer"] == expected


@pytest.mark.parametrize("query", ["", "?detail=short"])
def test_a_line_is_answered_with_the_bytes_of_the_request_sent_alone(
    client: FlaskClient, query: str
) -> None:
    """Also where it repeats, with other labels, and where what all have in common is a default."""
    asked = []
    for kind in KINDS:
        request = {"check": kind.slug, **kind.example["request"]}
        asked += [request, {**request, "labels": {"é": "<&>"}}, {**request, "performed_by": "B"}]
    first, *others = (
        {name: value for name, value in one.items() if name != "labels"} for one in asked
    )
    bodies = ["\n".join(map(json.dumps, asked))]
    bodies.append("\n".join(map(json.dumps, ({"defaults": first}, {}, *others))))
    for body, offset in zip(bodies, (1, 2), strict=True):
        lines = client.post(BATCHES + query, data=body, content_type=NDJSON).data.splitlines()
        for number, one in enumerate(asked):
            alone = dict(one)
            if offset == 2:
                alone = {**first, **{k: v for k, v in one.items() if k != "labels"}}
                if alone["check"] != first["check"]:
                    continue
            address = f"/v1/checks/{alone['check']}{query}"
            whole = client.post(address, data=json.dumps(alone), content_type="application/json")
            assert lines[number] == (
                b'{"sheet":null,"rows":[%d],"answer":%b}' % (number + offset, whole.data)
            )


def test_lines_with_a_profile_beside_them(client: FlaskClient) -> None:
    line = {"check": "simulated-loss", **KINDS[2].example["request"]}
    body = json.dumps(line).encode()
    query = "?profile=kestrel-losses&detail=short"
    answered, summary = told(client.post(BATCHES + query, data=body, content_type=NDJSON))
    assert answered["answer"]["profile"]["id"] == "kestrel-losses"
    assert answered["answer"]["criteria"][0]["budget"] == []
    assert summary["summary"]["rows_judged"] == 1
    packed = client.post(
        BATCHES + query,
        data=gzip.compress(body),
        content_type=NDJSON,
        headers={"Content-Encoding": "gzip"},
    )
    assert told(packed)[0] == answered
    parts = {"table": (io.BytesIO(body), "t", NDJSON), "profile": file(PROFILE, "p.toml")}
    sent, _ = told(client.post(BATCHES + "?detail=short", data=parts))
    assert sent["answer"]["profile"] == answered["answer"]["profile"]


@pytest.mark.parametrize(
    ("query", "parts", "kind", "codes"),
    [
        ("", {"table": None}, "422 invalid", ["required"]),
        ("", {"mapping": None}, "422 invalid", ["required"]),
        ("", {"maping": "x"}, "422 invalid", ["unknown-field"]),
        ("?mapping=harbour-export", {}, "422 invalid", ["contradiction"]),
        ("?profile=a", {"profile": PROFILE}, "422 invalid", ["contradiction"]),
        ("?profile=a", {}, "422 profile-not-usable", ["unknown-profile"]),
        ("", {"profile": "id = 1"}, "422 profile-not-usable", None),
        ("", {"profile": "id = "}, "422 profile-not-usable", ["malformed-toml"]),
        ("", {"profile": "{"}, "400 malformed-json", []),
        ("?mapping=harbour-exprt", {"mapping": None}, "422 mapping-not-usable", None),
        ("", {"mapping": "check = 1"}, "422 mapping-not-usable", None),
        ("", {"table": file("a;b\n1;2\n")}, "422 mapping-not-usable", ["header-not-found"]),
        ("", {"table": file(b"a\0b")}, "422 table-not-usable", ["nul-byte"]),
        ("", {"table": file("")}, "422 table-not-usable", ["table-empty"]),
        ("?columns=some", {}, "422 invalid", ["not-one-of"]),
        ("?first_row=0", {}, "422 invalid", ["out-of-range"]),
        ("?first_row=two", {}, "422 invalid", ["out-of-range"]),
        ("?lines=3", {}, "422 invalid", ["unknown-parameter"]),
    ],
)
def test_what_is_wrong_with_the_whole_is_refused(
    client: FlaskClient,
    query: str,
    parts: dict[str, Any],
    kind: str,
    codes: list[str] | None,
) -> None:
    status, slug, found = refused(post(client, query, **parts))
    assert f"{status} {slug}" == kind
    if codes is not None:
        assert found == codes


def test_a_table_of_an_answer_is_not_answered_again(client: FlaskClient) -> None:
    answered = post(client, accept="text/csv").data
    again = post(client, accept="text/csv", table=file(answered))
    assert refused(again) == (422, "table-not-usable", ["columns-taken"])
    assert told(post(client, table=file(answered)))[-1]["summary"]["rows_judged"] == 2


@pytest.mark.parametrize(
    ("content_type", "accept", "status"),
    [
        ("application/json", NDJSON, 415),
        ("text/csv; charset=windows-1252", NDJSON, 415),
        ("multipart/form-data", NDJSON, 415),
        ("text/csv", "image/png", 406),
        (NDJSON, "text/csv", 406),
    ],
)
def test_types_that_are_not_taken(
    client: FlaskClient, content_type: str, accept: str, status: int
) -> None:
    response = client.post(
        f"{BATCHES}?mapping=harbour-export",
        data=b"{}",
        content_type=content_type,
        headers={"Accept": accept},
    )
    assert response.status_code == status


def test_lines_take_no_mapping_and_have_no_columns(client: FlaskClient) -> None:
    for query in ("?mapping=harbour-export", "?columns=added"):
        response = client.post(BATCHES + query, data=b"{}", content_type=NDJSON)
        assert refused(response) == (422, "invalid", ["contradiction"])


def test_first_row_numbers_the_rows_of_a_part(client: FlaskClient) -> None:
    head = "Balance;When;Start [g];End [g];Sample\n"
    rows = [f"MA-07;20.03.2026 08:00;12,001;10,00{n};V-{n}\n" for n in range(6)]
    whole = told(post(client, table=file(head + "".join(rows))))
    part = told(post(client, "?first_row=5", table=file(head + "".join(rows[3:]))))
    assert part[:-1] == whole[3:-1]


@pytest.mark.parametrize("accept", [NDJSON, "text/csv"])
def test_a_table_whose_rows_are_gathered_is_judged_in_no_parts(
    client: FlaskClient, accept: str
) -> None:
    gathered = MAPPING + '[gather]\nby = ["Sample"]\n'
    gathered = gathered.replace('check = "simulated-loss"', 'check = "linearity"')
    gathered = re.sub(r'".*indication" = .*\n|.*[l]\.load = .*\n', "", gathered).replace(
        "[columns]",
        '[columns]\n"points.indication" = "Start [g]"\n'
        '"points.load" = { column = "End [g]", values = { "10,001" = ["A10"] } }',
    )
    table = file(TABLE.replace("OL", "10,001"))
    whole = post(client, "?first_row=1", accept, table=table, mapping=file(gathered, "m.toml"))
    assert whole.status_code == 200
    table = file(TABLE.replace("OL", "10,001"))
    part = post(client, "?first_row=2", accept, table=table, mapping=file(gathered, "m.toml"))
    assert refused(part) == (422, "invalid", ["contradiction"])
    assert "cannot be judged in parts" in part.get_json()["detail"]


@pytest.mark.parametrize(
    ("limits", "status", "slug"),
    [
        (BatchLimits(size=100), 413, "too-large"),
        (BatchLimits(table=TableLimits(rows=6)), 422, "table-not-usable"),
        (BatchLimits(table=TableLimits(columns=4)), 422, "table-not-usable"),
    ],
)
def test_limits(limits: BatchLimits, status: int, slug: str) -> None:
    client = create_app(Settings(anonymous="yes", batch=limits)).test_client()
    assert refused(post(client))[:2] == (status, slug)


def test_a_fault_of_the_service_shows_in_the_summary(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    real, number = run_module.items_of, 0

    def items_of(*arguments: Any) -> Any:
        for item in real(*arguments):
            nonlocal number
            number += 1
            if number == 4:
                raise RuntimeError("secret cause")
            yield item

    monkeypatch.setattr(run_module, "items_of", items_of)
    *lines, summary = told(post(client))
    assert len(lines) == 1
    assert summary["summary"]["complete"] is False
    assert "secret" not in json.dumps(summary)
    assert "secret cause" in caplog.text


def test_the_spool_is_closed_in_every_case(
    client: FlaskClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[Any] = []
    real = tempfile.TemporaryFile

    def temporary(*arguments: Any, **named: Any) -> Any:
        opened.append(real(*arguments, **named))
        return opened[-1]

    monkeypatch.setattr("weighworthy_service.web.spool.TemporaryFile", temporary)
    app = create_app(Settings(anonymous="yes", batch=BatchLimits(spool=tmp_path)))
    client = app.test_client()
    told(post(client))
    assert post(client, table=file("a;b")).status_code == 422
    # Never read at all.
    body = {"table": file(TABLE), "mapping": file(MAPPING, "m.toml")}
    client.post(BATCHES, data=body, buffered=False).close()
    assert len(opened) >= 6
    assert all(one.closed for one in opened)
    assert list(tmp_path.iterdir()) == []


def test_broken_folders_keep_the_service_from_starting(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(MAPPING)
    (tmp_path / "b.toml").write_text(MAPPING)
    (tmp_path / "c.toml").write_text(MAPPING.replace('id = "harbour-export"', ""))
    (tmp_path / "d.toml").write_text("check =")
    with pytest.raises(ValueError, match=r"d\.toml:1") as caught:
        create_app(mappings=tmp_path)
    said = str(caught.value).splitlines()
    assert [line.partition(":")[0] for line in said] == ["b.toml", "c.toml", "d.toml"]
    assert "a.toml" in said[0]


@pytest.mark.parametrize(
    ("head", "status", "said"),
    [
        (b'filename="a"', 422, "a part has no name"),
        (b'name="table"; filename="Pr\xfcfung.csv"', 400, "in ASCII or UTF-8"),
    ],
)
def test_a_part_with_an_odd_header_is_told_as_such(head: bytes, status: int, said: str) -> None:
    client = create_app().test_client()
    body = b"--B\r\nContent-Disposition: form-data; " + head + b"\r\n\r\nx\r\n--B--\r\n"
    reply = client.post(BATCHES, data=body, content_type="multipart/form-data; boundary=B")
    assert reply.status_code == status
    assert said in reply.get_json()["detail"]


def fault_of(response: Any) -> tuple[int, str, dict[str, Any]]:
    told = response.get_json()
    return response.status_code, told["type"], told["errors"][0]


@pytest.mark.parametrize("begin", [b"PK\x03\x04\x14\x00", bytes.fromhex("d0cf11e0a1b11ae1")])
@pytest.mark.parametrize("address", [BATCHES, "/v1/mappings/draft"])
def test_a_workbook_sent_as_a_table_is_told_so(
    client: FlaskClient, begin: bytes, address: str
) -> None:
    sent = {"table": file(begin + bytes(500))}
    if address == BATCHES:
        sent["mapping"] = file(MAPPING, "m.toml")
    response = client.post(address, data=sent, content_type="multipart/form-data")
    status, slug, fault = fault_of(response)
    assert (status, slug, fault["code"]) == (422, "/problems/table-not-usable", "workbook")
    assert "weighworthy evaluate" in fault["detail"]


def test_a_mapping_and_a_profile_with_a_byte_order_mark(client: FlaskClient) -> None:
    """As some editors write them; of a table it is taken as well."""
    parts = {
        "mapping": file(b"\xef\xbb\xbf" + MAPPING.encode(), "m.toml"),
        "profile": file(b"\xef\xbb\xbf" + PROFILE.encode(), "p.toml"),
    }
    assert told(post(client, **parts)) == told(post(client, profile=file(PROFILE, "p.toml")))


@pytest.mark.parametrize("row", [2, 3])
def test_a_first_row_that_is_not_behind_the_header_is_refused(
    client: FlaskClient, row: int
) -> None:
    status, slug, fault = fault_of(post(client, f"?first_row={row}"))
    assert (status, slug, fault["code"]) == (422, "/problems/invalid", "contradiction")
    assert "row 3" in fault["detail"]
    assert told(post(client, "?first_row=4")) == told(post(client))


def test_a_long_series_for_all_rows_is_refused(client: FlaskClient) -> None:
    """It is of one check, and would be read again with each row."""
    series = ", ".join(f'{{ at = "{second} s", indication = "12.001 g" }}' for second in range(101))
    mapping = MAPPING.replace("[constants]", f"[constants]\nseries = [{series}]")
    status, slug, fault = fault_of(post(client, mapping=file(mapping, "m.toml")))
    assert (status, slug) == (422, "/problems/mapping-not-usable")
    assert (fault["pointer"], fault["code"]) == ("/constants/series", "too-many")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_spool_without_space_is_told_as_no_fault_of_the_table(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file is one that every write finds full."""
    full = Path("/dev/full")
    for module in (batch_body, multipart):
        monkeypatch.setattr(module, "spool_file", lambda _: full.open("w+b", buffering=0))
    response = client.post(BATCHES, data=b"{}\n", content_type=NDJSON)
    assert response.status_code == 503
    assert int(response.headers["Retry-After"]) > 0
    assert response.get_json()["type"] == "/problems/overloaded"
    assert "space" in response.get_json()["detail"]
    response = post(client)
    assert response.status_code == 503


def test_a_batch_that_takes_too_much_work_says_so(client: FlaskClient) -> None:
    settings = Settings("yes", batch=BatchLimits(work=0))
    app = create_app(settings).test_client()
    lines = [json.dumps({"check": "simulated-loss", **KINDS[2].example["request"]})] * 9
    response = app.post(BATCHES, data="\n".join(lines), content_type=NDJSON)
    *_, last = told(response)
    assert last["summary"]["complete"] is False
    assert "of a processor" in last["summary"]["broken_by"]
    assert last["summary"]["rows_judged"] < 9


def test_the_summary_of_lines_tells_read_as_like_that_of_tables(client: FlaskClient) -> None:
    lines = client.post(BATCHES, data=b"{}\n", content_type=NDJSON)
    names = [set(told(one)[-1]["summary"]["read_as"]) for one in (lines, post(client))]
    assert names[0] == names[1]
