"""What is sent of a logbook, and where its files are told to be wrong."""

import json

import pytest

from weighworthy.logbook import Logbook
from weighworthy.logbook_files import book_of_lines, open_book, read_results
from weighworthy.site import load_site

ENTRY = {"id": "E1", "kind": "move", "at": "2026-03-30T08:00:00Z", "instrument": "MA-1"}
LINE = json.dumps(ENTRY).encode() + b"\n"


@pytest.fixture
def asked():
    """A logbook whose service echoes; the calls that it got."""
    calls = []

    def send(path, body, headers, take):
        sent = body().read()
        assert int(headers["Content-Length"]) == len(sent)
        assert headers["Content-Type"] == "application/x-ndjson"
        calls.append((path, sent.split(b"\n")))
        return take({"x-request-id": "r"}, iter([b'{"at": "2026-03-30T09:00:00Z", "summary": {}}']))

    return lambda site=None: Logbook(send, load_site(site)), calls


def lines(*raw):
    return book_of_lines(iter(raw), "log")


def test_each_call_has_its_address_and_options(asked):
    make, calls = asked
    book, at = make(), "2026-03-30T09:00:00Z"
    book.status([ENTRY], at=at, in_order=True)
    book.support([ENTRY], at=at, results=[{"id": "R1"}])
    book.drift([ENTRY], at=at, run_rules=[1, 5], baseline=12)
    book.intervals([ENTRY], at=at, reliability="90 %")
    book.signals([ENTRY], at=at, due_within=0)
    assert [path for path, _ in calls] == [
        f"/v1/logbook/{name}" for name in ("status", "support", "drift", "intervals", "signals")
    ]
    assert [json.loads(sent[0]) for _, sent in calls] == [
        {"at": at, "sorted": True},
        {"at": at, "results": [{"id": "R1"}]},
        {"at": at, "run_rules": [1, 5], "baseline": 12},
        {"at": at, "reliability": "90 %"},
        {"at": at, "due_within": 0},
    ]
    assert all(json.loads(sent[1]) == ENTRY for _, sent in calls)


def test_a_call_says_more_than_its_file_and_the_site_least(asked, tmp_path):
    make, calls = asked
    path = tmp_path / "log.ndjson"
    path.write_bytes(b'{"at": "2026-01-01T00:00:00Z", "calendar": {"time_zone": "UTC"}}\n' + LINE)
    site = {"time_zone": "Europe/Berlin", "instruments": {"MA-1": {"scale_interval": "1 mg"}}}
    answer = make(site).status(path, at="2026-03-30T09:00:00Z")
    assert json.loads(calls[0][1][0]) == {
        "at": "2026-03-30T09:00:00Z",
        "calendar": {"time_zone": "UTC"},
        "instruments": [{"id": "MA-1", "scale_interval": "1 mg"}],
    }
    assert answer.time_zone == "UTC"
    assert make(site).status([ENTRY]).time_zone == "Europe/Berlin"
    assert make().status([ENTRY]).time_zone is None


def test_lines_keep_their_numbers(asked):
    make, calls = asked
    make().status(lines(b"\xef\xbb\xbf\n", b"\r\n", b"{}\r\n", b"\n", LINE))
    # Head first, then the two blank lines that stood before it, then the rest as it stood.
    assert calls[0][1][:5] == [b"{}", b"", b"", b"", LINE.strip()]


@pytest.mark.parametrize("form", ["lines", "document", "one line", "byte order mark"])
def test_forms_of_a_file(tmp_path, form):
    head = {"at": "2026-03-30T09:00:00Z"}
    text = {
        "lines": json.dumps(head) + "\n" + json.dumps(ENTRY),
        "document": json.dumps({**head, "entries": [ENTRY]}, indent=2),
        "one line": json.dumps({**head, "entries": [ENTRY]}),
        "byte order mark": "\ufeff" + json.dumps(head) + "\r\n" + json.dumps(ENTRY) + "\r\n",
    }[form]
    path = tmp_path / "log"
    path.write_bytes(text.encode())
    book = open_book(path)
    entries = [json.loads(e) if isinstance(e, bytes) else e for e in book.entries]
    assert (book.head, entries) == (head, [ENTRY])


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        ([], "log: empty"),
        ([b"\n", b" \r\n"], "log: empty"),
        ([b"\n", b"{]\n"], "log:2: not JSON"),
        ([b"[1]\n"], "log:1: not a JSON object"),
        ([LINE], "log:1: this is an entry"),
        ([b'{"at": NaN}'], "log:1: not JSON: NaN is no number"),
        (["{}".encode("utf-16")], "log:1: not UTF-8"),
        ([b"{\n", b'"at": ]}\n'], "log: not JSON: .* line 2"),
        ([b'{"entries": {}}'], "log: entries must be a list"),
        ([b'{"entries": [3]}'], "log: entries must be a list"),
        ([b'{"entries": []}\n', LINE], "log: has entries on its first line, and lines"),
        ([b"[" * 99999], "log:1: not JSON|log: not JSON"),
        ([b'{"at": "x", "at": "y"}'], "log:1: not JSON: the key 'at' occurs twice in one object"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(raw, said):
    with pytest.raises(ValueError, match=f"^(?:{said})"):
        lines(*raw)


def test_results_are_read_line_by_line(asked, tmp_path):
    make, calls = asked
    path = tmp_path / "results.ndjson"
    path.write_bytes(b'\xef\xbb\xbf{"id": "R1"}\r\n\r\n{"id": "R2"}\r\n')
    make().support([ENTRY], results=path)
    assert json.loads(calls[0][1][0]) == {"results": [{"id": "R1"}, {"id": "R2"}]}
    path.write_bytes(b'{"id": "R1"}\n{"id"')
    with pytest.raises(ValueError, match=r"results\.ndjson:2: not JSON"):
        read_results(path)
    path.write_bytes(b'{"id": "R1", "loss": 4.2}')
    with pytest.raises(TypeError, match="bare number"):
        make().support([ENTRY], results=path)
    assert len(calls) == 1


def test_an_instrument_that_the_site_lacks(asked):
    make, calls = asked
    with pytest.raises(ValueError, match="'MA-9' is not in the site's instruments"):
        make().status([ENTRY], instruments=["MA-9"])
    assert calls == []
