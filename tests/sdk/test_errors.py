import copy
import pickle

import pytest

from weighworthy import errors

# Typed from the published list of problem types.
SLUGS = (
    "malformed-json",
    "key-missing",
    "key-not-allowed",
    "cross-site",
    "not-found",
    "method-not-allowed",
    "not-acceptable",
    "digest-differs",
    "length-required",
    "too-large",
    "unsupported-media-type",
    "invalid",
    "profile-not-usable",
    "mapping-not-usable",
    "group-incomplete",
    "rate-limited",
    "internal",
    "overloaded",
    "body-incomplete",
    "table-not-usable",
    "too-slow",
)


def camel(slug: str) -> str:
    return "".join(part.capitalize() for part in slug.split("-"))


def test_each_problem_has_one_class() -> None:
    assert {slug: cls.__name__ for slug, cls in errors.PROBLEMS.items()} == {
        slug: camel(slug) for slug in SLUGS
    }


@pytest.mark.parametrize(
    ("slug", "group"),
    [
        ("invalid", errors.RequestRefused),
        ("too-large", errors.RequestRefused),
        ("digest-differs", errors.RequestRefused),
        ("key-missing", errors.AccessRefused),
        ("key-not-allowed", errors.AccessRefused),
        ("rate-limited", errors.TryAgainLater),
        ("overloaded", errors.TryAgainLater),
        ("internal", errors.ServiceFailed),
    ],
)
def test_problems_are_grouped_by_what_to_do(slug: str, group: type[Exception]) -> None:
    assert issubclass(errors.PROBLEMS[slug], group)


def problem(count: int) -> errors.Invalid:
    return errors.Invalid(
        422,
        "/problems/invalid",
        "The request has faults",
        "See errors.",
        [errors.FieldError(f"/points/{i}", "unit-missing", f"fault {i}") for i in range(count)],
        "R-7",
        2.5,
        {"title": "The request has faults"},
    )


def test_the_text_is_one_readable_block() -> None:
    assert str(problem(2)) == (
        "422 invalid: The request has faults\n"
        "  See errors.\n"
        "  /points/0: fault 0 [unit-missing]\n"
        "  /points/1: fault 1 [unit-missing]\n"
        "  try again after 2.5 s\n"
        "  request id R-7"
    )


def test_the_text_is_bounded() -> None:
    many = str(problem(100))
    assert "fault 9 " in many
    assert "fault 10 " not in many
    assert "… and 90 more" in many
    long = errors.ProblemError(500, detail="x" * 10_000)
    assert len(str(long)) < 400


@pytest.mark.parametrize(
    "error",
    [
        problem(2),
        errors.ProblemError(418),
        errors.ProtocolError("no", 502, "<html>", "R-7", 3.0),
        errors.TimedOut("silence", "R-7"),
    ],
)
def test_errors_survive_pickle_and_copy(error: errors.WeighworthyError) -> None:
    for twin in (pickle.loads(pickle.dumps(error)), copy.copy(error)):  # noqa: S301
        assert type(twin) is type(error)
        assert vars(twin) == vars(error)
        assert str(twin) == str(error)


def test_transport_and_protocol_errors_tell_what_they_know() -> None:
    assert str(errors.ConnectFailed("no way", "R-7")) == "no way\n  request id R-7"
    assert str(errors.ProtocolError("not JSON", 502, "<html>")) == (
        "HTTP 502: not JSON\n  it begins: <html>"
    )


def test_one_base_catches_all() -> None:
    own = [v for v in vars(errors).values() if isinstance(v, type) and issubclass(v, Exception)]
    assert len(own) > len(SLUGS)
    # A file on this computer that cannot be read is a fault of its own, before anything is sent.
    files = {errors.TableFileError, errors.ProfileFileError}
    asked = [error for error in own if error not in files]
    assert all(issubclass(error, errors.WeighworthyError) for error in asked)


@pytest.mark.parametrize(
    ("pointer", "detail", "times"),
    [
        ("/profile", "/profile: no such profile", 1),
        ("/profile", "/profile: no such profile (and 2 more)", 1),
        ("/profile", "/profile: no such profile (and at least 99 more)", 1),
        ("", "no such profile", 1),
        # A sentence of its own is told beside the fault.
        ("/profile", "/profile: no such profile; there are others", 2),
        ("/profile", "the set has no such profile", 2),
    ],
)
def test_a_fault_is_told_once(pointer: str, detail: str, times: int) -> None:
    fault = errors.FieldError(pointer, "unknown-profile", "no such profile")
    said = str(errors.Invalid(422, title="Invalid", detail=detail, errors=[fault]))
    assert said.count("no such profile") == times


def test_a_sentence_without_faults_stays() -> None:
    empty = errors.FieldError("", "", "")
    for faults in ([], [empty]):
        assert "too large" in str(errors.TooLarge(413, detail="too large", errors=faults))
