"""What a client asks before anybody weighs: which weights, how tight, how much, what limits."""

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from weighworthy.inputs import Day, Environment, Instrument, Quantity, Weight
from weighworthy.profile_files import ProfileFile
from weighworthy.profiles import ProfileLike, as_sent
from weighworthy.replies import json_of
from weighworthy.results import frozen
from weighworthy.site import Site, merged
from weighworthy.values import plain

Weights: TypeAlias = Mapping[str, Weight] | Sequence[str]
Basis: TypeAlias = Literal["wet", "dry"]
PLANS: tuple[str, ...] = ("simulated-loss", "tolerance", "sample", "product")


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan; ``data`` is the whole document, read-only, numbers as `decimal.Decimal`.

    ``because`` says why, ``assumed`` what was taken that nobody stated, ``cautions`` what to beware
    of; ``raw`` are the bytes of the document.
    """

    plan: str
    because: tuple[str, ...]
    assumed: tuple[Mapping[str, str], ...]
    cautions: tuple[str, ...]
    data: Mapping[str, Any] = field(repr=False)
    raw: bytes = field(repr=False)
    request_id: str | None = field(default=None, repr=False, compare=False)

    def __getitem__(self, name: str) -> Any:
        """A member of the document."""
        return self.data[name]


@dataclass(frozen=True, slots=True)
class Plans:
    """The calls about plans, reached as ``client.plans``; errors as `Client.evaluate`.

    ``instrument``  as the site names it, or a mapping; a plan needs its ``repeatability``
    ``weights``     those the laboratory owns: names of the site's, or a mapping; absent: all of the
                    site, for `tolerance` those that its loads name
    """

    _send: Callable[..., tuple[bytes, str | None]]
    _site: Site

    def simulated_loss(
        self,
        *,
        instrument: Instrument | str,
        weights: Weights | None = None,
        within: Quantity | None = None,
        decision: Mapping[str, str] | None = None,
        profile: ProfileLike | None = None,
        start_window: Mapping[str, str] | None = None,
        basis: Basis | None = None,
        heating: bool | None = None,
        wanted_loss: Quantity | None = None,
        loss_allowance: Quantity | None = None,
        off_by: Quantity | None = None,
        ratio: str | None = None,
        false_rejection: Quantity | None = None,
        weights_on_pan: int | None = None,
        show: int | None = None,
        environment: Environment | None = None,
        method: str | None = None,
        performed_on: Day | None = None,
    ) -> Plan:
        """Which weights to put on and which to lift off, ranked.

        The tolerance is ``within`` with ``decision``, or that of ``profile``; without either that
        of the site's profile.
        """
        return self._stated("simulated-loss", locals())

    def tolerance(
        self,
        *,
        instrument: Instrument | str,
        loads: Mapping[str, Any],
        weights: Weights | None = None,
        wanted: Mapping[str, Quantity] | None = None,
        decision: Mapping[str, str] | None = None,
        ratio: str | None = None,
        false_rejection: Quantity | None = None,
        weights_share: Quantity | None = None,
        environment: Environment | None = None,
    ) -> Plan:
        """The tightest honest tolerances, what limits them, and which class of weights will do.

        ``loads`` as of `Profiles.review`.
        """
        return self._stated("tolerance", locals())

    def sample(
        self,
        *,
        instrument: Instrument | str,
        loss: Quantity,
        target_uncertainty: Quantity,
        share: Quantity | None = None,
        basis: Basis | None = None,
        heating: bool | None = None,
        coverage: Quantity | None = None,
        required_accuracy: Quantity | None = None,
        safety_factor: str | None = None,
        slope_error: Quantity | None = None,
        sample_masses: Sequence[Quantity] | None = None,
    ) -> Plan:
        """The smallest sample at which the balance takes no more than its share."""
        return self._stated("sample", locals())

    def product(
        self,
        *,
        instrument: Instrument | str,
        typical: Quantity,
        sample_mass: Quantity,
        weights: Weights | None = None,
        lower_limit: Quantity | None = None,
        upper_limit: Quantity | None = None,
        share_of_room: Quantity | None = None,
        target_uncertainty: Quantity | None = None,
        share: Quantity | None = None,
        basis: Basis | None = None,
        heating: bool | None = None,
        start_window: Mapping[str, str] | None = None,
        decision: Mapping[str, str] | None = None,
        ratio: str | None = None,
        false_rejection: Quantity | None = None,
        weights_share: Quantity | None = None,
        id: str | None = None,  # noqa: A002  the name in the document
        revision: str | None = None,
        title: str | None = None,
        method: str | None = None,
        environment: Environment | None = None,
    ) -> Plan:
        """Limits that keep the balance within its part of a product's room, as a profile."""
        return self._stated("product", locals())

    def ask(self, plan: str, request: Mapping[str, Any]) -> Plan:
        """Any plan by its name, from a whole request; what it leaves out comes from the site.

        Raises ``ValueError`` for a plan that there is not.
        """
        if plan not in PLANS:
            raise ValueError(f"there is no plan {plan[:40]!r}; there are {', '.join(PLANS)}")
        stated = {name: value for name, value in request.items() if value is not None}
        complete = self._complete(plan, stated)
        body, answered_id = self._send("POST", f"/v1/plans/{plan}", complete, None)
        document = frozen(json_of(body, answered_id))
        return Plan(
            document["plan"],
            document["because"],
            document["assumed"],
            document["cautions"],
            document,
            body,
            answered_id,
        )

    def _stated(self, plan: str, given: Mapping[str, Any]) -> Plan:
        return self.ask(plan, {name: value for name, value in given.items() if name != "self"})

    def _complete(self, plan: str, stated: Mapping[str, Any]) -> dict[str, Any]:
        request = dict(stated)
        profile = request.pop("profile", None)
        own_limit = "within" in request or "profile_toml" in request
        if plan == "simulated-loss" and profile is None and not own_limit:
            profile = self._site.profile
        sent = as_sent(profile) if isinstance(profile, os.PathLike | ProfileFile) else {}
        if profile is not None and not sent:
            sent = {"profile": plain(profile, "profile", counts=True)}
        weights = self._weights(plan, request.pop("weights", None), request.get("loads"))
        complete = plain(request)
        instrument = {"instrument": complete.get("instrument")}
        complete |= merged(instrument, Site(instruments=self._site.instruments))
        if weights is not None:
            complete["weights"] = weights
        return {**complete, **sent}

    def _weights(self, plan: str, given: Weights | None, loads: Any) -> Any:
        if plan == "sample":
            return None if given is None else plain(given, "weights")
        if isinstance(given, Mapping):
            return plain(given, "weights")
        known = self._site.weights
        if given is None:
            names = _named(loads) if plan == "tolerance" else list(known)
            return {name: known[name] for name in names if name in known}
        missing = [name for name in given if name not in known]
        if isinstance(given, str) or missing:
            raise ValueError(
                f"weights {given!r}: name weights of the site ({', '.join(known) or 'none'}), or "
                "give them as a mapping"
            )
        return {name: known[name] for name in given}


def _named(loads: Any) -> list[str]:
    """Names of weights, in whatever shape loads have."""
    if isinstance(loads, str):
        return [loads]
    if isinstance(loads, Mapping):
        parts = [value for key, value in loads.items() if key not in ("basis", "heating")]
    else:
        parts = list(loads) if isinstance(loads, list | tuple) else []
    return list(dict.fromkeys(name for part in parts for name in _named(part)))
