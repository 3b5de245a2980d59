"""A service with a key of its own, and records that it sealed. The key is made for each run."""

import json
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from joserfc.jwk import OKPKey

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web.app import create_app

AT = "2026-03-16T08:05:00+01:00"
Ask = Callable[..., Any]


@pytest.fixture(scope="session")
def key_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("keys") / "sealing.jwk"
    key = OKPKey.generate_key("Ed25519").as_dict(private=True)
    file.write_text(json.dumps({**key, "kid": "kestrel-2026"}))
    return file


@pytest.fixture(scope="session")
def client(key_file: Path) -> FlaskClient:
    return create_app(sealing_key=key_file).test_client()


@pytest.fixture(scope="session")
def unsealed() -> FlaskClient:
    """A service without a key."""
    return create_app().test_client()


def request_of(position: int = 0, **changes: Any) -> dict[str, Any]:
    kind = KINDS[position]
    return {**deepcopy(kind.example["request"]), "check": kind.slug, **changes}


@pytest.fixture(scope="session")
def example() -> Ask:
    """An example request of the documentation, by the position of its kind."""
    return request_of


@pytest.fixture(scope="session")
def seal(client: FlaskClient) -> Ask:
    """The record of a request, of the span example if none is given."""

    def made(
        request: dict[str, Any] | None = None,
        previous: str | None = None,
        sealed_at: str = AT,
        by: FlaskClient = client,
    ) -> dict[str, Any]:
        body = {"request": request or request_of(), "previous": previous, "sealed_at": sealed_at}
        response = by.post("/v1/records/seal", json=body)
        assert response.status_code == 200, response.text
        return response.get_json()

    return made


@pytest.fixture
def record(seal: Ask) -> dict[str, Any]:
    return seal()


@pytest.fixture(scope="session")
def verify(client: FlaskClient) -> Ask:
    def told(record: Any, by: FlaskClient = client) -> dict[str, Any]:
        response = by.post("/v1/records/verify", json=record)
        assert response.status_code == 200, response.text
        return response.get_json()

    return told


@pytest.fixture(scope="session")
def chain_of(client: FlaskClient) -> Ask:
    """What lines of records come to."""

    def told(lines: list[Any], last: str | None = None) -> dict[str, Any]:
        body = b"".join(
            line if isinstance(line, bytes) else json.dumps(line).encode() + b"\n" for line in lines
        )
        query = {} if last is None else {"last": last}
        response = client.post(
            "/v1/records/verify-chain",
            data=body,
            query_string=query,
            content_type="application/x-ndjson",
        )
        assert response.status_code == 200, response.text
        return response.get_json()

    return told
