"""Who may ask: an API key, or in a service of one machine that machine itself."""

import hashlib
import hmac
from ipaddress import IPv6Address, ip_address
from typing import Final

from werkzeug.wrappers import Request

from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.web.keys import Key, Scope
from weighworthy_service.web.settings import Settings

# A proxy on the same machine makes every client look local; these headers give it away.
_PROXY_HEADERS: Final = frozenset(
    {
        "forwarded",
        "via",
        "cdn-loop",
        "cf-connecting-ip",
        "client-ip",
        "true-client-ip",
        "x-client-ip",
        "x-cluster-client-ip",
        "x-real-ip",
    }
)
_PROXY_PREFIXES: Final = ("x-forwarded", "x-original-", "x-envoy-")
# Some proxies say nothing of themselves, but speak the version before that of all clients of today:
# nginx, where it is told no more than an address to pass requests on to.
_OLD: Final = "HTTP/1.0"
_LOOKING: Final = ("GET", "HEAD", "OPTIONS")
# What a browser says of the page that asks: the person, or a page of this very service.
_OWN_PAGES: Final = ("none", "same-origin")
METRICS: Final = "/metrics"


def admit(request: Request, settings: Settings) -> None:
    """Let the request pass, or refuse it.

    Raises:
        Refusal: `key-missing`, `key-not-allowed` or `cross-site`.
    """
    if settings.anonymous == "yes":
        return
    scheme, _, key = request.environ.get("HTTP_AUTHORIZATION", "").partition(" ")
    if settings.keys and scheme.lower() == "bearer" and key:
        _hold_to_scopes(request, _scopes(key.strip(), settings.keys))
        return
    if settings.anonymous == "no":
        raise Refusal("key-missing", "send an API key: Authorization: Bearer <key>")
    if not _from_this_machine(request):
        raise Refusal(
            "key-missing",
            "without an API key only requests from this machine, not through a proxy, are taken",
        )
    if request.method not in _LOOKING and _of_another_site(request):
        raise Refusal(
            "cross-site",
            "a page of another site asked through a browser on this machine; without an API key "
            "only programs, and pages of this service, have anything judged",
        )


def _scopes(key: str, keys: frozenset[Key]) -> frozenset[Scope] | None:
    digest = hashlib.sha256(key.encode("utf-8", "surrogateescape")).digest()
    # Every key is compared, so that the time taken says nothing about which came close.
    found = [one.scopes for one in keys if hmac.compare_digest(digest, one.digest)]
    return found[0] if found else None


def _hold_to_scopes(request: Request, scopes: frozenset[Scope] | None) -> None:
    if scopes is None:
        raise Refusal("key-not-allowed", "this API key is not valid here")
    needed = _needed(request)
    if needed not in scopes:
        said = f"this API key has the scopes {', '.join(sorted(scopes))}; here it needs {needed}"
        raise Refusal("key-not-allowed", said)


def _needed(request: Request) -> Scope:
    if request.path == METRICS:
        return "metrics"
    return "read" if request.method in _LOOKING else "evaluate"


def _from_this_machine(request: Request) -> bool:
    if request.environ.get("SERVER_PROTOCOL") == _OLD:
        return False
    names = {name.lower() for name, _ in request.headers}
    if names & _PROXY_HEADERS or any(name.startswith(_PROXY_PREFIXES) for name in names):
        return False
    # A page in a browser here can reach this port under a name of its own that it points at us.
    host = request.host.rpartition(":")[0] if _has_port(request.host) else request.host
    return _is_loopback(request.remote_addr or "") and (
        host == "localhost" or _is_loopback(host.strip("[]"))
    )


def _of_another_site(request: Request) -> bool:
    """Whether a browser says so; programs that are none say neither."""
    site = request.headers.get("Sec-Fetch-Site", "none").lower()
    own = f"{request.scheme}://{request.host}".lower()
    return site not in _OWN_PAGES or request.headers.get("Origin", own).lower() != own


def _has_port(host: str) -> bool:
    return host.rpartition(":")[2].isdigit() and not host.endswith("]")


def _is_loopback(address: str) -> bool:
    try:
        ip = ip_address(address)
    except ValueError:
        return False
    mapped = ip.ipv4_mapped if isinstance(ip, IPv6Address) else None
    return (mapped or ip).is_loopback
