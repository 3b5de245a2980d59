"""The logbook at its addresses: what is sent how, what is refused, and that forms agree."""

import io
import json
from copy import deepcopy
from pathlib import Path
from typing import Any, Final

import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.web.app import create_app
from weighworthy_service.web.document import document
from weighworthy_service.web.patience import LATE

STATUS: Final = "/v1/logbook/status"
NDJSON: Final = "application/x-ndjson"
PROFILE: Final[dict[str, Any]] = {
    "id": "kmf-daily",
    "revision": "1",
    "rules": [
        {
            "checks": ["span"],
            "limits": {"span_error": {"within": "4 d"}},
            "schedule": {"every": "day", "at": "first-use", "grace": "2 h", "after": ["moved"]},
            "response": [{"step": "repeat", "times": 1}, {"step": "out-of-service"}],
        }
    ],
}
HEAD: Final[dict[str, Any]] = {
    "at": "2026-03-17T12:00:00+01:00",
    "profile": PROFILE,
    "instruments": [{"id": "MA-07", "site": "harbour"}, {"id": "MA-08"}],
    "calendar": {
        "time_zone": "Europe/Berlin",
        "shifts": [{"days": ["mon", "tue", "wed", "thu", "fri"], "from": "06:00", "to": "22:00"}],
    },
}
PASSED: Final = {"check": "span", "verdict": "pass", "verdict_as_found": "pass", "usable": True}
FAILED: Final = {"check": "span", "verdict": "fail", "verdict_as_found": "fail", "usable": False}


def check(id_: str, at: str, answer: dict[str, Any], instrument: str = "MA-07") -> dict[str, Any]:
    return {"id": id_, "kind": "check", "at": at, "instrument": instrument, "answer": answer}


MORNING: Final = check("c-1", "2026-03-17T06:10:00+01:00", PASSED)
ENTRIES: Final = [
    MORNING,
    check("c-2", "2026-03-17T06:15:00+01:00", FAILED, "MA-08"),
    check("c-3", "2026-03-17T06:20:00+01:00", FAILED, "MA-08"),
]


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


def asked(client: FlaskClient, entries: Any, **more: Any) -> Any:
    return client.post(STATUS, json={**HEAD, **more, "entries": entries})


def lines(head: dict[str, Any], entries: Any) -> bytes:
    return b"".join(json.dumps(one).encode() + b"\n" for one in [head, *entries])


def faults(reply: Any) -> list[tuple[str, str]]:
    assert reply.status_code == 422, reply.get_data(as_text=True)
    return [(error["pointer"], error["code"]) for error in reply.get_json()["errors"]]


def test_the_state_of_a_site(client: FlaskClient) -> None:
    answer = asked(client, ENTRIES).get_json()
    assert answer["summary"] == {
        "instruments": 2,
        "in_service": 1,
        "check_needed": 0,
        "out_of_service": 1,
        "sentence": "1 of 2 may be used; 1 out-of-service",
    }
    seven, eight = answer["instruments"]
    # Tuesday's check is in force until Wednesday's shift has begun and two hours have passed.
    assert (seven["state"], seven["usable"]) == ("in-service", True)
    assert seven["until"] == "2026-03-18T08:00:00+01:00"
    assert seven["site"] == "harbour"
    # Failed at 06:15; the one repeat that the ladder has was used at 06:20.
    assert (eight["state"], eight["since"]) == ("out-of-service", "2026-03-17T06:15:00+01:00")
    assert eight["next_step"]["step"] == "out-of-service"
    assert {one["entry"] for one in eight["because"]} >= {"c-2", "c-3"}


def test_answers_have_the_form_that_is_documented(client: FlaskClient) -> None:
    schema = {"$ref": "#/components/schemas/StatusAnswer", "components": document()["components"]}
    Draft202012Validator(schema).validate(asked(client, ENTRIES).get_json())


