"""The addresses of records: seal, verify, and the keys of seals. Nothing is decided here."""

from collections import Counter
from contextlib import ExitStack
from datetime import date
from functools import partial
from typing import Any, Final

from flask import Response, g, request
from marshmallow import ValidationError

from weighworthy_service.checks.answer import answer, request_digest
from weighworthy_service.evidence.records.chain import Chain
from weighworthy_service.evidence.records.content import NoCanonicalForm, sealed
from weighworthy_service.evidence.records.keys import SealKeys
from weighworthy_service.evidence.records.recomputing import held_profile
from weighworthy_service.evidence.records.verification import (
    Verification,
    verification_document,
    verify,
)
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.judging import read
from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.tables.tally import Came, Tally
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.asking import best_type, kind_of, loaded, parameter_faults
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.json import read_json
from weighworthy_service.web.record_body import MAX_RECORD, Listed, read_chain
from weighworthy_service.web.room import heavy, heavy_if_large
from weighworthy_service.web.views import ENGINE, JSON_TYPE, VERSION, json_response
from weighworthy_service.wire.coded import FieldError, field_errors
from weighworthy_service.wire.fields import Text
from weighworthy_service.wire.records import DIGEST, RecordForm, SealRequestForm

_SEAL: Final = SealRequestForm()
_RECORD: Final = RecordForm()
_LAST: Final = Text(71, pattern=DIGEST)


def views(known: Known) -> Views:
    """The addresses of records."""
    keys = known.seals
    return {
        "records_seal": heavy_if_large(partial(_seal, known.profiles, keys)),
        "records_verify": heavy_if_large(partial(_verify, keys)),
        "records_chain": heavy(partial(_chain, keys, known.limits)),
        "records_keys": partial(_keys, keys),
    }


def _seal(profiles: ProfileSet, keys: SealKeys) -> Response:
    best_type((JSON_TYPE,))
    stated = loaded(_SEAL, read_json(request))
    asked = stated["request"]
    slug = asked.get("check")
    if not isinstance(slug, str):
        said = "the kind of check is needed, as in a batch"
        raise refusal_of("invalid", [FieldError("/request/check", "required", said)])
    kind = kind_of(slug, ("request", "check"))

    def find(reference: str | dict[str, Any] | None, performed_on: date | None) -> Profile:
        return find_profile(reference, profiles, performed_on)

    try:
        check, profile = read(kind, asked, find)
    except Refusal as refusal:
        raise _moved(refusal) from None
    document = dict(profile.document)
    # Where a limit stands is then told in the document that the record holds, not in a parent that
    # it does not.
    terms = terms_for(held_profile(document), kind.slug, check.check.circumstances)
    evaluation = kind.evaluate(check.check, terms)
    came = Came(kind.slug, evaluation.verdict, terms.profile.digest)
    g.tally = Tally(judged=Counter({came: 1}))
    answered = answer(
        evaluation,
        profile=terms.profile,
        version=VERSION,
        request_digest=request_digest(asked, kind.slug),
        labels=check.labels,
    )
    try:
        record = sealed(
            asked,
            document,
            answered,
            previous=stated.get("previous"),
            sealed_at=stated["sealed_at"],
            keys=keys,
        )
    except NoCanonicalForm as error:
        raise refusal_of("invalid", [_no_form(error)]) from None
    return json_response(record)


def _moved(refusal: Refusal) -> Refusal:
    """What is wrong with a request, at the place where the body has it."""
    errors = [error.below("/request") for error in refusal.errors]
    return refusal_of(refusal.slug, errors) if errors else refusal


def _verify(keys: SealKeys) -> Response:
    best_type((JSON_TYPE,))
    record = read_json(request, MAX_RECORD)
    loaded(_RECORD, record)
    try:
        verification = verify(record, keys, VERSION)
    except NoCanonicalForm as error:
        raise refusal_of("invalid", [_no_form(error)]) from None
    return json_response(verification_document(verification, record, ENGINE))


def _chain(keys: SealKeys, limits: BatchLimits) -> Response:
    best_type((JSON_TYPE,))
    last = _asked_last()
    chain = Chain()
    with ExitStack() as stack:
        for entry in read_chain(request, limits, stack):
            found = _found(entry, keys)
            if isinstance(found, Verification):
                chain.add(entry.line, entry.document, found)
            else:
                chain.add_unreadable(entry.line, found)
    return json_response({**chain.document(last), "engine": ENGINE})


def _found(entry: Listed, keys: SealKeys) -> Verification | list[dict[str, Any]]:
    """What an entry is worth by itself, or why it is no record."""
    if entry.fault is not None:
        return [_reason("malformed-json", entry.fault, "")]
    try:
        _RECORD.load(entry.document)
        return verify(entry.document, keys, VERSION)
    except ValidationError as error:
        faults = field_errors(error.messages)
    except NoCanonicalForm as error:
        faults = [_no_form(error)]
    return [_reason(fault.code, fault.detail, fault.pointer) for fault in faults]


def _no_form(error: NoCanonicalForm) -> FieldError:
    return FieldError("", "no-canonical-form", f"a number has no canonical form: {error}")


def _reason(code: str, message: str, pointer: str) -> dict[str, Any]:
    return {"about": "record", "code": code, "message": message, "pointer": pointer}


def _asked_last() -> str | None:
    if errors := parameter_faults({"last": None}):
        raise refusal_of("invalid", errors)
    last = request.args.get("last")
    try:
        return None if last is None else _LAST.read(last)
    except ValidationError:
        said = "the query parameter 'last' is a digest: sha256: and 64 hexadecimal digits"
        raise refusal_of("invalid", [FieldError("", "malformed-text", said)]) from None


def _keys(keys: SealKeys) -> Response:
    best_type((JSON_TYPE,))
    if errors := parameter_faults({}):
        raise refusal_of("invalid", errors)
    sealing = keys.sealing
    return json_response(
        {
            "keys": [dict(key.jwk) for key in keys.known.values()],
            "seals_with": sealing.id if sealing is not None else None,
        }
    )
