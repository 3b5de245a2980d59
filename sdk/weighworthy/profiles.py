"""What a client asks of the service about tolerance profiles.

Wherever a profile is taken it may be a name (``"id"`` or ``"id@revision"``), a whole document, or
a file: a ``pathlib.Path`` to TOML or JSON, or what `open_profile` gave. Parents that a file builds
on are looked for beside it, and sent along.
"""

import os
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from typing import Any, Literal, TypeAlias
from urllib.parse import quote

from weighworthy.inputs import Day, Environment, Instrument, Occasion, Quantity, Weight
from weighworthy.profile_files import ProfileFile, open_profile
from weighworthy.profile_groups import compare_past
from weighworthy.profile_results import (
    Card,
    Comparison,
    Resolution,
    Review,
    read_card,
    read_resolution,
    read_review,
)
from weighworthy.replies import json_of
from weighworthy.results import frozen
from weighworthy.site import Site, merged
from weighworthy.values import plain

ProfileLike: TypeAlias = str | os.PathLike[str] | ProfileFile | Mapping[str, Any]
Load: TypeAlias = Sequence[str]
Form: TypeAlias = Literal["json", "html", "text"]

_MEDIA_TYPES: dict[str, str] = {
    "json": "application/json",
    "html": "text/html",
    "text": "text/plain",
}


@dataclass(frozen=True, slots=True)
class Profiles:
    """The calls about profiles, reached as ``client.profiles``; errors as `Client.evaluate`.

    Instruments and weights may be named as the site names them. Files raise as `open_profile`.
    """

    _send: Callable[..., tuple[bytes, str | None]]
    _site: Site

    def list(self) -> Any:
        """The profiles that the service has, each with revision, dates and digest, read-only."""
        return frozen(json_of(*self._send("GET", "/v1/profiles", None, None)))

    def get(self, id: str, revision: str | None = None) -> Any:  # noqa: A002 - the field's name
        """A profile that the service has, read-only: who, when, digest, and its ``document``.

        The document has its parents' rules in it and can be sent again. ``id`` may be
        ``"id@revision"``; without a revision there must be only one to choose.
        """
        name, _, pinned = id.partition("@")
        revision = revision or pinned or None
        # Checked here, because a slash or dots would lead to another address of the service.
        if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,63}", name):
            raise ValueError(f"{id[:80]!r} is no profile id")
        query = "" if revision is None else f"?revision={quote(revision, safe='')}"
        document = json_of(*self._send("GET", f"/v1/profiles/{name}{query}", None, None))
        return frozen(_with_counts(document))

    def review(
        self,
        profile: ProfileLike,
        *,
        instruments: Sequence[Instrument | str] | None = None,
        weights: Mapping[str, Weight] | None = None,
        loads: Mapping[str, Any] | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        performed_on: Day | None = None,
        spread: str | None = None,
    ) -> Review:
        """Errors of a profile, what is remarkable, and how its limits judge these instruments.

        Without ``instruments`` all of the site, without ``weights`` all of the site. ``loads``
        names weights for each check: ``{"span": [["A50"]], "linearity": [["A2"], ["A20"]],
        "simulated-loss": {"initial": ["A10", "A2"], "final": ["A10"]}}``, and so on for the other
        kinds, each as the description of the service has it. ``spread``, the standard
        deviation of the true errors of such balances in halves of the tolerance, adds global risks.
        A profile with errors is a result, not an exception.
        """
        source = _opened(profile)
        request = {
            **as_sent(source),
            "instruments": self._instruments(instruments),
            "weights": {**self._site.weights, **plain(weights or {}, "weights")} or None,
            "loads": plain(loads, "loads"),
            "environment": plain(environment, "environment"),
            "method": method,
            "performed_on": plain(performed_on, "performed_on"),
            "spread": spread,
        }
        body, answered_id = self._post("review", request)
        return read_review(body, answered_id, _file(source))

    def resolve(
        self,
        profile: ProfileLike,
        *,
        instrument: Instrument | str,
        check: str,
        method: str | None = None,
        stage: str | None = None,
        load: Load | None = None,
        weights: Mapping[str, Weight] | None = None,
        performed_on: Day | None = None,
    ) -> Resolution:
        """The settings in force for a check of an instrument, where each was made, and what lost.

        With ``load`` (names of weights) the limits are also given as numbers for it.
        """
        source = _opened(profile)
        request = {
            **as_sent(source),
            "instrument": self._instrument(instrument),
            "check": check,
            "method": method,
            "stage": stage,
            "load": load,
            "weights": self._weights(weights, load) if load is not None else None,
            "performed_on": plain(performed_on, "performed_on"),
        }
        body, answered_id = self._post("resolve", request)
        return read_resolution(body, answered_id, _file(source))

    def compare(
        self,
        before: ProfileLike | None = None,
        after: ProfileLike | None = None,
        *,
        instruments: Sequence[Instrument | str] | None = None,
        requests: Iterable[Mapping[str, Any]] = (),
        weights_before: Mapping[str, Weight] | None = None,
        weights_after: Mapping[str, Weight] | None = None,
        methods: Sequence[str] | None = None,
        loads: Sequence[Quantity] | None = None,
        performed_on: Day | None = None,
        progress: Callable[[int, int], None] | None = None,
    ) -> Comparison:
        """What a change of profile, or of weights, means for instruments and for past checks.

        ``requests`` are past check requests, each with its ``check``; what they leave out comes
        from the site. ``weights_before`` and ``weights_after`` replace those of the same name in
        them: two certificates of one set. A side without profile judges each request by its own.
        ``loads`` (masses such as ``"20 g"``) and ``methods`` add to what limits are compared for.
        Requests that cannot be judged are counted and named, with every fault. Many are sent in
        groups, each of a few seconds, and the answers added up; ``progress`` is then told how many
        are done, and of how many.
        """
        own_profiles = before is None or after is None
        request = {
            "before": _side(before, weights_before),
            "after": _side(after, weights_after),
            "instruments": self._instruments(instruments),
            "methods": methods,
            "loads": plain(loads, "loads"),
            "performed_on": plain(performed_on, "performed_on"),
        }
        past = [self._past(i, one, own_profiles) for i, one in enumerate(requests)]
        ask = partial(self._post, "compare")
        return compare_past(ask, request, past, progress or _untold)

    def card(
        self,
        profile: ProfileLike | None = None,
        *,
        instrument: Instrument | str,
        check: str,
        load: Load | Sequence[Load] | None = None,
        initial: Load | None = None,
        final: Load | None = None,
        basis: Literal["wet", "dry"] | None = None,
        heating: bool | None = None,
        loads: Mapping[str, Any] | None = None,
        weights: Mapping[str, Weight] | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        occasion: Occasion | None = None,
        performed_on: Day | None = None,
        form: Form = "json",
    ) -> Card:
        """The bench card of a check: which weights, and between which readings it passes.

        ``load`` for span, linearity and other kinds that are done with one load; ``initial``,
        ``final`` and ``basis`` for a simulated loss; ``loads``, as a review has it for the kind,
        where a kind takes neither.
        Without ``profile`` that of the site. ``form``: ``"json"``, ``"html"`` (a page to print) or
        ``"text"``.
        """
        request = {
            **as_sent(self._site.profile if profile is None else profile),
            "instrument": self._instrument(instrument),
            "check": check,
            "load": load,
            "initial": initial,
            "final": final,
            "basis": basis,
            "heating": heating,
            "loads": plain(loads, "loads"),
            "weights": self._weights(weights, [load, initial, final, loads]),
            "environment": plain(environment, "environment"),
            "method": method,
            "occasion": occasion,
            "performed_on": plain(performed_on, "performed_on"),
        }
        media_type = _MEDIA_TYPES[form]
        body, answered_id = self._post("card", request, media_type)
        return read_card(body, media_type, answered_id)

    def _post(
        self, what: str, request: Mapping[str, Any], accept: str = "application/json"
    ) -> tuple[bytes, str | None]:
        stated = {name: value for name, value in request.items() if value is not None}
        return self._send("POST", f"/v1/profiles/{what}", stated, None, accept)

    def _instruments(self, given: Sequence[Instrument | str] | None) -> Any:
        if given is None:
            return [*self._site.instruments.values()] or None
        return [self._instrument(instrument) for instrument in given]

    def _instrument(self, given: Instrument | str) -> Any:
        return merged({"instrument": plain(given, "instrument")}, self._site)["instrument"]

    def _weights(self, given: Mapping[str, Weight] | None, load: object) -> Any:
        own = plain(given or {}, "weights")
        return merged({"load": _flat(load), "weights": own}, self._site)["weights"] or None

    def _past(self, index: int, past: Mapping[str, Any], with_profile: bool) -> dict[str, Any]:
        try:
            complete = merged(plain(past), self._site)
        except (TypeError, ValueError) as error:
            raise type(error)(f"requests[{index}]: {error}") from None
        if not with_profile:
            complete.pop("profile", None)  # both sides bring their own; many copies would be sent
        return complete