@pytest.mark.parametrize(
    ("at", "read", "later"),
    [
        ("9999-12-31T23:30:00Z", 2, 0),
        ("9999-12-31T23:30:00-05:00", 2, 0),
        ("0001-01-01T00:30:00Z", 0, 2),
        ("0001-01-01T00:30:00+14:00", 0, 2),
    ],
)
@pytest.mark.parametrize("name", ["status", "drift", "intervals", "signals", "support"])
def test_the_ends_of_the_calendar_may_be_asked_about(
    client: FlaskClient, name: str, at: str, read: int, later: int
) -> None:
    """In the offset of an entry there may be no such moment."""
    entries = [
        check("c-1", "2026-03-17T06:10:00+01:00", PASSED),
        check("c-2", "2026-03-17T06:15:00-05:00", PASSED, "MA-08"),
    ]
    head = {**HEAD, "at": at, **({"results": []} if name == "support" else {})}
    reply = client.post(f"/v1/logbook/{name}", json={**head, "entries": entries})
    assert reply.status_code == 200
    counts = reply.get_json()["entries"]
    assert (counts["used"], counts["later"]) == (read, later)


def test_lines_are_answered_like_the_document_in_whatever_order(client: FlaskClient) -> None:
    whole = asked(client, ENTRIES).data
    for body in (
        lines(HEAD, ENTRIES),
        lines(HEAD, ENTRIES[::-1]),
        lines({**HEAD, "sorted": True}, ENTRIES),
    ):
        assert client.post(STATUS, data=body, content_type=NDJSON).data == whole


def test_what_was_sent_is_accounted_for(client: FlaskClient) -> None:
    later = check("c-9", "2026-03-17T12:00:01+01:00", FAILED)
    answer = asked(client, [*ENTRIES, MORNING, later]).get_json()
    assert answer["entries"] == {
        "sent": 5,
        "used": 3,
        "later": 1,
        "of_others": 0,
        "judged_anew": 0,
        "trusted": 5,
        "profiles": [],
    }
    assert answer["instruments"][0]["state"] == "in-service"


def test_checks_are_judged_anew_by_the_profile_of_the_logbook(client: FlaskClient) -> None:
    request = deepcopy(BY_SLUG["span"].example["request"])  # errors of 3, 2 and 3 mg, d = 1 mg
    entry = {"id": "c-1", "kind": "check", "request": {**request, "check": "span"}}
    head = {**HEAD, "at": "2026-03-16T12:00:00+01:00", "instruments": [{"id": "MA-07"}]}
    strict = deepcopy(PROFILE)
    strict["rules"][0]["limits"]["span_error"]["within"] = "2 mg"
    for profile, state in ((PROFILE, "in-service"), (strict, "out-of-service")):
        body = {**head, "profile": profile, "entries": [entry]}
        answer = client.post(STATUS, json=body).get_json()
        assert [one["state"] for one in answer["instruments"]] == [state]
        assert answer["entries"]["judged_anew"] == 1


def test_a_check_that_another_profile_let_pass_is_told(client: FlaskClient) -> None:
    """It may have wider limits; the next revision of the same one is no news."""
    lax = {"id": "lax", "revision": "9"}
    for profile, codes in ((lax, ["judged-by-another-profile"]), ({**lax, "id": "kmf-daily"}, [])):
        answered = check("c-1", "2026-03-17T06:10:00+01:00", {**PASSED, "profile": profile})
        answer = asked(client, [answered]).get_json()
        assert answer["entries"]["profiles"] == [{"profile": f"{profile['id']}@9", "checks": 1}]
        found = [f["code"] for f in answer["instruments"][0]["findings"]]
        assert found == codes
        body = {
            **HEAD,
            "entries": [answered],
            "results": [result("r", "2026-03-17T10:00:00+01:00")],
        }
        (told,) = client.post(SUPPORT, json=body).get_json()["results"]
        assert [f["code"] for f in told["findings"] if f["code"] in codes] == codes


def test_instruments_that_are_not_listed_are_those_of_the_entries(client: FlaskClient) -> None:
    answer = asked(client, ENTRIES, instruments=None).get_json()
    assert [one["instrument"] for one in answer["instruments"]] == ["MA-07", "MA-08"]


