"""How long a body may take to come, and whether it is there already."""

from collections.abc import Mapping
from typing import Any, Final
from weakref import WeakSet

_VARIABLE: Final = "WEIGHWORTHY_REQUEST_SECONDS"
USUAL: Final = 15
# In s. The clocks of threads take no time of many years, and what waits so long has no limit.
_LONGEST: Final = 1_000_000
# In the environment of a request: the seconds that its body may take, where it is not a table.
SECONDS: Final = "weighworthy.request_seconds"
# Sockets on which a request did not come, or an answer did not go in time: they serve no more.
LATE: Final[WeakSet[Any]] = WeakSet()


def request_seconds(environment: Mapping[str, str]) -> int:
    """How long a head may take to come, and a body that is no table, in s.

    Raises:
        ValueError: WEIGHWORTHY_REQUEST_SECONDS is none that `seconds` takes.
    """
    return seconds(environment, _VARIABLE, USUAL)


def seconds(environment: Mapping[str, str], name: str, usual: int) -> int:
    """A time from the environment, in s, of at most eleven days.

    Raises:
        ValueError: it is none.
    """
    found = whole(environment, name, usual)
    if found > _LONGEST:
        raise ValueError(f"{name} is {found}; it takes at most {_LONGEST} seconds")
    return found


def whole(environment: Mapping[str, str], name: str, usual: int) -> int:
    """A whole number above zero from the environment.

    Raises:
        ValueError: it is none.
    """
    text = environment.get(name)
    if not text:
        return usual
    if not (text.isascii() and text.isdigit() and len(text) <= 18 and int(text)):
        raise ValueError(f"{name} is {text!r}; it takes a whole number above zero")
    return int(text)


def at_hand(body: Any) -> bool:
    """Whether nothing of a body as gunicorn hands it on would have to be waited for."""
    reader = getattr(body, "reader", None)
    if reader is None or body.failed:
        return False
    length: int | None = getattr(reader, "length", None)
    if length is not None:
        return bool(length <= reader.unreader.buf.getbuffer().nbytes)
    unread: Any = getattr(reader, "parser", body)
    return unread is None  # the last chunk was read
