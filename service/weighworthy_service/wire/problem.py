"""Problem details (RFC 9457): what can be refused, in one table, and the form it is told in."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from marshmallow import EXCLUDE, Schema, fields

from weighworthy_service.wire.coded import MAX_ERRORS, FieldError


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """A kind of refusal: `advice` is for the person who has to do something about it."""

    slug: str
    status: int
    title: str
    advice: str


_KINDS: Final = (
    ProblemKind(
        "malformed-json",
        400,
        "The body is not well-formed JSON",
        "Send UTF-8 without a byte order mark, every key once in its object, no NaN or Infinity, "
        "and at most 32 levels of nesting. `detail` says where reading stopped.",
    ),
    ProblemKind(
        "body-incomplete",
        400,
        "The body ended before its end",
        "The connection broke, a proxy cut the body, or it is not the gzip that its header says. "
        "Nothing was judged. Send the same request again.",
    ),
    ProblemKind(
        "key-missing",
        401,
        "An API key is needed",
        "Send `Authorization: Bearer <key>`. A service that takes requests without a key takes "
        "them from its own machine only, and never through a proxy.",
    ),
    ProblemKind(
        "key-not-allowed",
        403,
        "The API key is not valid here",
        "Check that the key is complete and belongs to this service, or ask its operator for "
        "one, or for the scope that `detail` names: `evaluate`, `read` or `metrics`. Repeating the "
        "request does not help.",
    ),
    ProblemKind(
        "cross-site",
        403,
        "A page of another site asked",
        "Without API keys the service takes what is judged from programs on its own machine, not "
        "from pages of other sites that are open in a browser there. Call it from a program, or "
        "give the service keys.",
    ),
    ProblemKind(
        "not-found",
        404,
        "There is nothing at this address",
        "Compare the address with `/openapi.json`. Addresses end without a slash.",
    ),
    ProblemKind(
        "method-not-allowed",
        405,
        "The address does not take this method",
        "The header `Allow` names the methods that it takes.",
    ),
    ProblemKind(
        "not-acceptable",
        406,
        "The answer exists in no form that was asked for",
        "Leave out `Accept` or let it include `application/json`.",
    ),
    ProblemKind(
        "too-slow",
        408,
        "The body took too long to arrive",
        "Nothing was judged. Send it over a faster connection, compressed (`Content-Encoding: "
        "gzip`), or split a table into several with `first_row`.",
    ),
    ProblemKind(
        "digest-differs",
        409,
        "Another profile is in force than expected",
        "The profile has changed since its digest was noted. Read it, and if you agree send its "
        "present digest as `expect_profile_digest`.",
    ),
    ProblemKind(
        "length-required",
        411,
        "The length of the body is not stated",
        "Send the body with `Content-Length`, not in chunks.",
    ),
    ProblemKind(
        "too-large",
        413,
        "The body is too large",
        "A body takes at most 1 MiB, a comparison 8 MiB, a table what its service allows. Leave "
        "out what is not needed, for example part of `series`, or split a table with `first_row`.",
    ),
    ProblemKind(
        "unsupported-media-type",
        415,
        "The body is not of a type that is taken here",
        "Send `Content-Type: application/json`, in UTF-8 and without `Content-Encoding`. Other "
        "types, also those that end in `+json`, are not taken.",
    ),
    ProblemKind(
        "invalid",
        422,
        "The request does not have the form that is taken here",
        "`errors` has every fault that was found, at most 100, each with a JSON pointer into the "
        "body, a code and a sentence. A fault of the query has the pointer of the whole body.",
    ),
    ProblemKind(
        "profile-not-usable",
        422,
        "The tolerance profile cannot be used",
        "`errors` has every fault that was found, with JSON pointers into the body.",
    ),
    ProblemKind(
        "table-not-usable",
        422,
        "The table cannot be read",
        "The file cannot be taken apart into rows and columns: `errors` says what could not be "
        "determined, and where it shows. State it in the `[table]` part of the mapping, or mend "
        "the file. Where the file can be read, but has not what the mapping names, see "
        "`mapping-not-usable`.",
    ),
    ProblemKind(
        "mapping-not-usable",
        422,
        "The mapping document cannot be used",
        "`errors` has every fault that was found, with JSON pointers into the mapping. Where it "
        "names columns or a sheet that the table has not, or has twice, the names that are there "
        "stand beside: correct the name in the mapping, or choose the right file.",
    ),
    ProblemKind(
        "group-incomplete",
        422,
        "Another row of the same check is faulty",
        "Correct the row that is named; then all rows of the check are judged together.",
    ),
    ProblemKind(
        "rate-limited",
        429,
        "Too many requests",
        "Wait as long as `Retry-After` says, then send the same request again.",
    ),
    ProblemKind(
        "internal",
        500,
        "The service failed",
        "This is a fault of the service, not of the request. Tell its operator the `request_id`; "
        "the service's log has the cause under it.",
    ),
    ProblemKind(
        "overloaded",
        503,
        "The service cannot take requests now",
        "Wait as long as `Retry-After` says, then send the same request again.",
    ),
)
PROBLEMS: Final = {kind.slug: kind for kind in _KINDS}


@dataclass(frozen=True, slots=True)
class Problem:
    """One refusal. `type` of RFC 9457 is the address of a page about its kind."""

    kind: ProblemKind
    detail: str
    request_id: str
    errors: tuple[FieldError, ...] = ()

    @property
    def type(self) -> str:
        return f"/problems/{self.kind.slug}"

    @property
    def title(self) -> str:
        return self.kind.title

    @property
    def status(self) -> int:
        return self.kind.status


class FieldErrorForm(Schema):
    """One fault of a request."""

    pointer = fields.String(
        required=True, metadata={"description": "JSON pointer (RFC 6901) into the body."}
    )
    code = fields.String(required=True, metadata={"description": "For programs. May grow."})
    detail = fields.String(required=True, metadata={"description": "For people."})

    class Meta:
        unknown = EXCLUDE


class ProblemForm(Schema):
    """Problem details (RFC 9457). Kinds may be added; go by `status` for those you do not know."""

    type = fields.String(required=True, metadata={"description": "Address of a page about it."})
    title = fields.String(required=True)
    status = fields.Integer(required=True, metadata={"minimum": 400, "maximum": 599})
    detail = fields.String(required=True)
    errors = fields.List(
        fields.Nested(FieldErrorForm), required=True, metadata={"maxItems": MAX_ERRORS}
    )
    request_id = fields.String(
        required=True, metadata={"description": "Also in the header X-Request-Id."}
    )

    class Meta:
        unknown = EXCLUDE


_FORM: Final = ProblemForm()


def problem_document(
    slug: str, detail: str, request_id: str, errors: Iterable[FieldError] = ()
) -> dict[str, Any]:
    """The document of one refusal, dumped through the form that is published."""
    kept = tuple(errors)[:MAX_ERRORS]
    document: dict[str, Any] = _FORM.dump(Problem(PROBLEMS[slug], detail, request_id, kept))
    return document