def test_one_instrument_of_a_whole_log(client: FlaskClient) -> None:
    answer = asked(client, ENTRIES, only_instruments=["MA-07"]).get_json()
    whole = asked(client, ENTRIES).get_json()
    assert answer["instruments"] == whole["instruments"][:1]
    assert (answer["entries"]["used"], answer["entries"]["of_others"]) == (1, 2)
    reply = asked(client, ENTRIES, only_instruments=["MA-07", "MA-7"])
    assert faults(reply) == [("/only_instruments/1", "instrument-not-listed")]


def test_faults_of_entries_are_told_together(client: FlaskClient) -> None:
    reply = asked(
        client,
        [
            MORNING,
            {"id": "x", "kind": "mov", "at": "2026-03-17T06:10:00+01:00", "instrument": "MA-07"},
            check("y", "2026-03-17T06:10:00", PASSED),
            check("z", "2026-03-17T06:10:00+01:00", PASSED, "MA-99"),
        ],
    )
    assert faults(reply) == [
        ("/entries/1/kind", "not-one-of"),
        ("/entries/2/at", "offset-missing"),
        ("/entries/3/instrument", "instrument-not-listed"),
    ]


def test_a_fault_in_a_line_names_the_line(client: FlaskClient) -> None:
    body = lines(HEAD, [MORNING, {"id": "x"}])
    reply = client.post(STATUS, data=body, content_type=NDJSON)
    assert faults(reply) == [("/entries/1/kind", "required")]
    assert reply.get_json()["errors"][0]["detail"].startswith("line 3: ")
    broken = client.post(STATUS, data=body + b"{", content_type=NDJSON)
    assert (broken.status_code, broken.get_json()["detail"][:7]) == (400, "line 4:")


def test_as_many_results_as_are_promised_come_with_lines(client: FlaskClient) -> None:
    """The first line holds them all, and so is longer than a line of entries may be."""
    results = [
        {"id": f"R-2026-{i:05}", "instrument": "MA-07", "at": "2026-03-17T08:00:00+01:00"}
        | {"loss": "10.01 %", "initial_mass": "5 g", "upper_limit": "10.02 %"}
        for i in range(20_000)
    ]
    body = lines({**HEAD, "results": results}, [MORNING])
    assert 2**20 < len(body) < 8 * 2**20
    reply = client.post(SUPPORT, data=body, content_type=NDJSON)
    assert reply.status_code == 200
    assert reply.get_json()["summary"]["results"] == 20_000
    reply = client.post(SUPPORT, data=b" " * (8 * 2**20) + body, content_type=NDJSON)
    assert (reply.status_code, reply.get_json()["detail"]) == (
        413,
        "line 1 is longer than 8388608 bytes",
    )


def test_one_id_for_two_things_is_refused(client: FlaskClient) -> None:
    other = check("c-1", "2026-03-17T07:10:00+01:00", PASSED)
    assert faults(asked(client, [MORNING, other])) == [("/entries/1/id", "repeated-id")]


def test_a_promise_of_order_that_is_not_kept_is_refused(client: FlaskClient) -> None:
    body = lines({**HEAD, "sorted": True}, ENTRIES[::-1])
    reply = client.post(STATUS, data=body, content_type=NDJSON)
    assert faults(reply) == [("/entries/1/at", "not-in-order")]


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({"calendar": None}, ("/calendar", "required")),
        ({"calendar": {"time_zone": "Europe/Berlim"}}, ("/calendar/time_zone", "not-one-of")),
        ({"at": None}, ("/at", "required")),
        ({"instruments": [{"id": "a"}, {"id": "a"}]}, ("/instruments/1/id", "twice")),
        ({"instruments": [{}]}, ("/instruments/0/id", "required")),
        ({"profile": "unheard-of"}, ("/profile", "unknown-profile")),
        ({"entires": []}, ("/entires", "unknown-field")),
    ],
)
def test_what_a_logbook_needs(
    client: FlaskClient, more: dict[str, Any], fault: tuple[str, str]
) -> None:
    assert fault in faults(asked(client, [], **more))


