"""The published document as the judge of what the service takes and says; a service on a socket."""

import importlib.util
import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import pytest
import requests
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from weighworthy_service.web.app import create_app
from weighworthy_service.web.document import document_bytes

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def document() -> dict[str, Any]:
    """The OpenAPI document of this code."""
    return json.loads(document_bytes())


@pytest.fixture(scope="session")
def component(document: dict[str, Any]) -> Callable[[str], Draft202012Validator]:
    """A JSON Schema validator of one component, by name."""

    def named(name: str) -> Draft202012Validator:
        assert name in document["components"]["schemas"]
        schema = {
            "$ref": f"#/components/schemas/{name}",
            "components": document["components"],
        }
        return Draft202012Validator(schema)

    return named


@pytest.fixture(scope="session")
def conforms(document: dict[str, Any]) -> Callable[..., None]:
    """Asserts that a response is one that the document announces for its operation."""

    def check(path: str, method: str, status: int, content_type: str, body: bytes) -> None:
        operation = document["paths"][path][method.lower()]
        announced = operation["responses"][str(status)]["content"]
        assert content_type in announced
        schema = {**announced[content_type]["schema"], "components": document["components"]}
        Draft202012Validator(schema).validate(json.loads(body))

    return check


@pytest.fixture(scope="session")
def client() -> FlaskClient:
    """The service in this process."""
    return create_app().test_client()


@pytest.fixture(scope="session")
def live_service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of two workers of the production server on a free port of this machine."""
    with running(tmp_path_factory.mktemp("server"), WEIGHWORTHY_WORKERS="2") as (address, _):
        yield address


@pytest.fixture(scope="session")
def serve() -> Callable[..., AbstractContextManager[tuple[str, int]]]:
    """Starts a production server of its own: a folder for its log, settings → address, pid."""
    return running


@contextmanager
def running(folder: Path, *options: str, **settings: str) -> Iterator[tuple[str, int]]:
    """The production server on a free port: its address, and the pid of its first process.

    `options` are those of gunicorn.
    """
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log = folder / "log"
    environment = {
        **os.environ,
        "WEIGHWORTHY_ANONYMOUS": "loopback",
        "WEIGHWORTHY_BIND": f"127.0.0.1:{port}",
        **settings,
    }
    environment.pop("WEIGHWORTHY_KEYS_FILE", None)
    with log.open("wb") as output:
        server = subprocess.Popen(
            [sys.executable, "-m", "gunicorn", "-c", "service/gunicorn.conf.py", *options],
            cwd=ROOT,
            env=environment,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
    address = f"http://127.0.0.1:{port}"
    try:
        _wait_for(address, server, log)
        yield address, server.pid
    finally:
        server.terminate()
        assert server.wait(timeout=40) == 0, log.read_text()


def _wait_for(address: str, server: subprocess.Popen[bytes], log: Path) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        assert server.poll() is None, log.read_text()
        try:
            with requests.Session() as session:
                session.trust_env = False
                session.get(f"{address}/readyz", timeout=2).raise_for_status()
        except requests.ConnectionError:
            time.sleep(0.1)
        else:
            return
    pytest.fail(f"no answer within 60 s: {log.read_text()}")


@pytest.fixture(scope="module")
def new_kinds() -> Iterator[Any]:
    """The service with two kinds of check that it does not know otherwise; see `new_kind`."""
    path = Path(__file__).parent / "new_kind.py"
    spec = importlib.util.spec_from_file_location("new_kind", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["new_kind"] = module
    spec.loader.exec_module(module)
    with module.entered() as entered:
        yield entered
