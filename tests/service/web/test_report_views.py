"""Reports over HTTP: when a page is answered, in which language, and what is refused."""

import json
import re
from copy import deepcopy
from decimal import Decimal
from html import unescape
from typing import Any, Final

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.registry import BY_SLUG, KINDS
from weighworthy_service.web import report_answers

HTML: Final = "text/html"
SLUGS: Final = [kind.slug for kind in KINDS]
PROFILE: Final[dict[str, Any]] = {
    "id": "kmf-daily",
    "revision": "1",
    "rules": [
        {
            "checks": ["span"],
            "limits": {"span_error": {"within": "5 mg"}},
            "schedule": {"every": "24 h"},
            "response": [{"step": "repeat", "times": 1}, {"step": "out-of-service"}],
        }
    ],
}
# Errors as found in mg, one a day: they rise, and the last is beyond the limit.
ERRORS: Final = (0, 1, 0, 1, 1, 0, 1, 0, 1, 1, 0, 1, 2, 2, 3, 3, 4, 6)


def logbook() -> dict[str, Any]:
    def entry(day: int, milligrams: int) -> dict[str, Any]:
        at = f"2026-03-{day:02d}T07:00:00+01:00"
        request = {
            "check": "span",
            "instrument": {"id": "MA <7>", "scale_interval": "1 mg", "repeatability": "0.4 mg"},
            "weights": {"A50": {"nominal": "50 g", "weight_class": "OIML E2"}},
            "performed_at": at,
            "rounds": [
                {
                    "stage": "as-found",
                    "load": ["A50"],
                    "zero": "0 g",
                    "indication": f"50.00{milligrams} g",
                }
            ],
        }
        return {
            "id": f"c-{day}",
            "kind": "check",
            "at": at,
            "instrument": "MA <7>",
            "request": request,
        }

    entries = [entry(day, error) for day, error in enumerate(ERRORS, start=1)]
    return {"at": "2026-03-18T12:00:00+01:00", "profile": PROFILE, "entries": entries}


def page_of(reply: Any) -> str:
    assert reply.status_code == 200, reply.get_data(as_text=True)[:500]
    assert reply.content_type == "text/html; charset=utf-8"
    html: str = reply.get_data(as_text=True)
    return html


def words_of(html: str) -> str:
    body = re.sub("<style>.*?</style>", "", html, flags=re.DOTALL)
    return " ".join(unescape(re.sub("<[^>]*>", " ", body)).split())


@pytest.mark.parametrize(
    ("accept", "media_type"),
    [
        (None, "application/json"),
        ("*/*", "application/json"),
        ("text/html, application/json", "application/json"),
        ("application/json;q=0.8, text/html", HTML),
        ("text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", HTML),
        (HTML, HTML),
    ],
)
def test_a_page_comes_where_it_outranks_json(
    accept: str | None, media_type: str, client: FlaskClient, span: dict[str, Any]
) -> None:
    headers = {} if accept is None else {"Accept": accept}
    reply = client.post("/v1/checks/span", json=span, headers=headers)
    assert reply.status_code == 200
    assert reply.mimetype == media_type
    assert "Accept" in reply.headers["Vary"]


@pytest.mark.parametrize("slug", SLUGS)
def test_the_page_of_a_check_has_its_verdict_and_the_policy_of_its_style(
    slug: str, client: FlaskClient
) -> None:
    request = BY_SLUG[slug].example["request"]
    answer = client.post(f"/v1/checks/{slug}", json=request).get_json()
    reply = client.post(f"/v1/checks/{slug}?lang=de", json=request, headers={"Accept": HTML})
    html = page_of(reply)
    assert '<html lang="de">' in html
    assert answer["request_digest"] in html
    assert f'<section class="verdict {answer["verdict"]}">' in html
    assert reply.headers["Content-Security-Policy"].startswith("default-src 'none'; style-src 'sha")
    assert "X-Request-Id" in reply.headers


def test_faults_are_told_as_problems_also_where_a_page_is_asked_for(
    client: FlaskClient, span: dict[str, Any]
) -> None:
    reply = client.post("/v1/checks/span?lang=fr", json=span, headers={"Accept": HTML})
    assert reply.status_code == 422
    assert reply.content_type == "application/problem+json"
    assert [e["code"] for e in reply.get_json()["errors"]] == ["not-one-of"]
    span["rounds"][0]["indication"] = "20,0 g"
    reply = client.post("/v1/checks/span", json=span, headers={"Accept": HTML})
    assert reply.status_code == 422
    assert reply.content_type == "application/problem+json"