def test_a_body_that_is_no_logbook(client: FlaskClient) -> None:
    assert client.post(STATUS, json=[]).status_code == 422
    assert faults(client.post(STATUS, json={**HEAD, "entries": {}})) == [("/entries", "wrong-type")]
    twice = lines({**HEAD, "entries": []}, [])
    assert faults(client.post(STATUS, data=twice, content_type=NDJSON)) == [
        ("/entries", "contradiction")
    ]
    assert client.post(STATUS, data=b"\n", content_type=NDJSON).status_code == 400
    assert client.post(STATUS, data=b"x", content_type="text/csv").status_code == 415


SUPPORT: Final = "/v1/logbook/support"
DAYS_LOG: Final = [
    check("d-1", "2026-03-16T06:10:00+01:00", PASSED),
    check("d-2", "2026-03-17T06:10:00+01:00", FAILED),
]


def result(id_: str, at: str, **more: Any) -> dict[str, Any]:
    return {"id": id_, "instrument": "MA-07", "at": at, "loss": "4.69 %", **more}


def test_support_of_results(client: FlaskClient) -> None:
    results = [
        result("r-1", "2026-03-16T06:00:00+01:00"),
        result("r-2", "2026-03-16T10:00:00+01:00", initial_mass="10 g"),
        result("r-3", "2026-03-17T10:00:00+01:00"),
        result("r-4", "2026-03-17T13:00:00+01:00"),
    ]
    body = {**HEAD, "entries": DAYS_LOG, "results": results}
    answer = client.post(SUPPORT, json=body).get_json()
    states = {one["result"]: (one["state"], one["needs"]) for one in answer["results"]}
    assert states == {
        "r-1": ("unsupported", "assessment"),  # no check had passed yet
        "r-2": ("in-doubt", "assessment"),  # the next morning's check failed
        "r-3": ("unsupported", "assessment"),  # measured after that failure
    }
    summary = answer["summary"]
    assert (summary["results"], summary["left_out"]) == (3, 1)
    assert summary["states"]["in_doubt"] == 1
    schema = {"$ref": "#/components/schemas/SupportAnswer", "components": document()["components"]}
    Draft202012Validator(schema).validate(answer)


def test_assessments_that_close_nothing_are_told_and_why(client: FlaskClient) -> None:
    def assessed(id_: str, at: str, *results: str, **more: Any) -> dict[str, Any]:
        said = {"results": results, "cause": "x", "outcome": "stands", "reason": "y"}
        entry = {"id": id_, "kind": "assessment", "at": at, "instrument": "MA-07", "by": "Q. Ward"}
        return {**entry, "assessment": said, **more}

    def told(*entries: dict[str, Any]) -> list[tuple[str, str]]:
        results = [result("r-2", "2026-03-16T10:00:00+01:00")]
        body = {**HEAD, "entries": [*DAYS_LOG, *entries], "results": results}
        found = client.post(SUPPORT, json=body).get_json()["findings"]
        assert all("assessment a-1 " in one["message"] for one in found)
        return [(one["code"], one["message"].rpartition(": ")[2]) for one in found]

    # The check that failed is of 06:10 on the 17th.
    early, late = "2026-03-17T06:09:00+01:00", "2026-03-17T11:00:00+01:00"
    assert told(assessed("a-1", late, "r-2")) == []
    assert told(assessed("a-1", early, "r-2")) == [("assessed-too-early", "r-2")]
    assert told(assessed("a-1", early, "r-2"), assessed("a-2", late, "r-2")) == []
    other = assessed("a-1", late, "r-2", instrument="MA-08")
    assert told(other) == [("assessed-on-other-instrument", "r-2")]
    names = [f"x-{i}" for i in range(5)]
    assert told(assessed("a-1", late, "r-2", *names)) == [
        ("assessed-not-sent", "x-0, x-1, x-2 and 2 more")
    ]


