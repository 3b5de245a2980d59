"""Tables and many requests over sockets: the production server, several connections at once."""

import itertools
import json
import shutil
import subprocess
import threading
from pathlib import Path

import pytest

from weighworthy import Answer, Client, Problem, table_pieces

ROOT = Path(__file__).parents[2]
EXPORT = ROOT / "examples" / "tables" / "harbour.csv"
MAPPING = ROOT / "examples" / "tables" / "harbour.toml"
REQUEST = json.loads((ROOT / "examples" / "kestrel" / "simulated_loss.json").read_text("utf-8"))
REQUEST["check"] = "simulated-loss"


@pytest.fixture
def live(live_service):
    with Client(live_service) as client:
        yield client


@pytest.fixture(scope="module")
def inside():
    with Client.embedded() as client:
        yield client


def labelled(number):
    return {**REQUEST, "labels": {"run": str(number)}}


def test_a_table_over_several_connections(live, inside, tmp_path, monkeypatch):
    lines = EXPORT.read_bytes().splitlines(keepends=True)
    path = tmp_path / "export.csv"
    path.write_bytes(b"".join(lines[:3]) + b"".join(lines[3:]) * 10)
    alone = inside.evaluate_table(path, MAPPING, out=tmp_path / "alone.csv")
    monkeypatch.setattr(table_pieces, "PIECE", 6_000)
    summary = live.evaluate_table(path, MAPPING, out=tmp_path / "live.csv", processes=3)
    assert summary.pieces > 3
    assert summary.rows_in == alone.rows_in == 402
    assert (tmp_path / "live.csv").read_bytes() == (tmp_path / "alone.csv").read_bytes()


def test_many_come_in_their_order_with_the_bytes_of_a_single_one(live, inside):
    found = list(live.evaluate_many((labelled(n) for n in range(50)), parallel=3, chunk=7))
    assert [answer.labels["run"] for answer in found] == [str(n) for n in range(50)]
    assert found[17].raw == inside.evaluate("simulated-loss", labelled(17)).raw


def test_a_refused_one_is_a_problem_in_its_place(inside):
    faulty = {**labelled(1), "initial": {"load": ["A10"], "indication": "12,001 g"}}
    first, second, third = inside.evaluate_many([labelled(0), faulty, labelled(2)], chunk=3)
    assert isinstance(first, Answer)
    assert isinstance(third, Answer)
    assert isinstance(second, Problem)
    assert second.slug == "invalid"
    assert ("/initial/indication", "decimal-comma") in [(e.pointer, e.code) for e in second.errors]
    assert second.labels["run"] == "1"


def test_no_more_is_taken_than_is_needed(inside):
    taken = []

    def endless():
        for number in itertools.count():
            taken.append(number)
            yield labelled(number)

    found = inside.evaluate_many(endless(), parallel=2, chunk=5)
    for _ in range(8):
        assert isinstance(next(found), Answer)
    assert len(taken) <= 5 * (2 + 2)
    found.close()
    assert not [t for t in threading.enumerate() if t.name.startswith("weighworthy-many")]


@pytest.mark.parametrize("options", [{"parallel": 0}, {"chunk": 0}])
def test_settings_that_cannot_work(inside, options):
    with pytest.raises(ValueError, match="at least 1"):
        inside.evaluate_many([], **options)


BARE = {**REQUEST, "displayed_loss": 16.7}
ENDLESS: dict[str, object] = {}
ENDLESS["initial"] = ENDLESS


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (BARE, "displayed_loss: a bare number has no unit"),
        ("span", "a request is a dict, not str"),
        (None, "a request is a dict, not NoneType"),
        ({**REQUEST, "instrument": "MA-99"}, "'MA-99' is not in the site's instruments"),
        ({**REQUEST, "labels": {"x": "\ud800"}}, "surrogate"),
        (ENDLESS, "recursion"),
    ],
)
def test_one_that_cannot_be_sent_is_a_problem_in_its_place(inside, bad, said):
    refused = {"check": "no-such-check"}
    found = list(inside.evaluate_many([labelled(0), bad, labelled(2), refused, bad], chunk=2))
    assert [type(one) for one in found] == [Answer, Problem, Answer, Problem, Problem]
    assert said in found[1].detail
    assert found[1].slug == "invalid"
    assert [one.rows for one in found if isinstance(one, Problem)] == [(2,), (4,), (5,)]
    assert [one.errors[0].row for one in found if isinstance(one, Problem)] == [2, 4, 5]


@pytest.mark.needs_curl
@pytest.mark.skipif(shutil.which("curl") is None, reason="no curl on the PATH")
def test_the_same_file_with_curl(live_service, inside, tmp_path):
    inside.evaluate_table(EXPORT, MAPPING, out=tmp_path / "out.csv")
    command = ["curl", "-sS", "-H", "Accept: text/csv", f"{live_service}/v1/batches"]
    parts = ["-F", f"table=@{EXPORT};type=text/csv", "-F", f"mapping=@{MAPPING}"]
    answer = subprocess.run([*command, *parts], check=True, capture_output=True).stdout
    assert answer == (tmp_path / "out.csv").read_bytes()
