"""Nothing that was released is taken away, and the check that says so sees each kind of loss."""

import importlib.util
import json
import sys
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]


def loaded() -> Any:
    spec = importlib.util.spec_from_file_location("breaking", ROOT / ".ci" / "breaking.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    # Its dataclass looks itself up there.
    sys.modules["breaking"] = module
    spec.loader.exec_module(module)
    return module


breaking = loaded()
SPAN = "/v1/checks/span"
CARD = "/v1/profiles/card"


def test_what_was_released_is_all_there(document: dict[str, Any]) -> None:
    released = json.loads(breaking.last_released().read_text("utf-8"))
    assert breaking.faults(released, document) == []


def test_the_last_release_is_the_highest_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "openapi" / "released").mkdir(parents=True)
    for version in ("1.2.0", "1.10.0", "1.9.3"):
        (tmp_path / "openapi" / "released" / f"{version}.json").touch()
    monkeypatch.setattr(breaking, "ROOT", tmp_path)
    assert breaking.last_released().stem == "1.10.0"


Change = Callable[[dict[str, Any]], Any]


def schema(document: dict[str, Any], name: str) -> dict[str, Any]:
    return document["components"]["schemas"][name]


def post(document: dict[str, Any], path: str) -> dict[str, Any]:
    return document["paths"][path]["post"]


# What is taken away, and what has to be told of it.
LOSSES: dict[str, tuple[Change, str]] = {
    "an address": (
        lambda d: d["paths"].pop(CARD),
        "/v1/profiles/card: the address is gone",
    ),
    "an operation": (
        lambda d: d["paths"][CARD].pop("post"),
        "POST /v1/profiles/card: the operation is gone",
    ),
    "the name of an operation": (
        lambda d: post(d, CARD).update(operationId="card"),
        "POST /v1/profiles/card: operationId, by which clients name it, is another one",
    ),
    "use without a key": (
        lambda d: post(d, CARD).update(security=[{"bearer": []}]),
        "POST /v1/profiles/card: a key has become necessary",
    ),
    "a status": (
        lambda d: post(d, SPAN)["responses"].pop("409"),
        "POST /v1/checks/span 409: the status is gone",
    ),
    "a header": (
        lambda d: post(d, SPAN)["responses"]["200"]["headers"].pop("X-Request-Id"),
        "POST /v1/checks/span 200: the header X-Request-Id is gone",
    ),
    "a type of answers": (
        lambda d: post(d, CARD)["responses"]["200"]["content"].pop("text/html"),
        "POST /v1/profiles/card 200: the type text/html is gone",
    ),
    "a type of bodies": (
        lambda d: post(d, "/v1/batches")["requestBody"]["content"].pop("text/csv"),
        "POST /v1/batches: bodies of text/csv are no longer taken",
    ),
    "a parameter": (
        lambda d: post(d, SPAN)["parameters"].pop(0),
        "POST /v1/checks/span query detail: the parameter is gone",
    ),
    "freedom from a parameter": (
        lambda d: post(d, SPAN)["parameters"][0].update(required=True),
        "POST /v1/checks/span query detail: the parameter has become necessary",
    ),
    "freedom from a new parameter": (
        lambda d: post(d, SPAN)["parameters"].append(
            {"name": "site", "in": "query", "required": True, "schema": {"type": "string"}}
        ),
        "POST /v1/checks/span query site: the parameter has become necessary",
    ),
    "a value of a parameter": (
        lambda d: post(d, SPAN)["parameters"][0]["schema"]["enum"].remove("short"),
        'POST /v1/checks/span query detail: no longer taken is a value "short"',
    ),
    "what a parameter means when left out": (
        lambda d: post(d, SPAN)["parameters"][0]["schema"].update(default="short"),
        "POST /v1/checks/span query detail: leaving it out means something else",
    ),
    "a field of requests": (
        lambda d: schema(d, "SpanCheck")["properties"].pop("warm_up"),
        "POST /v1/checks/span application/json/warm_up: the field is gone",
    ),
    "a field deep in requests": (
        lambda d: schema(d, "Weight")["properties"].pop("density"),
        "POST /v1/checks/span application/json/weights/*/density: the field is gone",
    ),
    "freedom from a field": (
        lambda d: schema(d, "SpanCheck")["required"].append("warm_up"),
        "POST /v1/checks/span application/json/warm_up: has become necessary",
    ),
    "freedom from a new field": (
        lambda d: (
            schema(d, "Round")["properties"].update(site={"type": "string"}),
            schema(d, "Round").setdefault("required", []).append("site"),
        ),
        "POST /v1/checks/span application/json/rounds[]/site: has become necessary",
    ),
    "a value of requests": (
        lambda d: schema(d, "SpanCheck")["properties"]["occasion"]["enum"].remove("moved"),
        'POST /v1/checks/span application/json/occasion: no longer taken is a value "moved"',
    ),
    "null for left out": (
        lambda d: schema(d, "SpanCheck")["properties"]["performed_by"].update(type="string"),
        "POST /v1/checks/span application/json/performed_by: no longer taken is a value of type",
    ),
    "length": (
        lambda d: schema(d, "SpanCheck")["properties"]["performed_by"].update(maxLength=3),
        "POST /v1/checks/span application/json/performed_by: maxLength ",
    ),
    "a shorter list": (
        lambda d: schema(d, "SpanCheck")["properties"]["rounds"].update(minItems=2),
        "POST /v1/checks/span application/json/rounds: minItems 1 against 2",
    ),
    "texts": (
        lambda d: schema(d, "SpanCheck")["properties"]["performed_by"].update(pattern="^A"),
        "POST /v1/checks/span application/json/performed_by: pattern is another one",
    ),
    "one of two forms": (
        lambda d: schema(d, "SpanCheck")["properties"]["profile"].update(
            anyOf=[{"type": "string"}]
        ),
        "POST /v1/checks/span application/json/profile: no longer taken is a value of type ",
    ),
    "bodies that are not sent": (
        lambda d: d["paths"]["/v1/checks"]["get"].update(
            requestBody={"required": True, "content": {}}
        ),
        "GET /v1/checks: a body has become necessary",
    ),
    "a field of answers": (
        lambda d: (
            schema(d, "Answer")["properties"].pop("usable"),
            schema(d, "Answer")["required"].remove("usable"),
        ),
        "POST /v1/checks/span 200 application/json/usable: the field is gone",
    ),
    "a field deep in answers": (
        lambda d: schema(d, "BudgetRow")["properties"].pop("sensitivity"),
        "POST /v1/checks/span 200 application/json/criteria[]/budget[]/sensitivity: the field",
    ),
    "that a field is there": (
        lambda d: schema(d, "Answer")["required"].remove("usable"),
        "POST /v1/checks/span 200 application/json/usable: need not be there any more",
    ),
    "the name of a verdict": (
        lambda d: schema(d, "Answer")["properties"]["verdict"]["enum"].remove("void"),
        'POST /v1/checks/span 200 application/json/verdict: the value "void" is gone',
    ),
    "that no other verdict comes": (
        lambda d: schema(d, "Answer")["properties"]["verdict"]["enum"].append("maybe"),
        'POST /v1/checks/span 200 application/json/verdict: there may now be a value "maybe"',
    ),
    "that an answer is no null": (
        lambda d: schema(d, "Answer")["properties"]["check"].update(type=["string", "null"]),
        "POST /v1/checks/span 200 application/json/check: there may now be a value of type null",
    ),
    "a field of lines of answers": (
        lambda d: schema(d, "Summary")["properties"].pop("rows_in"),
        "POST /v1/batches 200 application/x-ndjson/summary/rows_in: the field is gone",
    ),
}