def test_what_an_assessment_has_to_say_is_what_its_form_requires(client: FlaskClient) -> None:
    body = {**HEAD, "entries": DAYS_LOG, "results": [result("r-2", "2026-03-16T10:00:00+01:00")]}
    parts = client.post(SUPPORT, json=body).get_json()["assessment_states"]
    entry: dict[str, Any] = {
        "id": "a-1",
        "kind": "assessment",
        "at": "2026-03-17T11:00:00+01:00",
        "instrument": "MA-07",
        "by": "Q. Ward",
        "assessment": {"results": ["r-2"], "cause": "x", "outcome": "stands", "reason": "y"},
    }
    whole = {**body, "entries": [*DAYS_LOG, entry]}
    (told,) = client.post(SUPPORT, json=whole).get_json()["results"]
    assert (told["state"], told["needs"]) == ("in-doubt", "nothing")
    assert told["assessed"]["by"] == "Q. Ward"
    for part in parts:
        less = deepcopy(entry)
        inside = less
        *path, leaf = part["field"].split(".")
        for name in path:
            inside = inside[name]
        del inside[leaf]
        reply = client.post(SUPPORT, json={**body, "entries": [*DAYS_LOG, less]})
        assert faults(reply) == [(f"/entries/2/{part['field'].replace('.', '/')}", "required")]


@pytest.mark.parametrize(
    ("results", "fault"),
    [
        ([result("r", "2026-03-16T10:00:00+01:00")] * 2, ("/results/1/id", "twice")),
        ([result("r", "2026-03-16T10:00:00")], ("/results/0/at", "offset-missing")),
        (
            [result("r", "2026-03-16T10:00:00Z", lower_limit="5 %", upper_limit="4 %")],
            ("/results/0/lower_limit", "contradiction"),
        ),
        (
            [{**result("r", "2026-03-16T10:00:00Z"), "instrument": "MA-99"}],
            ("/results/0/instrument", "instrument-not-listed"),
        ),
    ],
)
def test_results_that_cannot_be(
    client: FlaskClient, results: list[Any], fault: tuple[str, str]
) -> None:
    reply = client.post(SUPPORT, json={**HEAD, "entries": [], "results": results})
    assert fault in faults(reply)


DRIFT: Final = "/v1/logbook/drift"


def morning(day: int, error: str) -> dict[str, Any]:
    """A span check as found, of a trusted answer; the error in g."""
    criterion = {
        "key": "span_error[0]",
        "name": "span_error",
        "stage": "as-found",
        "index": 0,
        "load": 20,
        "value": float(error),
        "unit": "g",
        "lower_limit": -0.004,
        "upper_limit": 0.004,
        "expanded_uncertainty": 0.001,
        "verdict": "pass",
    }
    results = {"rounds": [{"index": 0, "stage": "as-found", "load": 20, "error": float(error)}]}
    answer = {**PASSED, "criteria": [criterion], "results": results}
    return check(f"m-{day}", f"2026-03-{day:02}T06:10:00+01:00", answer)


def test_drift_of_a_balance(client: FlaskClient) -> None:
    # 0.1 mg a day from 0.2 mg on: 4 mg are reached 38 days after the first.
    entries = [morning(day, f"0.000{day + 1}") for day in range(1, 9)]
    body = {**HEAD, "entries": entries, "run_rules": [1, 2, 3, 3]}
    answer = client.post(DRIFT, json=body).get_json()
    (series,) = answer["series"]
    rate = series["slope"]["least_squares"]
    assert rate["value"] == pytest.approx(0.0001, rel=1e-9)
    assert series["slope"]["pairs"]["value"] == pytest.approx(0.0001, rel=1e-9)
    assert series["outlook"]["upper"]["estimate"].startswith("2026-04-08T")
    assert series["chart"] is None
    assert "no-control-limits" in [f["code"] for f in series["findings"]]
    assert answer["summary"]["drifting"] == 1
    schema = {"$ref": "#/components/schemas/DriftAnswer", "components": document()["components"]}
    Draft202012Validator(schema).validate(answer)


