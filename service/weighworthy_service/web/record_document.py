"""Records in the OpenAPI document."""

from typing import Any, Final

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.web.document_parts import (
    BODY,
    EVERYWHERE,
    GUARDED,
    JSON,
    SECURITY,
    TEXT,
    get,
    problems,
    response,
)
from weighworthy_service.web.spooled_lines import NDJSON
from weighworthy_service.wire.records import (
    ChainForm,
    ChainRequestForm,
    PublicKeysForm,
    RecordForm,
    SealedRecordForm,
    SealRequestForm,
    VerificationForm,
)

_SEAL: Final = """\
Evaluates a check and gives the whole as a record that can be stored anywhere: request, resolved
profile, answer, and the digest of the record before it, which makes a chain without the service
keeping anything. The digest is SHA-256 over the canonical form (RFC 8785) of the record without
`digest` and `signature`, so that another order of members does no harm. Where the service holds a
key, the same bytes are signed (detached JWS, Ed25519).

An answer is never taken: what is sealed is computed here. The seal says which service computed
this and that it is unchanged. It is no signature of a person.
"""
_VERIFY: Final = """\
Holds a record against its seal, and computes its evaluation anew, from the request in it and by
the profile in it, whatever profiles are in force today. Tells what agrees: seal, profile, verdict
and every number. An altered record is an answer; what has not the form of a record is refused.
"""
_CHAIN: Final = f"""\
Verifies records in the order in which they were sealed, and tells where one does not follow the
one before it: missing, moved, repeated or changed. As JSON up to 1000 records, as `{NDJSON}` up to
20,000, a record a line. That the last records are missing, a list cannot show by itself: `last`
says which digest the last should have.
"""


def record_operations() -> dict[str, dict[str, Any]]:
    """By address, what may be done there."""
    last = {
        "name": "last",
        "in": "query",
        "description": "The digest that the last record should have.",
        "schema": {"type": "string", "pattern": "^sha256:[0-9a-f]{64}$"},
    }
    asked, answered = ChainRequestForm, ChainForm
    chain = _posted("records_chain", "Verify a chain of records", _CHAIN, asked, answered)
    chain["parameters"] = [last]
    chain["requestBody"]["content"][NDJSON] = TEXT
    chain["responses"].update(problems((*BODY, *GUARDED, *EVERYWHERE, "body-incomplete")))
    seal = _posted(
        "records_seal",
        "Evaluate a check and seal the record",
        _SEAL,
        SealRequestForm,
        SealedRecordForm,
        more=("digest-differs", "profile-not-usable"),
    )
    seal["requestBody"]["content"][JSON]["examples"] = {"Seal": {"value": _example()}}
    keys = get("records_keys", "records", "The public keys of seals", PublicKeysForm, guarded=True)
    keys["responses"].update(problems(("not-acceptable", "invalid")))
    return {
        "/v1/records/seal": {"post": seal},
        "/v1/records/verify": {
            "post": _posted(
                "records_verify", "Verify a record", _VERIFY, RecordForm, VerificationForm
            )
        },
        "/v1/records/verify-chain": {"post": chain},
        "/v1/records/keys": {"get": keys},
    }


def _example() -> dict[str, Any]:
    """The example of a simulated loss, as the first record of a chain."""
    kind = BY_SLUG["simulated-loss"]
    request = {**kind.example["request"], "check": kind.slug}
    return {"request": request, "previous": None, "sealed_at": "2026-03-16T08:06:00+01:00"}


def _posted(
    name: str, summary: str, about: str, asked: Any, answered: Any, *, more: tuple[str, ...] = ()
) -> dict[str, Any]:
    return {
        "operationId": name,
        "tags": ["records"],
        "summary": summary,
        "description": about,
        "security": SECURITY,
        "requestBody": {"required": True, "content": {JSON: {"schema": asked}}},
        "responses": {
            "200": response(f"{summary}.", answered),
            **problems((*BODY, *more, *GUARDED, *EVERYWHERE)),
        },
    }
