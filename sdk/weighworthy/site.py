"""The site file: weights, instruments and profile that every request of a laboratory shares."""

import os
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from weighworthy.values import plain

_KEYS = ("weights", "instruments", "profile", "time_zone")


@dataclass(frozen=True, slots=True)
class Site:
    """What is merged under each request. ``time_zone`` is an IANA name, kept for tables."""

    weights: Mapping[str, Any] = field(default_factory=dict)
    instruments: Mapping[str, Any] = field(default_factory=dict)
    profile: str | Mapping[str, Any] | None = None
    time_zone: str | None = None


def load_site(defaults: str | os.PathLike[str] | Mapping[str, Any] | None) -> Site:
    """Read a site file (TOML, UTF-8) or take a mapping with the same content.

    Raises ``OSError`` if the file cannot be read, ``ValueError`` for broken TOML, an unknown key or
    an entry of the wrong shape, ``TypeError`` naming the entry for a number without unit.
    """
    if defaults is None:
        return Site()
    if isinstance(defaults, Mapping):
        return _site(defaults, "defaults")
    path = Path(defaults)
    try:
        # utf-8-sig, because Windows editors put a byte order mark that TOML does not allow.
        content = tomllib.loads(path.read_bytes().decode("utf-8-sig"), parse_float=Decimal)
    except ValueError as error:
        raise ValueError(f"{path.name}: {error}") from error
    return _site(content, path.name)


def _site(content: Mapping[str, Any], where: str) -> Site:
    unknown = sorted(str(key) for key in content if key not in _KEYS)
    if unknown:
        raise ValueError(
            f"{where}: unknown key {', '.join(unknown)}; a site has {', '.join(_KEYS)}"
        )
    # From here on only JSON types, so that a fault shows when the client is made.
    checked = plain(content)
    for group in ("weights", "instruments"):
        entries = checked.get(group) or {}
        if not isinstance(entries, dict) or not all(isinstance(e, dict) for e in entries.values()):
            raise ValueError(f"{where}: {group} must be a table of tables, one for each name")
    if not isinstance(checked.get("profile"), str | dict | None):
        raise ValueError(f"{where}: profile must be a name or a table")
    if not isinstance(checked.get("time_zone"), str | None):
        raise ValueError(f"{where}: time_zone must be an IANA name in quotes")
    return Site(
        weights=checked.get("weights") or {},
        instruments={
            name: {"id": name, **entry}
            for name, entry in (checked.get("instruments") or {}).items()
        },
        profile=checked.get("profile"),
        time_zone=checked.get("time_zone"),
    )


def merged(request: Mapping[str, Any], site: Site) -> dict[str, Any]:
    """Complete a request (JSON types only) from the site; what the request has itself wins.

    Only weights that a ``load`` names are added, each one whole. Raises ``ValueError`` for an
    instrument named as text that the site does not have.
    """
    complete = {name: value for name, value in request.items() if value is not None}
    instrument = complete.get("instrument")
    if isinstance(instrument, str):
        if instrument not in site.instruments:
            known = ", ".join(sorted(site.instruments)) or "none"
            raise ValueError(
                f"instrument {instrument!r} is not in the site's instruments ({known}); "
                "name one of them or give the instrument as a dict"
            )
        complete["instrument"] = site.instruments[instrument]
    own = complete.get("weights", {})
    if isinstance(own, dict):
        names = dict.fromkeys(_loaded(complete))
        shared = {n: site.weights[n] for n in names if n in site.weights and own.get(n) is None}
        if shared:
            complete["weights"] = {**own, **shared}
    if site.profile is not None:
        complete.setdefault("profile", site.profile)
    return complete


def _loaded(value: object) -> Iterator[str]:
    """Names of the weights in every ``load``, at whatever place a kind of check has it."""
    if isinstance(value, dict):
        for name, item in value.items():
            if name == "load" and isinstance(item, list):
                yield from (weight for weight in item if isinstance(weight, str))
            elif name not in ("labels", "profile"):
                yield from _loaded(item)
    elif isinstance(value, list):
        for item in value:
            yield from _loaded(item)