def test_a_chart_has_the_tests_that_were_asked_for(client: FlaskClient) -> None:
    noise = [3, 1, 2, 2, 4, 1, 3, 2, 1, 3, 2, 4]
    entries = [morning(day + 1, f"0.000{value}") for day, value in enumerate(noise)]
    body = {**HEAD, "entries": entries, "run_rules": [5], "baseline": 12}
    (series,) = client.post(DRIFT, json=body).get_json()["series"]
    # 2.8/12 tenths of a mg; moving ranges 2 1 0 2 3 2 1 1 2 1 2 sum to 17, over 11, over 1.128379.
    assert series["chart"]["centre"] == pytest.approx(28e-4 / 12, rel=1e-9)
    assert series["chart"]["sigma"] == pytest.approx(17e-4 / 11 / 1.1283791670955126, rel=1e-9)
    assert len([t for t in series["chart"]["tests"] if t["test"].endswith("5")]) == 1


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({"run_rules": [9]}, ("/run_rules/0", "out-of-range")),
        ({"baseline": 11}, ("/baseline", "out-of-range")),
        ({"rules": [1]}, ("/rules", "unknown-field")),
    ],
)
def test_how_drift_is_not_looked_at(
    client: FlaskClient, more: dict[str, Any], fault: tuple[str, str]
) -> None:
    assert fault in faults(client.post(DRIFT, json={**HEAD, **more, "entries": []}))


INTERVALS: Final = "/v1/logbook/intervals"


def test_advice_on_an_interval(client: FlaskClient) -> None:
    # Ten checks a day apart, all passed: nine intervals without a failure. At 95 % confidence the
    # rate is below -ln(0.05)/9 a day, so 95 % are kept for at least -ln(0.95)·9/-ln(0.05) days,
    # 0.051293294·9/2.995732274 = 0.15409910 days = 3.6983784 h: too short to tell.
    entries = [morning(day, "0.0001") for day in range(1, 11)]
    answer = client.post(INTERVALS, json={**HEAD, "entries": entries}).get_json()
    (seven, eight) = answer["intervals"]
    assert (seven["advice"], seven["trials"], seven["failures"]) == ("cannot-tell", 9, 0)
    assert (seven["current"], seven["proposed"]) == (24, None)
    assert seven["keeps"]["low"] == pytest.approx(3.6983784, rel=1e-7)
    assert seven["keeps"]["high"] is None
    assert (eight["instruments"], eight["trials"]) == (["MA-08"], 0)
    schema = {
        "$ref": "#/components/schemas/IntervalsAnswer",
        "components": document()["components"],
    }
    Draft202012Validator(schema).validate(answer)
    looser = {**HEAD, "entries": entries, "reliability": "50 %"}
    (seven, _) = client.post(INTERVALS, json=looser).get_json()["intervals"]
    # -ln(0.5)·9/2.99573227 = 2.0824015 days: two days would do, and that is a doubling.
    assert (seven["advice"], seven["proposed"]) == ("longer", 48)
    assert ("/reliability", "out-of-range") in faults(
        client.post(INTERVALS, json={**looser, "reliability": "99.9 %"})
    )


SIGNALS: Final = "/v1/logbook/signals"
VOID: Final = {"check": "span", "verdict": "void", "verdict_as_found": "void", "usable": False}


def test_signals_of_a_site(client: FlaskClient) -> None:
    # Of ten first checks by each person, five of one and none of the other void: the chance of at
    # least so many is C(10,5)/C(20,5) = 252/15504 (hypergeometric).
    entries = [{**morning(day, "0.0001"), "by": "A. Brook"} for day in range(1, 11)] + [
        {
            **check(
                f"v-{day}", f"2026-03-{day:02}T06:20:00+01:00", VOID if day % 2 else PASSED, "MA-08"
            ),
            "by": "B. Ash",
        }
        for day in range(1, 11)
    ]
    answer = client.post(SIGNALS, json={**HEAD, "entries": entries}).get_json()
    (of_ash,) = [one for one in answer["void_shares"] if one["group"] == "B. Ash"]
    assert (of_ash["void"], of_ash["checks"], of_ash["void_others"]) == (5, 10, 0)
    assert of_ash["chance"] == pytest.approx(252 / 15504, rel=1e-9)
    assert of_ash["adjusted"] > of_ash["chance"]
    schema = {"$ref": "#/components/schemas/SignalsAnswer", "components": document()["components"]}
    Draft202012Validator(schema).validate(answer)


