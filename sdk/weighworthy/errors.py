"""What can go wrong between a script and the service, grouped by what to do next.

A check that fails or is void is a result, never an exception.
"""
# The names say what happened; only the bases that one catches carry "Error".
# ruff: noqa: N818

import errno
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

# There is no room, or no more is allowed; the system then does not say of which file.
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)

_MOST_SHOWN, _LONGEST_SHOWN = 10, 300


class WeighworthyError(Exception):
    """Base of everything this package raises about a call to the service."""


class TransportError(WeighworthyError):
    """No answer arrived. ``request_id`` is the id that was sent, for the service's log."""

    def __init__(self, message: str, request_id: str | None = None) -> None:
        super().__init__(message, request_id)
        self.message = message
        self.request_id = request_id

    def __str__(self) -> str:
        return _with_id(self.message, self.request_id)


class ConnectFailed(TransportError):
    """The connection could not be made, or was lost. Look at the URL, the network, the service."""


class TimedOut(TransportError):
    """The service took the request and stayed silent for longer than the read time-out."""


class DeadlineExceeded(TransportError):
    """The total deadline over all attempts of the call ran out."""


class TlsFailed(TransportError):
    """No trusted TLS connection. Look at ``verify`` and ``cert``."""


class ProtocolError(WeighworthyError):
    """Something answered, but not this service: a proxy's login page, a redirect, broken JSON.

    ``excerpt`` is the readable beginning of the body, ``retry_after`` in seconds.
    """

    def __init__(
        self,
        message: str,
        status: int | None = None,
        excerpt: str = "",
        request_id: str | None = None,
        retry_after: float | None = None,
    ) -> None:
        super().__init__(message, status, excerpt, request_id, retry_after)
        self.message = message
        self.status = status
        self.excerpt = excerpt
        self.request_id = request_id
        self.retry_after = retry_after

    def __str__(self) -> str:
        text = self.message if self.status is None else f"HTTP {self.status}: {self.message}"
        if self.excerpt:
            text += f"\n  it begins: {self.excerpt}"
        return _with_id(text, self.request_id)


@dataclass(frozen=True, slots=True)
class FieldError:
    """One fault of a request: JSON pointer (RFC 6901), stable code, sentence for people."""

    pointer: str
    code: str
    detail: str


class ProblemError(WeighworthyError):
    """The service answered with a problem document (RFC 9457).

    ``problem`` is the whole document as read, ``retry_after`` in seconds. A problem type this
    version does not know is raised as this class itself.
    """

    def __init__(  # noqa: PLR0917 - positional, so that pickle can rebuild it from args
        self,
        status: int,
        type: str = "about:blank",  # noqa: A002 - the name RFC 9457 gives the member
        title: str = "",
        detail: str = "",
        errors: Sequence[FieldError] = (),
        request_id: str | None = None,
        retry_after: float | None = None,
        problem: Mapping[str, Any] | None = None,
    ) -> None:
        self.status = status
        self.type = type
        self.title = title
        self.detail = detail
        self.errors = tuple(errors)
        self.request_id = request_id
        self.retry_after = retry_after
        self.problem = dict(problem or {})
        super().__init__(
            status, type, title, detail, self.errors, request_id, retry_after, self.problem
        )

    @property
    def slug(self) -> str:
        """Last part of the problem type: ``invalid`` of ``/problems/invalid``."""
        return slug_of(self.type)

    def __str__(self) -> str:
        head = f"{self.status} {self.slug}"
        lines = [f"{head}: {_short(self.title)}" if self.title else head]
        if self.detail and self.detail != self.title and not self._repeats_a_fault():
            lines.append(f"  {_short(self.detail)}")
        lines += [
            f"  {_short(e.pointer) or '(whole request)'}: {_short(e.detail)} [{e.code}]"
            for e in self.errors[:_MOST_SHOWN]
        ]
        if len(self.errors) > _MOST_SHOWN:
            lines.append(f"  … and {len(self.errors) - _MOST_SHOWN} more")
        if self.retry_after is not None:
            lines.append(f"  try again after {self.retry_after:g} s")
        return _with_id("\n".join(lines), self.request_id)

    def _repeats_a_fault(self) -> bool:
        """Whether the sentence is only that of the first fault, which is listed too."""
        if not self.errors:
            return False
        first = self.errors[0]
        told = re.sub(r" \(and (at least )?[0-9]+ more\)$", "", self.detail)
        return told in (first.detail, f"{first.pointer}: {first.detail}")


