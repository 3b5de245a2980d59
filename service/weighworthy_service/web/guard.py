"""Who may ask: an API key, or in a service of one machine that machine itself."""

import hashlib
import hmac
from ipaddress import IPv6Address, ip_address
from typing import Final

from werkzeug.wrappers import Request

from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.web.settings import Settings

# A proxy on the same machine makes every client look local; these headers give it away.
_PROXY_HEADERS: Final = ("Forwarded", "X-Real-IP", "Via")
_PROXY_PREFIX: Final = "x-forwarded-"


def admit(request: Request, settings: Settings) -> None:
    """Let the request pass, or refuse it.

    Raises:
        Refusal: `key-missing` or `key-not-allowed`.
    """
    if settings.anonymous == "yes":
        return
    scheme, _, key = request.headers.get("Authorization", "").partition(" ")
    if settings.keys and scheme.lower() == "bearer" and key:
        if not _known(key.strip(), settings.keys):
            raise Refusal("key-not-allowed", "this API key is not valid here")
        return
    if settings.anonymous == "no":
        raise Refusal("key-missing", "send an API key: Authorization: Bearer <key>")
    if not _from_this_machine(request):
        raise Refusal(
            "key-missing",
            "without an API key only requests from this machine, not through a proxy, are taken",
        )


def _known(key: str, keys: frozenset[bytes]) -> bool:
    digest = hashlib.sha256(key.encode("utf-8", "surrogateescape")).digest()
    # Every key is compared, so that the time taken says nothing about which came close.
    return sum(hmac.compare_digest(digest, known) for known in keys) > 0


def _from_this_machine(request: Request) -> bool:
    headers = request.headers
    if any(name in headers for name in _PROXY_HEADERS):
        return False
    if any(name.lower().startswith(_PROXY_PREFIX) for name in headers.keys()):  # noqa: SIM118
        return False
    # A page in a browser here can reach this port under a name of its own that it points at us.
    host = request.host.rpartition(":")[0] if _has_port(request.host) else request.host
    return _is_loopback(request.remote_addr or "") and (
        host == "localhost" or _is_loopback(host.strip("[]"))
    )


def _has_port(host: str) -> bool:
    return host.rpartition(":")[2].isdigit() and not host.endswith("]")


def _is_loopback(address: str) -> bool:
    try:
        ip = ip_address(address)
    except ValueError:
        return False
    mapped = ip.ipv4_mapped if isinstance(ip, IPv6Address) else None
    return (mapped or ip).is_loopback
