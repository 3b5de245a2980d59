"""Records that earlier engines sealed, kept as they are: they verify with every later one.

The file of a revision holds a chain of the documented examples, sealed with the key of RFC 8037,
A.1, which everybody knows. Before its first release a revision may be made anew, by
`python tests/service/evidence/records/test_earlier_records.py`; afterwards never: what differs is
then stated in `revisions.py`.
"""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import pytest
from flask.testing import FlaskClient

from weighworthy_service.checks.answer import ENGINE_REVISION
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web.app import create_app

HERE: Final = Path(__file__).parent
KEY: Final = {
    "kty": "OKP",
    "crv": "Ed25519",
    "d": "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A",
    "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
    "kid": "RFC 8037, A.1",
}
FILES: Final = sorted(HERE.glob("sealed_by_revision_*.ndjson"))


def test_there_is_a_file_of_every_revision() -> None:
    named = [file.stem.rpartition("_")[2] for file in FILES]
    assert named == [str(number) for number in range(1, ENGINE_REVISION + 1)]


@pytest.fixture(scope="module")
def auditor(tmp_path_factory: pytest.TempPathFactory) -> FlaskClient:
    """A service that only knows the public key."""
    file = tmp_path_factory.mktemp("keys") / "public.jwk"
    file.write_text(json.dumps({name: value for name, value in KEY.items() if name != "d"}))
    return create_app(seal_keys=file).test_client()


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_earlier_records_verify(file: Path, auditor: FlaskClient) -> None:
    body = file.read_bytes()
    type_ = "application/x-ndjson"
    told = auditor.post("/v1/records/verify-chain", data=body, content_type=type_).get_json()
    assert told["unbroken"] is True
    assert told["seals"]["ok"] == told["records"] == len(body.splitlines())
    for line in body.splitlines():
        told = auditor.post("/v1/records/verify", data=line, content_type="application/json")
        found = told.get_json()
        assert (found["profile"], found["verdict"]) == ("same", "same")
        unexplained = [
            one["pointer"]
            for one in (*found["numbers"], *found["others"])
            if one["explanation"] is None and not one["pointer"].endswith("/message")
        ]
        assert unexplained == [], "state it in revisions.py, or see the top of this file"


def make(keep: Callable[[bytes], Any]) -> None:
    """Seal the examples, each behind the one before."""
    file = HERE / "key.tmp"
    file.write_text(json.dumps(KEY))
    try:
        client = create_app(sealing_key=file).test_client()
    finally:
        file.unlink()
    previous = None
    for position, kind in enumerate(KINDS[:3]):
        body = {
            "request": {**kind.example["request"], "check": kind.slug},
            "previous": previous,
            "sealed_at": f"2026-03-{16 + position}T08:05:00+01:00",
        }
        response = client.post("/v1/records/seal", json=body)
        previous = response.get_json()["digest"]
        keep(response.data + b"\n")


if __name__ == "__main__":
    with (HERE / f"sealed_by_revision_{ENGINE_REVISION}.ndjson").open("wb") as kept:
        make(kept.write)
    sys.exit()