@pytest.mark.parametrize("lang", ["en", "de"])
def test_the_status_of_a_logbook_on_paper(lang: str, client: FlaskClient) -> None:
    book = logbook()
    answer = client.post("/v1/logbook/status", json=book).get_json()
    assert answer["instruments"][0]["state"] == "out-of-service"
    reply = client.post(f"/v1/logbook/status?lang={lang}", json=book, headers={"Accept": HTML})
    html = page_of(reply)
    text = words_of(html)
    assert "<script" not in html
    assert "MA <7>" in text
    assert {"en": "out of service", "de": "außer Betrieb"}[lang] in text
    step = {
        "en": "Repeat span with clean pan and clean weights (done 0 of 1 times on this step)",
        "de": "Spanne mit sauberer Schale und sauberen Gewichten wiederholen",
    }[lang]
    assert step in text
    assert answer["profile"]["digest"] in text
    for reason in answer["instruments"][0]["because"]:
        assert (reason["entry"] or reason["rule"]) in text


@pytest.mark.parametrize("lang", ["en", "de"])
def test_drift_on_paper(lang: str, client: FlaskClient) -> None:
    book = logbook()
    answer = client.post("/v1/logbook/drift", json=book).get_json()
    (series,) = answer["series"]
    assert series["slope"]["least_squares"]["differs_from_zero"]
    reply = client.post(f"/v1/logbook/drift?lang={lang}", json=book, headers={"Accept": HTML})
    html = page_of(reply)
    text = words_of(html)
    chart = {"en": "Control chart", "de": "Regelkarte"}[lang]
    assert f"<title>{chart}</title>" in html
    assert {"en": "drifts", "de": "driftet"}[lang] in text
    mark = "." if lang == "en" else ","
    tokens = {token.strip("\u2007\u2008,;:()") for token in text.split()}
    told = [point[key] for point in series["points"] for key in ("value", "expanded_uncertainty")]
    told += [series["chart"][key] for key in ("centre", "sigma", "upper", "lower")]
    told += [series["slope"]["least_squares"][key] for key in ("value", "low", "high")]
    for number in told:
        digits = f"{Decimal(str(number)):f}"
        digits = digits.rstrip("0").rstrip(".") if "." in digits else digits
        assert digits.replace("-", "−").replace(".", mark) in tokens
    # A ring for each point, and a square about each at which a test spoke.
    assert html.count("<circle cx=") - html.count('<circle cx="10"') == len(ERRORS)
    spoke = {signal["entry"] for signal in series["chart"]["signals"]}
    assert html.count('fill="none" stroke="#16202b" stroke-width="3.5"') == len(spoke)


def test_other_questions_of_the_logbook_have_no_page(client: FlaskClient) -> None:
    reply = client.post("/v1/logbook/support", json=logbook(), headers={"Accept": HTML})
    assert reply.status_code == 406
    reply = client.post("/v1/logbook/support?lang=de", json=logbook())
    assert reply.status_code == 422


def batch(client: FlaskClient, **headers: str) -> Any:
    good = BY_SLUG["simulated-loss"].example["request"]
    far = deepcopy(good)
    far |= {"labels": {"run": "R <17>"}, "check": "simulated-loss"}
    far["final"]["indication"] = "11.000 g"
    far.pop("displayed_loss", None)
    lines = [{**good, "check": "simulated-loss"}, far, {"check": "span"}, {"check": "nothing"}]
    body = "\n".join(json.dumps(line) for line in lines)
    path = "/v1/batches?lang=de" if headers else "/v1/batches"
    return client.post(path, data=body, content_type="application/x-ndjson", headers=headers)


def test_a_batch_on_paper(client: FlaskClient) -> None:
    answers = [json.loads(line) for line in batch(client).data.splitlines()]
    text = words_of(page_of(batch(client, Accept=HTML)))
    summary = answers[-1]["summary"]
    assert (summary["rows_in"], summary["rows_judged"], summary["rows_in_error"]) == (4, 2, 2)
    assert "gelesen 4 beurteilt 2 nicht beurteilt 2 übergangen 0" in text
    assert "run: R <17>" in text
    for line in answers[:-1]:
        for error in line.get("problem", {"errors": []})["errors"][:5]:
            assert error["detail"] in text


def test_a_kept_answer_is_drawn_with_its_request_or_without(client: FlaskClient) -> None:
    for slug in SLUGS:
        example = BY_SLUG[slug].example
        both = {"answer": example["answer"], "request": example["request"]}
        assert "taken at its word" in page_of(client.post("/v1/reports", json=both))
        alone = page_of(client.post("/v1/reports?lang=de", json={"answer": example["answer"]}))
        assert "beim Wort genommen" in alone


