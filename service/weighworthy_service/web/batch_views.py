"""Many checks in one request: the whole body is read, then the answer is streamed."""

import json
import logging
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack
from typing import Any, Final

from flask import Flask, Response, g, request
from marshmallow import ValidationError

from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.refusal import from_flaws, refusal_of
from weighworthy_service.profiles.source import Source, TomlUnreadable, read_toml
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.tables.answers import answer_lines, in_pieces, summary_line
from weighworthy_service.tables.finder import finder
from weighworthy_service.tables.ndjson import READ_AS, judge_lines, open_lines
from weighworthy_service.tables.outcome import Counts
from weighworthy_service.web.asking import best_type, parameter_faults
from weighworthy_service.web.batch_body import CSV, NDJSON, BatchBody, read_batch
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.json import parse
from weighworthy_service.web.spool import deadline
from weighworthy_service.web.views import VERSION
from weighworthy_service.wire.coded import FieldError, field_errors

_PARAMETERS: Final = {
    "mapping": None,
    "profile": None,
    "first_row": None,
    "columns": ("all", "added"),
    "detail": ("full", "short"),
}
_LOG: Final = logging.getLogger("weighworthy_service")


def register_batch_views(app: Flask, profiles: ProfileSet, limits: BatchLimits) -> None:
    """The address of batches."""

    def batches() -> Response:
        _refuse_parameters()
        best_type((NDJSON, CSV))
        with ExitStack() as stack:
            body = read_batch(request, limits, stack)
            profile = _profile(body, profiles)
            lines = _judging(body, profile, profiles, limits)
            environ, whole = request.environ, stack.pop_all()
        response = Response(_timed(lines, environ, limits.download), content_type=NDJSON)
        # Also where no piece of the answer was ever asked for.
        response.call_on_close(whole.close)
        return response

    app.add_url_rule("/v1/batches", "batches", batches, methods=["POST"])


def _judging(
    body: BatchBody, profile: Any, profiles: ProfileSet, limits: BatchLimits
) -> Iterator[bytes]:
    best_type((NDJSON,))
    if body.mapping is not None or "mapping" in request.args:
        said = "lines of check requests need no mapping"
        raise refusal_of("invalid", [FieldError("", "contradiction", said)])
    opened = open_lines(body.table, limits.table)
    if "profile" in opened.defaults:
        _refuse_unusable(opened.defaults["profile"], profiles, ("defaults", "profile"))
    counts = Counts()
    outcomes = judge_lines(opened, finder(profiles), profile, counts, _first_row())
    lines = answer_lines(
        outcomes,
        counts,
        dict(READ_AS),
        version=VERSION,
        short=request.args.get("detail") == "short",
    )
    return _closed(lines, g.request_id, lambda why: summary_line(counts, dict(READ_AS), why))


def _closed(
    lines: Iterable[bytes], request_id: str, last: Callable[[str], bytes]
) -> Iterator[bytes]:
    """The lines, and in place of the rest of them, where something breaks, one that says so."""
    try:
        yield from lines
    except Exception as error:
        _LOG.error("request %s broke off", request_id, exc_info=error)
        yield last(f"the service failed; its log has the cause under {request_id}")


def _timed(lines: Iterator[bytes], environ: dict[str, Any], seconds: int) -> Iterator[bytes]:
    with deadline(environ, seconds, "download") as passed:
        for piece in in_pieces(lines):
            if passed:
                raise ConnectionAbortedError("the answer was not taken in time")
            yield piece


def _refuse_parameters() -> None:
    errors = parameter_faults(_PARAMETERS)
    first_row = request.args.get("first_row", "1")
    if not (first_row.isascii() and first_row.isdigit() and len(first_row) < 10 and int(first_row)):
        said = "the query parameter 'first_row' is a row number, from 1"
        errors.append(FieldError("", "out-of-range", said))
    if errors:
        raise refusal_of("invalid", errors)


def _first_row() -> int:
    return int(request.args.get("first_row", "1"))


def _profile(body: BatchBody, profiles: ProfileSet) -> Any:
    """What lines that name no profile are judged by, None for the built-in one."""
    named = request.args.get("profile")
    if body.profile is None:
        if named is not None:
            _refuse_unusable(named, profiles, ())
        return named
    if named is not None:
        said = "give the profile once: as a part or by name in the query"
        raise refusal_of("invalid", [FieldError("", "contradiction", said)])
    return _sent(body.profile, profiles)


def _sent(raw: bytes, profiles: ProfileSet) -> dict[str, Any]:
    source = None
    if raw.lstrip()[:1] == b"{":
        document = parse(raw)
    else:
        try:
            text = raw.decode()
            document = read_toml(text)
        except (UnicodeDecodeError, TomlUnreadable) as error:
            raise refusal_of(
                "profile-not-usable", [FieldError("", "malformed-toml", str(error))]
            ) from None
        source = Source(document, text)
    try:
        find_profile(document, profiles)
    except ValidationError as error:
        errors = field_errors(error.messages)
    except ProfileNotUsable as error:
        errors = from_flaws(error.flaws)
    else:
        # Read once and handed on as one object, by which it is found again.
        plain: dict[str, Any] = json.loads(json.dumps(document))
        return plain
    if source is not None:
        errors = [
            FieldError(e.pointer, e.code, f"line {source.line_at(e.pointer)}: {e.detail}")
            for e in errors
        ]
    raise refusal_of("profile-not-usable", errors)


def _refuse_unusable(reference: Any, profiles: ProfileSet, under: tuple[str, ...]) -> None:
    """Refuse what no line can be judged by. What a plain name means depends on the line's date."""
    try:
        if isinstance(reference, dict):
            find_profile(reference, profiles)
        elif isinstance(reference, str):
            id_, pinned, _ = reference.partition("@")
            if pinned or not profiles.revisions(id_):
                profiles.find(reference, None)
    except ValidationError as error:
        raise refusal_of("profile-not-usable", field_errors(error.messages, under)) from None
    except ProfileNotUsable as error:
        raise refusal_of("profile-not-usable", from_flaws(error.flaws, under)) from None