@pytest.mark.parametrize("loss", LOSSES)
def test_each_loss_is_told(loss: str, document: dict[str, Any]) -> None:
    take_away, told = LOSSES[loss]
    changed = deepcopy(document)
    take_away(changed)
    found = breaking.faults(document, changed)
    assert [one for one in found if one.startswith(told)], found


def widen_requests(document: dict[str, Any]) -> None:
    schema(document, "SpanCheck")["properties"]["room"] = {"type": ["string", "null"]}
    schema(document, "SpanCheck")["properties"]["occasion"]["enum"].append("visit")
    schema(document, "SpanCheck")["properties"]["performed_by"].pop("maxLength")


ADDITIONS: dict[str, Change] = {
    "nothing": lambda d: None,
    "an address": lambda d: d["paths"].update({"/metrics": {"get": {"responses": {}}}}),
    "a status": lambda d: post(d, SPAN)["responses"].update({"418": {"description": "Tea."}}),
    "an optional parameter": lambda d: post(d, SPAN)["parameters"].append(
        {"name": "site", "in": "query", "schema": {"type": "string"}}
    ),
    "what requests may say": widen_requests,
    "a field of answers": lambda d: (
        schema(d, "Answer")["properties"].update(hints={"type": "array"}),
        schema(d, "Answer")["required"].append("hints"),
    ),
    "words": lambda d: schema(d, "Answer").update(description="Other words."),
}


@pytest.mark.parametrize("addition", ADDITIONS)
def test_what_is_added_is_no_loss(addition: str, document: dict[str, Any]) -> None:
    changed = deepcopy(document)
    ADDITIONS[addition](changed)
    assert breaking.faults(document, changed) == []
