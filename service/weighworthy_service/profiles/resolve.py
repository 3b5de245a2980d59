"""From a profile to the terms of one check: for each setting the last matching rule wins whole."""

from collections.abc import Iterable
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.terms import LimitInForce, Terms, Validity
from weighworthy_service.profiles.document import (
    JUDGED_STAGES,
    Profile,
    Requirement,
)
from weighworthy_service.profiles.meaning import Judging


def terms_for(
    profile: Profile,
    check_slug: str,
    circumstances: Circumstances,
    kinds: Iterable[Judging] = KINDS,
) -> Terms:
    """The terms of one check, with its own for stages that some rule singles out."""
    kind = next(kind for kind in kinds if kind.slug == check_slug)
    terms = _terms(profile, kind, None, circumstances)
    if not kind.staged or not any(rule.stages for rule in profile.rules):
        return terms
    stages = {stage: _terms(profile, kind, stage, circumstances) for stage in JUDGED_STAGES}
    return replace(terms, stages=MappingProxyType(stages))


def _terms(
    profile: Profile, kind: Judging, stage: str | None, circumstances: Circumstances
) -> Terms:
    names = {criterion.name for criterion in kind.criteria}
    limits: dict[str, LimitInForce] = {}
    validity: dict[str, Requirement] = {}
    single: dict[str, Any] = {}
    for rule in profile.rules:
        if not rule.applies(kind.slug, stage, circumstances):
            continue
        limits.update((name, limit) for name, limit in rule.limits.items() if name in names)
        validity.update(rule.validity)
        for name in ("decision", "start_window", "weights_correlation"):
            if (value := getattr(rule, name)) is not None:
                single[name] = value
    return Terms(
        profile=profile.identity,
        limits=MappingProxyType(limits),
        validity=Validity(**validity),  # type: ignore[arg-type]  # keys and values match by form
        use_on=profile.use_on,
        **single,
    )
