"""Names of time zones."""

from functools import cache
from typing import Final
from zoneinfo import ZoneInfo, available_timezones

# Among the names, but no zones: a placeholder, and what is this machine's own.
_NO_ZONES: Final = frozenset({"Factory", "localtime"})


def zone_of(name: str) -> ZoneInfo | None:
    """The zone of an IANA name; None for any other text.

    Beside the zones, systems have files that can be read like them and mean something else, such as
    clocks that count leap seconds.
    """
    return ZoneInfo(name) if name in _names() else None


@cache
def _names() -> frozenset[str]:
    return frozenset(available_timezones() - _NO_ZONES)