def test_weights_near_their_due_date(client: FlaskClient) -> None:
    request = {**deepcopy(BY_SLUG["span"].example["request"]), "check": "span"}
    request["weights"]["KM-20"]["due_on"] = "2026-04-16"  # 30 days after the moment asked about
    entry = {"id": "c-1", "kind": "check", "request": request}
    body = {**HEAD, "entries": [entry], "at": "2026-03-17T12:00:00+01:00"}
    (due,) = client.post(SIGNALS, json=body).get_json()["due_weights"]
    assert (due["weight"], due["days_left"], due["state"]) == ("KM-20", 30, "due-soon")
    less = client.post(SIGNALS, json={**body, "due_within": 29}).get_json()
    assert less["due_weights"] == []
    assert less["summary"]["sentence"] == "0 signals among 1 instrument"


MAPPING: Final = b"""
id = "span-export"
check = "span"
time_zone = "Europe/Berlin"
[table]
decimal = ","
[gather]
by = ["Check"]
complete = 2
[columns]
instrument = "Balance"
performed_at = { column = "When", format = "%d.%m.%Y %H:%M" }
"rounds.stage" = "Stage"
"rounds.load" = { column = "Load", values = { "20" = ["A20"] } }
"rounds.zero" = "Zero [g]"
"rounds.indication" = "Reading [g]"
[constants]
weights.A20 = { nominal = "20 g", weight_class = "OIML F1", due_on = 2027-01-01 }
[instruments.MA-07]
scale_interval = "1 mg"
[instruments.MA-08]
scale_interval = "1 mg"
"""
ROWS: Final = """\
Check;Balance;When;Stage;Load;Zero [g];Reading [g]
1;MA-07;17.03.2026 06:10;as-found;20;0,000;20,001
2;MA-08;17.03.2026 06:15;as-found;20;0,000;20,009
1;MA-07;17.03.2026 06:10;as-found;20;0,000;20,002
2;MA-08;17.03.2026 06:15;as-found;20;0,000;20,009
"""


def with_table(  # noqa: PLR0917
    client: FlaskClient,
    rows: str | bytes,
    head: Any = HEAD,
    mapping: bytes | None = MAPPING,
    query: str = "",
    type_: str | None = None,
) -> Any:
    table = io.BytesIO(rows if isinstance(rows, bytes) else rows.encode())
    parts: dict[str, Any] = {
        "logbook": (io.BytesIO(json.dumps(head).encode()), "logbook.json"),
        "table": (table, "export.csv", type_) if type_ else (table, "export.csv"),
    }
    if mapping is not None:
        parts["mapping"] = (io.BytesIO(mapping), "m.toml")
    return client.post(STATUS + query, data=parts)


def test_the_checks_of_a_logbook_may_be_rows_of_a_table(client: FlaskClient) -> None:
    answer = with_table(client, ROWS).get_json()
    seven, eight = answer["instruments"]
    # Errors of 1 and 2 mg, and of 9 mg, against 4 d = 4 mg.
    assert (seven["state"], eight["state"]) == ("in-service", "out-of-service")
    assert (answer["entries"]["used"], answer["entries"]["judged_anew"]) == (2, 2)
    assert eight["because"][0]["entry"] == "row 3"
    moved = {"id": "m", "kind": "move", "at": "2026-03-17T09:00:00+01:00", "instrument": "MA-07"}
    answer = with_table(client, ROWS, {**HEAD, "entries": [moved]}).get_json()
    assert answer["instruments"][0]["checks"][0]["state"] == "asked"


def test_an_editor_s_mark_before_a_mapping_is_passed_over(client: FlaskClient) -> None:
    marked = with_table(client, ROWS, mapping=b"\xef\xbb\xbf" + MAPPING)
    assert marked.data == with_table(client, ROWS).data


def test_a_row_that_is_no_check_keeps_the_whole_log_from_an_answer(client: FlaskClient) -> None:
    reply = with_table(client, ROWS.replace("20,002", "OVERLOAD"))
    assert faults(reply) == [("", "group-incomplete"), ("/rounds/1/indication", "overload")]
    rows = [error["detail"].partition(":")[0] for error in reply.get_json()["errors"]]
    assert rows == ["row 2", "row 4"]
    reply = with_table(client, ROWS.replace("MA-08", "MA-09"))
    assert reply.status_code == 422


