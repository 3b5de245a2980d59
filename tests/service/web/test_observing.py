"""What is written and counted of requests, and what must never be."""

import io
import json
import os
from collections.abc import Iterator
from copy import deepcopy
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from prometheus_client.parser import text_string_to_metric_families

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.web.app import create_app
from weighworthy_service.web.metrics import Metrics
from weighworthy_service.web.observing import observe
from weighworthy_service.web.request_log import request_log
from weighworthy_service.web.room import room_of
from weighworthy_service.web.settings import Settings
from weighworthy_service.web.views import NOT_RELOADED

SPAN = "/v1/checks/span"
KEY = "kmf-secret-key-1"
TRACE, PARENT = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"


class Watched:
    """A service in this process, its log and its counts."""

    def __init__(self, settings: Settings) -> None:
        self.output = io.BytesIO()
        self.app: Flask = observe(create_app(settings), Metrics(), request_log(self.output))
        self.client: FlaskClient = self.app.test_client()

    def ask(self, method: str, path: str, **kwargs: Any) -> Any:
        # To the end, when the line is written.
        response = self.client.open(path, method=method, buffered=True, **kwargs)
        response.close()
        return response

    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.output.getvalue().splitlines()]

    def counted(self, name: str) -> dict[tuple[str, ...], float]:
        """The samples of that name, by the values of their labels in alphabetical order."""
        text = self.ask("GET", "/metrics").text
        return {
            tuple(value for _, value in sorted(sample.labels.items())): sample.value
            for family in text_string_to_metric_families(text)
            for sample in family.samples
            if sample.name == name
        }


def keyed_by(folder: Path) -> Settings:
    """Settings with one key, from a file."""
    (folder / "keys").write_text(f"sha256:{sha256(KEY.encode()).hexdigest()}\n")
    return Settings.from_environment({"WEIGHWORTHY_KEYS_FILE": str(folder / "keys")})


@pytest.fixture
def watched() -> Watched:
    return Watched(Settings(anonymous="yes", heavy=2))


@pytest.fixture
def failing(span: dict[str, Any]) -> dict[str, Any]:
    """Every reading 500 mg beside the load: no limit of a balance lets that pass."""
    for round_ in span["rounds"]:
        if "indication" in round_:
            number, unit = round_["indication"].split()
            round_["indication"] = f"{float(number) + 0.5:.4f} {unit}"
    return span


def test_a_line_for_each_request(watched: Watched, span: dict[str, Any]) -> None:
    headers = {"X-Request-Id": "kmf-7", "traceparent": f"00-{TRACE}-{PARENT}-01"}
    response = watched.ask("POST", f"{SPAN}?detail=short", json=span, headers=headers)
    assert response.status_code == 200
    (line,) = watched.lines()
    assert line.pop("timestamp").endswith("Z")
    assert 0 < line.pop("duration_s") < 60
    assert line == {
        "event": "request",
        "level": "info",
        "request_id": "kmf-7",
        "trace_id": TRACE,
        "parent_id": PARENT,
        "sampled": True,
        "method": "POST",
        "route": SPAN,
        "status": 200,
    }


def test_a_trace_that_is_none_is_dropped(watched: Watched) -> None:
    watched.ask("GET", "/v1/info", headers={"traceparent": f"00-{'0' * 32}-{PARENT}-01"})
    (line,) = watched.lines()
    assert not {"trace_id", "parent_id", "sampled"} & set(line)


def test_the_route_is_a_template(watched: Watched) -> None:
    watched.ask("GET", "/v1/profiles/usp-41-accuracy?revision=1")
    watched.ask("GET", "/v1/balances/MA-07")
    watched.ask("BREW", "/v1/balances/MA-07")
    seen = [(line["route"], line["status"], line["level"]) for line in watched.lines()]
    assert seen[:2] == [("/v1/profiles/{id}", 200, "info"), ("unmatched", 404, "warning")]
    assert [line["method"] for line in watched.lines()] == ["GET", "GET", "other"]
    assert "MA-07" not in watched.output.getvalue().decode()
    requests = watched.counted("weighworthy_requests_total")
    assert requests["GET", "/v1/profiles/{id}", "200"] == 1
    assert requests["GET", "unmatched", "404"] == 1
    assert not [labels for labels in requests if "BREW" in labels]


def test_nothing_that_was_said_is_written(span: dict[str, Any], tmp_path: Path) -> None:
    """Every text and number of the request, its key and its query, and none of them in the log."""
    watched = Watched(keyed_by(tmp_path))
    span["instrument"]["id"] = "MA-07-secret"
    span["performed_by"] = "A. Brook"
    span["labels"] = {"batch": "Kestrel flakes"}
    keyed = {"Authorization": f"Bearer {KEY}"}
    assert watched.ask("POST", SPAN, json=span, headers=keyed).status_code == 200
    assert watched.ask("POST", f"{SPAN}?who=brook", json=span, headers=keyed).status_code == 422
    broken = {**span, "rounds": "12.003 g"}
    assert watched.ask("POST", SPAN, json=broken, headers=keyed).status_code == 422
    wrong = {"Authorization": f"Bearer {KEY}x"}
    assert watched.ask("POST", SPAN, json=span, headers=wrong).status_code == 403
    written = watched.output.getvalue().decode()
    assert written.count("\n") == 4
    said = {"who", "brook", "12.003", KEY, *_texts(span)} - {"span"}
    assert len(said) > 15
    assert [one for one in said if len(one) > 2 and one in written] == []


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for below in value.values():
            yield from _texts(below)
    elif isinstance(value, list):
        for below in value:
            yield from _texts(below)
    elif isinstance(value, str):
        yield value