def _untold(_done: int, _of: int) -> None:
    return


def _opened(profile: ProfileLike) -> str | ProfileFile | Mapping[str, Any]:
    return open_profile(profile) if isinstance(profile, os.PathLike) else profile


def _file(source: object) -> ProfileFile | None:
    return source if isinstance(source, ProfileFile) else None


def as_sent(profile: ProfileLike | None) -> dict[str, Any]:
    """The profile as members of a request; a TOML file as text, so that lines can be named."""
    if isinstance(profile, ProfileFile):
        return dict(profile.members)
    if isinstance(profile, os.PathLike):
        return dict(open_profile(profile).members)
    return {"profile": plain(profile, "profile", counts=True)}


def _side(profile: ProfileLike | None, weights: Mapping[str, Weight] | None) -> dict[str, Any]:
    return {**as_sent(profile), "weights": plain(weights, "weights")}


def _with_counts(value: Any) -> Any:
    """Whole numbers as ``int``, so that a document that was read can be sent and written again."""
    if isinstance(value, dict):
        return {name: _with_counts(item) for name, item in value.items()}
    if isinstance(value, list):
        return [_with_counts(item) for item in value]
    return int(value) if isinstance(value, Decimal) and value == int(value) else value


def _flat(load: object) -> list[str]:
    if isinstance(load, str):
        return [load]
    if isinstance(load, Mapping):
        return _flat([*load.values()])
    if isinstance(load, list | tuple):
        return [name for item in load for name in _flat(item)]
    return []