def test_a_table_needs_its_logbook_and_its_mapping(client: FlaskClient) -> None:
    table = (io.BytesIO(ROWS.encode()), "export.csv")
    reply = client.post(STATUS, data={"table": table})
    said = [error["detail"] for error in reply.get_json()["errors"]]
    assert said == ["the part 'logbook' is needed beside a table"]
    assert faults(with_table(client, ROWS, mapping=None)) == [("", "required")]
    assert with_table(client, ROWS, mapping=b"id = 3").get_json()["type"].endswith("not-usable")
    reply = with_table(client, ROWS.replace("Balance", "Scale"))
    assert reply.get_json()["type"] == "/problems/mapping-not-usable"


def test_the_mapping_of_a_table_may_be_named(tmp_path: Path) -> None:
    (tmp_path / "span.toml").write_bytes(MAPPING)
    client = create_app(mappings=tmp_path).test_client()
    named = with_table(client, ROWS, mapping=None, query="?mapping=span-export")
    assert named.status_code == 200
    assert named.data == with_table(client, ROWS).data
    for query, mapping, slug, code in (
        ("?mapping=span-export", MAPPING, "invalid", "contradiction"),
        ("?mapping=span-exprot", None, "mapping-not-usable", "unknown-mapping"),
        ("?mapping=span-export&mapping=span-export", None, "invalid", "too-many"),
        ("?mapping=span-export&profile=x", None, "invalid", "unknown-parameter"),
    ):
        reply = with_table(client, ROWS, mapping=mapping, query=query)
        assert faults(reply) == [("", code)]
        assert reply.get_json()["type"] == f"/problems/{slug}"
    without_table = client.post(f"{STATUS}?mapping=span-export", json=HEAD)
    assert faults(without_table) == [("", "unknown-parameter")]


@pytest.mark.parametrize("begin", [b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"])
def test_a_workbook_is_told_as_one(client: FlaskClient, begin: bytes) -> None:
    reply = with_table(client, begin + b"\x00" * 500)
    assert faults(reply) == [("", "workbook")]
    assert reply.get_json()["type"] == "/problems/table-not-usable"


def test_only_tables_stand_beside_a_logbook(client: FlaskClient) -> None:
    """Lines of check requests are entries, which have a form of their own."""
    for type_ in (NDJSON, "application/pdf", "text/csv; charset=cp1252"):
        reply = with_table(client, ROWS, type_=type_)
        assert reply.status_code == 415
    assert NDJSON not in with_table(client, ROWS, type_="application/pdf").get_json()["detail"]
    assert with_table(client, ROWS, type_="text/csv; charset=UTF-8").status_code == 200


def test_an_answer_about_a_table_tells_how_it_was_read(client: FlaskClient) -> None:
    reply = with_table(client, ROWS)
    assert reply.headers["Weighworthy-Read-As"] == (
        'encoding="utf-8", delimiter=";", decimal=",";stated, header_row=1'
    )
    odd = with_table(
        client,
        ROWS.replace("Check;", "Prüfung;").encode("cp1252"),
        mapping=MAPPING.replace(b'"Check"', '"Prüfung"'.encode()),
    )
    assert odd.headers["Weighworthy-Read-As"].startswith('encoding="cp1252";assumed')
    assert "Weighworthy-Read-As" not in asked(client, ENTRIES).headers


class Cut:
    """A connection that was cut because its body did not come in time."""

    def shutdown(self, _: int) -> None:
        raise AssertionError("it was cut before")


@pytest.mark.parametrize(
    ("address", "type_"),
    [
        (STATUS, NDJSON),
        (STATUS, "multipart/form-data; boundary=x"),
        ("/v1/batches", NDJSON),
        ("/v1/batches", "multipart/form-data; boundary=x"),
    ],
)
def test_a_body_that_does_not_come_in_time_is_told_so(
    client: FlaskClient, address: str, type_: str
) -> None:
    socket = Cut()
    LATE.add(socket)
    reply = client.post(
        address,
        input_stream=io.BytesIO(b"half"),
        content_type=type_,
        environ_overrides={"gunicorn.socket": socket, "CONTENT_LENGTH": "100"},
    )
    assert (reply.status_code, reply.get_json()["type"]) == (408, "/problems/too-slow")
    assert reply.get_json()["detail"] == "the body was not there within 900 s"
