"""The settings in force for one check, as they were written: for each the last matching rule."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.document import Profile, Rule

_WHOLE = ("decision", "start_window", "weights_correlation", "schedule", "response")
_BY_NAME = ("limits", "validity")


@dataclass(frozen=True, slots=True)
class Written:
    """A setting in its JSON form, and the rule that made it (None: the profile as a whole)."""

    form: Any
    rule: Rule | None


def written_settings(
    profile: Profile, kind: Kind, stage: str | None, circumstances: Circumstances
) -> Mapping[str, Written]:
    """Every setting in force by its name, like `limits.span_error`; what is not set is not there.

    The same rules as `terms_for`, but also for what no evaluation needs: schedule and response.
    """
    found: dict[str, Written] = {"use_on": Written(list(profile.use_on), None)}
    for rule, document in zip(profile.rules, profile.document["rules"], strict=True):
        if rule.applies(kind.slug, stage, circumstances):
            found |= {name: Written(form, rule) for name, form in stated_settings(document, kind)}
    return found


def stated_settings(document: Mapping[str, Any], kind: Kind) -> Iterator[tuple[str, Any]]:
    """The settings of a plain rule that the kind of check knows, by name, in their JSON form."""
    criteria = {criterion.name for criterion in kind.criteria}
    elsewhere = {name for other in KINDS for name in other.settings} - {*kind.settings}
    stated = {
        **{name: document.get(name) for name in _WHOLE},
        **{
            f"{group}.{name}": form
            for group in _BY_NAME
            for name, form in (document.get(group) or {}).items()
            if group != "limits" or name in criteria
        },
    }
    for name, form in stated.items():
        if form is not None and name not in elsewhere:
            yield name, form