def test_who_tried_to_get_in_is_told_and_nobody_else(tmp_path: Path) -> None:
    watched = Watched(keyed_by(tmp_path))
    peer = {"REMOTE_ADDR": "192.0.2.7"}
    watched.ask("GET", "/v1/info", environ_overrides=peer)
    keyed = {"Authorization": f"Bearer {KEY}"}
    watched.ask("GET", "/v1/info", environ_overrides=peer, headers=keyed)
    refused, taken = watched.lines()
    assert (refused["client"], refused["problem"]) == ("192.0.2.7", "key-missing")
    assert "client" not in taken


def test_probes_are_counted_and_not_written(watched: Watched) -> None:
    for path in ("/livez", "/readyz", "/metrics"):
        assert watched.ask("GET", path).status_code == 200
    assert watched.lines() == []
    assert watched.counted("weighworthy_requests_total")["GET", "/livez", "200"] == 1


def test_metrics_need_a_key_where_others_do(tmp_path: Path) -> None:
    watched = Watched(keyed_by(tmp_path))
    assert watched.ask("GET", "/metrics").status_code == 401
    local = Watched(Settings(anonymous="loopback"))
    assert local.ask("GET", "/metrics").status_code == 200
    assert local.ask("GET", "/metrics", headers={"Via": "1.1 proxy"}).status_code == 401


def test_checks_are_counted_by_verdict_and_profile(
    watched: Watched, span: dict[str, Any], failing: dict[str, Any]
) -> None:
    passing = deepcopy(BY_SLUG["span"].example["request"])
    own = {
        "id": "kestrel-own",
        "revision": "1",
        "rules": [{"limits": {"span_error": {"within": "1 mg"}}}],
    }
    own_answer = watched.ask("POST", SPAN, json={**failing, "profile": own})
    assert own_answer.status_code == 200, own_answer.text
    verdicts = [
        watched.ask("POST", SPAN, json=document).get_json()["verdict"]
        for document in (passing, failing, failing)
    ]
    assert verdicts == [verdicts[0], "fail", "fail"]
    watched.ask("POST", SPAN, json={**failing, "profile": "usp-41-accuracy"})
    watched.ask("POST", SPAN, json={**failing, "rounds": 1})
    checks = watched.counted("weighworthy_checks_total")
    assert checks["span", "weighworthy-general", "fail"] == 2 + (verdicts[0] == "fail")
    by_profile = {labels[1] for labels in checks}
    assert by_profile == {"weighworthy-general", "usp-41-accuracy", "inline"}
    assert sum(checks.values()) == 5


def test_checks_and_errors_of_batches_are_counted(
    watched: Watched, failing: dict[str, Any]
) -> None:
    good = {**failing, "check": "span"}
    lines = [good, {**good, "rounds": 1}, good, {**good, "profile": "kestrel-nowhere"}]
    body = "\n".join(map(json.dumps, lines))
    response = watched.ask("POST", "/v1/batches", data=body, content_type="application/x-ndjson")
    assert response.status_code == 200
    assert watched.counted("weighworthy_checks_total") == {
        ("span", "weighworthy-general", "fail"): 2
    }
    assert watched.counted("weighworthy_row_errors_total") == {
        ("invalid",): 1,
        ("profile-not-usable",): 1,
    }


def test_profiles_in_force_and_reloads_that_were_refused(watched: Watched) -> None:
    known = watched.ask("GET", "/v1/profiles").get_json()["profiles"]
    assert watched.counted("weighworthy_profile_info") == {
        (one["digest"], one["id"], one["revision"]): 1 for one in known
    }
    assert watched.counted("weighworthy_reload_refused") == {(): 0}
    watched.app.config[NOT_RELOADED] = ["kestrel.toml:1: broken"]
    assert watched.counted("weighworthy_reload_refused") == {(): 1}


def test_heavy_requests_at_work(watched: Watched) -> None:
    first, second = (room_of(watched.app).enter() for _ in range(2))
    assert watched.counted("weighworthy_heavy_in_use") == {(): 2}
    first()
    first()
    assert watched.counted("weighworthy_heavy_in_use") == {(): 1}
    second()
    assert watched.counted("weighworthy_heavy_in_use") == {(): 0}


def test_a_log_that_takes_nothing_stops_no_answer(span: dict[str, Any]) -> None:
    """Whoever reads the lines may be gone before the service is."""
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "wb", buffering=0) as gone:
        log = request_log(gone)
        client = observe(create_app(), Metrics(), log).test_client()
        for _ in range(2):
            response = client.post(SPAN, json=span, buffered=True)
            response.close()
            assert response.status_code == 200
        with pytest.raises(BrokenPipeError):
            log("info", {})


def test_durations_have_a_route_and_nothing_else(watched: Watched, span: dict[str, Any]) -> None:
    for _ in range(3):
        watched.ask("POST", SPAN, json=span)
    assert watched.counted("weighworthy_request_seconds_count")[(SPAN,)] == 3
    assert 0 < watched.counted("weighworthy_request_seconds_sum")[(SPAN,)] < 60


def test_inside_a_program_nothing_is_observed(capfd: pytest.CaptureFixture[str]) -> None:
    client = create_app().test_client()
    assert client.get("/v1/info").status_code == 200
    assert client.get("/metrics").status_code == 404
    assert capfd.readouterr() == ("", "")
