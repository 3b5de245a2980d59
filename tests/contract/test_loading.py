"""What an application loads, and when: a server all before its first request, a program no more
than it asks for."""

import ast
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from weighworthy_service.checks.registry import BY_SLUG, KINDS
from weighworthy_service.web.addresses import ADDRESSES
from weighworthy_service.web.app import create_app

ROOT = Path(__file__).parents[2]
SERVICE = ROOT / "service"
OURS = "weighworthy_service."
# Loaded before anything is served, where there are keys.
WITH_KEYS = {"weighworthy_service.evidence.records"}


def fresh(code: str, **environment: str) -> Any:
    """What the last line that a fresh interpreter prints says."""
    done = subprocess.run(
        [sys.executable, "-c", f"import json, sys\n{code}"],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
        env=os.environ | environment,
    )
    return json.loads(done.stdout.splitlines()[-1])


@pytest.fixture(scope="module")
def served() -> set[str]:
    """Our modules that a server has loaded when it begins to listen."""
    code = "import weighworthy_service.web.wsgi; print(json.dumps([*sys.modules]))"
    loaded = fresh(code, WEIGHWORTHY_ANONYMOUS="loopback", WEIGHWORTHY_KEYS_FILE="")
    return {name for name in loaded if name.startswith(OURS)}


def loaded_late() -> Iterator[tuple[str, str]]:
    """Where something of the service is imported within a function, and what."""
    for path in (SERVICE / "weighworthy_service").rglob("*.py"):
        for function in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(function, ast.FunctionDef):
                for node in ast.walk(function):
                    if isinstance(node, ast.ImportFrom) and str(node.module).startswith(OURS):
                        yield path.stem, str(node.module)


def test_a_server_has_loaded_whatever_a_request_asks_for(served: set[str]) -> None:
    late = {module for _, module in loaded_late()} - WITH_KEYS
    assert len(late) >= 3
    assert late <= served
    views = {
        f"{OURS}web.{path.stem}"
        for path in (SERVICE / "weighworthy_service" / "web").glob("*.py")
        if path.stem.endswith("views")
    }
    assert len(views) > len(ADDRESSES) - 1
    assert views <= served
    parts = {
        f"{kind.package}.{path.stem}"
        for kind in KINDS
        for path in Path(kind.part("evaluation").__file__).parent.glob("*.py")
        if path.stem != "__init__"
    }
    assert len(parts) > 3 * len(KINDS)
    assert parts <= served


def test_requests_of_all_sorts_load_nothing_of_a_server() -> None:
    code = f"""
from weighworthy_service.web.wsgi import application
span = json.loads({json.dumps(json.dumps(BY_SLUG["span"].example["request"]))})
before = {{*sys.modules}}
client = application.test_client()
page = {{"Accept": "text/html"}}
for reply in (
    client.post("/v1/checks/span?explain=true", json=span),
    client.post("/v1/checks/span", json=span, headers=page),
    client.post("/v1/records/seal",
        json={{"request": {{**span, "check": "span"}}, "sealed_at": "2026-03-17T08:05:00Z"}}),
    client.get("/openapi.json"), client.get("/docs"), client.get("/v1/profiles"),
):
    assert reply.status_code == 200, reply.get_data(as_text=True)
print(json.dumps([name for name in {{*sys.modules}} - before if name.startswith("{OURS}")]))
"""
    assert fresh(code, WEIGHWORTHY_ANONYMOUS="loopback", WEIGHWORTHY_KEYS_FILE="") == []


@pytest.mark.parametrize(
    "asked",
    [
        "client.evaluate('span', request)",
        "client.evaluate_table('{tables}/harbour.csv', '{tables}/harbour.toml')",
    ],
)
def test_a_program_loads_no_more_than_it_asks_for(asked: str) -> None:
    code = f"""
import weighworthy
request = json.loads({json.dumps(json.dumps(BY_SLUG["span"].example["request"]))})
with weighworthy.Client.embedded() as client:
    {asked.format(tables=ROOT / "examples" / "tables")}
print(json.dumps([*sys.modules]))
"""
    loaded = set(fresh(code))
    assert "weighworthy_service.tables.quick" in loaded
    assert not loaded & {"apispec", "babel", "markdown_it", "joserfc", "openpyxl", "structlog"}
    needless = (
        "evidence.reports",
        "logbook",
        "checks.explaining",
        "profiles.review",
        "web.document",
    )
    assert not {name for name in loaded for part in needless if name.startswith(OURS + part)}
    others = {f"{OURS}web.{module}" for module in ADDRESSES} - {f"{OURS}web.batch_views"}
    assert not loaded & others


def test_every_address_has_a_view_and_every_view_an_address() -> None:
    known = create_app().view_functions
    listed = {endpoint for addresses in ADDRESSES.values() for _, endpoint, _ in addresses}
    own = {f"check_{kind.slug}" for kind in KINDS} | {"checks", "info", "livez", "readyz"}
    assert known.keys() == listed | own | {"openapi", "problem_page"}


def test_an_address_that_loads_when_asked_answers_as_one_that_was_loaded() -> None:
    whole, by_parts = create_app().test_client(), create_app(whole=False).test_client()
    for path in (
        "/v1/profiles",
        "/v1/profiles/kestrel",
        "/v1/profiles/card",
        "/v1/batches",
        "/docs",
    ):
        replies = [
            client.get(path, headers={"X-Request-Id": "the-same"}) for client in (whole, by_parts)
        ]
        assert replies[0].status == replies[1].status
        assert replies[0].headers == replies[1].headers
        assert replies[0].get_data() == replies[1].get_data()
