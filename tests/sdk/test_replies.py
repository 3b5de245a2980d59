import json
from decimal import Decimal

import pytest

from weighworthy import FieldError, ProblemError, ProtocolError, errors
from weighworthy.replies import json_of, refuse
from weighworthy.transport import Reply

# Problem types and their status, typed from the published list.
PROBLEMS = [
    ("malformed-json", 400, errors.MalformedJson),
    ("key-missing", 401, errors.KeyMissing),
    ("key-not-allowed", 403, errors.KeyNotAllowed),
    ("not-found", 404, errors.NotFound),
    ("method-not-allowed", 405, errors.MethodNotAllowed),
    ("not-acceptable", 406, errors.NotAcceptable),
    ("digest-differs", 409, errors.DigestDiffers),
    ("length-required", 411, errors.LengthRequired),
    ("too-large", 413, errors.TooLarge),
    ("unsupported-media-type", 415, errors.UnsupportedMediaType),
    ("invalid", 422, errors.Invalid),
    ("profile-not-usable", 422, errors.ProfileNotUsable),
    ("mapping-not-usable", 422, errors.MappingNotUsable),
    ("group-incomplete", 422, errors.GroupIncomplete),
    ("rate-limited", 429, errors.RateLimited),
    ("internal", 500, errors.Internal),
    ("overloaded", 503, errors.Overloaded),
    ("grown-later", 422, ProblemError),
]


def reply(status: int, body: bytes, media_type: str, **headers: str) -> Reply:
    return Reply(status, {"content-type": media_type, **headers}, body)


def problem(document: object, status: int = 422, **headers: str) -> Reply:
    return reply(status, json.dumps(document).encode(), "application/problem+json", **headers)


@pytest.mark.parametrize(("slug", "status", "cls"), PROBLEMS)
def test_each_problem_type_is_its_class(slug: str, status: int, cls: type[ProblemError]) -> None:
    for prefix in ("/problems/", "https://example.org/base/problems/"):
        with pytest.raises(ProblemError) as caught:
            refuse(problem({"type": prefix + slug, "status": status}, status), "sent")
        assert type(caught.value) is cls
        assert caught.value.status == status
        assert caught.value.slug == slug


def test_a_problem_keeps_everything() -> None:
    document = {
        "type": "/problems/invalid",
        "title": "T",
        "detail": "D",
        "status": 422,
        "errors": [{"pointer": "/points/3/indication", "code": "unit-missing", "detail": "E"}],
        "extra": {"figure": 0.5},
    }
    with pytest.raises(errors.Invalid) as caught:
        refuse(problem(document, **{"x-request-id": "R-7", "retry-after": "3"}), "sent")
    error = caught.value
    assert (error.title, error.detail, error.request_id) == ("T", "D", "R-7")
    assert error.errors == (FieldError("/points/3/indication", "unit-missing", "E"),)
    assert error.retry_after == 3
    assert error.problem["extra"] == {"figure": Decimal("0.5")}


@pytest.mark.parametrize("document", [{}, {"type": 7, "errors": "x"}, {"errors": [1, {}]}])
def test_a_poor_problem_document_is_still_a_problem(document: object) -> None:
    with pytest.raises(ProblemError) as caught:
        refuse(problem(document), "sent")
    assert type(caught.value) is ProblemError
    assert caught.value.type == "about:blank"
    assert caught.value.request_id == "sent"


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b"\xff"])
def test_a_broken_problem_document(body: bytes) -> None:
    with pytest.raises(ProtocolError, match="HTTP 422"):
        refuse(reply(422, body, "application/problem+json"), "sent")


def test_json_with_status_200_passes() -> None:
    good = reply(200, b"{}", "application/json; charset=utf-8")
    assert refuse(good, "sent") is None  # type: ignore[func-returns-value]


@pytest.mark.parametrize(
    ("status", "media_type"),
    [
        (200, "text/html"),
        (200, ""),
        (200, "application/problem+json"),
        (201, "application/json"),
        (204, ""),
        (404, "text/html; charset=utf-8"),
        (404, "application/json"),
        (502, "text/plain"),
    ],
)
def test_anything_else_is_not_this_service(status: int, media_type: str) -> None:
    page = b"<title>Sign\n in</title>\x00" + b"x" * 5000
    with pytest.raises(ProtocolError) as caught:
        refuse(reply(status, page, media_type), "sent")
    assert caught.value.status == status
    assert caught.value.excerpt.startswith("<title>Sign in</title>?xxx")
    assert len(caught.value.excerpt) == 200


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_names_only_the_host(status: int) -> None:
    target = "https://login.example.org/start?token=abc"
    with pytest.raises(ProtocolError, match=r"redirect to login\.example\.org,") as caught:
        refuse(reply(status, b"", "", location=target), "sent")
    assert "abc" not in str(caught.value)


@pytest.mark.parametrize("location", ["/elsewhere", "", "http://["])
def test_a_redirect_without_host(location: str) -> None:
    with pytest.raises(ProtocolError, match="redirect to another"):
        refuse(reply(302, b"", "", location=location), "sent")


def test_json_of() -> None:
    assert json_of(b'{"a": [1, 0.50]}', None) == {"a": [Decimal(1), Decimal("0.50")]}
    with pytest.raises(ProtocolError, match="broken JSON"):
        json_of(b"{", None)