class RequestRefused(ProblemError):
    """The request, or what it names, has to be changed; sending it again helps nothing."""


class AccessRefused(ProblemError):
    """The API key is missing or may not do this; ask who runs the service."""


class TryAgainLater(ProblemError):
    """The service is there and has no room now; ``retry_after`` says for how long."""


class ServiceFailed(ProblemError):
    """A fault of the service; report it with the request id."""


class MalformedJson(RequestRefused):
    """The body is not the JSON the service takes."""


class NotFound(RequestRefused):
    """There is nothing under this path: often a wrong base path in the URL."""


class MethodNotAllowed(RequestRefused):
    """The path does not take this HTTP method."""


class NotAcceptable(RequestRefused):
    """No media type of the service fits the Accept header."""


class DigestDiffers(RequestRefused):
    """Another profile content is in force than ``expect_profile_digest`` says."""


class LengthRequired(RequestRefused):
    """A body came without Content-Length, as some proxies send it."""


class TooLarge(RequestRefused):
    """The request is larger than the service takes."""


class UnsupportedMediaType(RequestRefused):
    """The service does not take this Content-Type."""


class Invalid(RequestRefused):
    """Fields of the request are wrong; ``errors`` has each of them."""


class ProfileNotUsable(RequestRefused):
    """The profile that was named or given cannot be used."""


class BodyIncomplete(RequestRefused):
    """The service did not get the whole body; nothing of it was judged."""


class TooSlow(RequestRefused):
    """The body took longer to arrive than the service waits."""


class TableNotUsable(RequestRefused):
    """The table cannot be read, or can be read in two ways; ``errors`` say what to do."""


class MappingNotUsable(RequestRefused):
    """The mapping document of a table cannot be used, or names columns that the table has not."""


class GroupIncomplete(RequestRefused):
    """Another row of the same gathered check could not be read."""


class KeyMissing(AccessRefused):
    """The service wants an API key."""


class KeyNotAllowed(AccessRefused):
    """The API key is not known, or may not do this."""


class CrossSite(AccessRefused):
    """A page of another site asked, through a browser; no program gets this by itself."""


class RateLimited(TryAgainLater):
    """Too many calls in a short time."""


class Overloaded(TryAgainLater):
    """The service is too busy, or starting or stopping."""


class Internal(ServiceFailed):
    """An unexpected fault inside the service."""


class TableFileError(ValueError):
    """A file that cannot be read or written as a table, told before anything is sent."""


class ProfileFileError(ValueError):
    """A profile file, or a folder of them, that cannot be used.

    ``faults`` has the sentences, each beginning with the file (and line, where one is known), as in
    ``harbour.toml:3: not-utf-8: …``.
    """

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(self.faults))

    def __reduce__(self) -> tuple[Any, ...]:
        return ProfileFileError, (self.faults,)


PROBLEMS: dict[str, type[ProblemError]] = {
    "malformed-json": MalformedJson,
    "key-missing": KeyMissing,
    "key-not-allowed": KeyNotAllowed,
    "cross-site": CrossSite,
    "not-found": NotFound,
    "method-not-allowed": MethodNotAllowed,
    "not-acceptable": NotAcceptable,
    "digest-differs": DigestDiffers,
    "length-required": LengthRequired,
    "too-large": TooLarge,
    "unsupported-media-type": UnsupportedMediaType,
    "invalid": Invalid,
    "profile-not-usable": ProfileNotUsable,
    "body-incomplete": BodyIncomplete,
    "too-slow": TooSlow,
    "table-not-usable": TableNotUsable,
    "mapping-not-usable": MappingNotUsable,
    "group-incomplete": GroupIncomplete,
    "rate-limited": RateLimited,
    "internal": Internal,
    "overloaded": Overloaded,
}


def slug_of(problem_type: str) -> str:
    """Last path segment of a problem type, relative or absolute."""
    return problem_type.rstrip("/").rpartition("/")[2]


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST_SHOWN else text[:_LONGEST_SHOWN] + "…"


def _with_id(text: str, request_id: str | None) -> str:
    return text if request_id is None else f"{text}\n  request id {request_id}"