def test_kept_answers_of_logbook_and_batch_are_drawn(client: FlaskClient) -> None:
    for name in ("status", "drift"):
        answer = client.post(f"/v1/logbook/{name}", json=logbook()).get_json()
        html = page_of(client.post("/v1/reports", json={"answer": answer}))
        assert "taken at its word" in html
        fresh = client.post(f"/v1/logbook/{name}", json=logbook(), headers={"Accept": HTML})
        assert "taken at its word" not in page_of(fresh)
    *lines, last = [json.loads(line) for line in batch(client).data.splitlines()]
    asked = {"answer": last, "lines": lines, "more_refused": 7, "more_unusable": 8}
    text = words_of(page_of(client.post("/v1/reports", json=asked)))
    assert "R <17>" in text
    assert "and 7 more" in text
    assert "and 8 more" in text


def test_the_request_must_be_the_one_that_was_answered(client: FlaskClient) -> None:
    example = deepcopy(BY_SLUG["span"].example)
    example["request"]["performed_by"] = "somebody else"
    reply = client.post("/v1/reports", json={k: example[k] for k in ("answer", "request")})
    assert reply.status_code == 422
    (error,) = reply.get_json()["errors"]
    assert (error["pointer"], error["code"]) == ("/request", "other-request")
    # Labels and the order of members are not part of it.
    example = deepcopy(BY_SLUG["span"].example)
    request = dict(reversed(example["request"].items()))
    both = {"answer": example["answer"], "request": {**request, "labels": {"a": "b"}}}
    assert client.post("/v1/reports", json=both).status_code == 200


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/answer"),
        ({"answer": []}, "/answer"),
        ({"answer": {}}, "/answer"),
        ({"answer": {"summary": 1}}, "/answer"),
        ({"answer": {"criteria": []}}, "/answer/check"),
        ({"answer": {"series": []}}, "/answer/at"),
        ({"answer": {"instruments": []}, "answers": 1}, "/answers"),
    ],
)
def test_what_is_no_answer_is_refused(body: Any, pointer: str, client: FlaskClient) -> None:
    reply = client.post("/v1/reports", json=body)
    assert reply.status_code == 422
    assert pointer in [error["pointer"] for error in reply.get_json()["errors"]]


def test_what_nobody_would_read_on_paper_is_refused(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(report_answers, "MOST_POINTS", len(ERRORS) - 1)
    answer = client.post("/v1/logbook/drift", json=logbook()).get_json()
    kept = client.post("/v1/reports", json={"answer": answer})
    asked = client.post("/v1/logbook/drift", json=logbook(), headers={"Accept": HTML})
    for reply, pointer in ((kept, "/answer"), (asked, "/only_instruments")):
        assert reply.status_code == 422
        (error,) = reply.get_json()["errors"]
        assert (error["pointer"], error["code"]) == (pointer, "too-many")
    monkeypatch.setattr(report_answers, "MOST_POINTS", len(ERRORS))
    assert client.post("/v1/reports", json={"answer": answer}).status_code == 200


def test_reports_are_pages_and_nothing_else(client: FlaskClient) -> None:
    body = {"answer": BY_SLUG["span"].example["answer"]}
    reply = client.post("/v1/reports", json=body, headers={"Accept": "application/json"})
    assert reply.status_code == 406


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    below = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    return [path, *(place for key, one in below for place in places(one, (*path, key)))]


ODD: Final = st.sampled_from(
    [None, True, 0, -1, 1e308, -1e-308, 10**30, "", "x", "<b>", "2026", [], {}, [None], [[]]]
)
WHOLE: Final = [{"answer": k.example["answer"], "request": k.example["request"]} for k in KINDS]


@given(st.data())
@settings(
    max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
def test_whatever_an_answer_holds_it_is_drawn_or_refused(
    client: FlaskClient, data: st.DataObject
) -> None:
    body = deepcopy(data.draw(st.sampled_from(WHOLE)))
    if data.draw(st.booleans()):
        del body["request"]
    *way, last = data.draw(st.sampled_from(places(body["answer"])[1:]))
    at = body["answer"]
    for key in way:
        at = at[key]
    at[last] = data.draw(ODD)
    reply = client.post("/v1/reports", json=body)
    assert reply.status_code in (200, 422), reply.get_data(as_text=True)
