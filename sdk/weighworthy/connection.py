"""What a client is told about the way to its service, checked before the first call."""

import math
import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import SplitResult, urlsplit

import requests

from weighworthy.transport import Limits

_LOOPBACK = re.compile(r"(?:.+\.)?localhost|127\.[0-9.]+|::1")
_NO_PROXY: Mapping[str, Any] = {"http": None, "https": None, "all": None}


def is_loopback(parts: SplitResult) -> bool:
    """Whether the URL leads to this computer itself."""
    return _LOOPBACK.fullmatch(parts.hostname or "") is not None


def proxies_for(parts: SplitResult) -> dict[str, Any]:
    """None for this computer's own addresses, else what the environment says."""
    return dict(_NO_PROXY) if is_loopback(parts) else {}


class Bearer:
    """As a callable, because a .netrc entry replaces an Authorization header set otherwise."""

    def __init__(self, api_key: str) -> None:
        self._value = f"Bearer {api_key}"

    def __call__(self, request: requests.PreparedRequest) -> requests.PreparedRequest:
        request.headers["Authorization"] = self._value
        return request


def no_auth(request: requests.PreparedRequest) -> requests.PreparedRequest:
    """Send no credentials, also none from a .netrc."""
    return request


def checked_url(url: str) -> SplitResult:
    """The parts of a service URL; raises ``ValueError``."""
    parts = urlsplit(url)
    # The URL is not repeated in these messages: it may hold a password.
    if parts.username is not None or parts.password is not None:
        raise ValueError("the URL must not hold a user name or password; use api_key")
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise ValueError("the URL must be http://host or https://host, with a port and path if any")
    if parts.query or parts.fragment:
        raise ValueError("the URL must not have a query or a fragment")
    _ = parts.port  # raises ValueError when it is no port
    return parts


def check_key(api_key: str, parts: SplitResult, allow_plain_http: bool) -> None:
    """Raise ``ValueError`` if the key cannot be sent, or could be read on the way."""
    if not re.fullmatch(r"[!-~]+", api_key):
        raise ValueError("api_key must be printable ASCII without blanks")
    if parts.scheme == "http" and not is_loopback(parts) and not allow_plain_http:
        raise ValueError(
            "an API key over http can be read by anyone on the way: use https, or "
            "allow_plain_http=True if the network is trusted"
        )


def checked_limits(timeout: tuple[float, float], retries: int, deadline: float) -> Limits:
    """Limits in seconds; raises ``ValueError``."""
    connect, read = timeout
    for seconds in (connect, read, deadline):
        if not (math.isfinite(seconds) and seconds > 0):
            raise ValueError("timeout and deadline are positive numbers of seconds")
    if retries < 0:
        raise ValueError("retries must not be negative")
    return Limits(connect=connect, read=read, retries=retries, deadline=deadline)
