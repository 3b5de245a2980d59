"""A check request as a whole: the check itself, and what is asked for beside it."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, ClassVar, Final

from weighworthy_service.checks.circumstances import OCCASIONS, Circumstances
from weighworthy_service.metrology.weights import by_name
from weighworthy_service.wire.fields import OneOf
from weighworthy_service.wire.request import CommonForm, weights_field

CIRCUMSTANCES: Final = tuple(field.name for field in fields(Circumstances))
_BESIDE: Final = ("profile", "expect_profile_digest", "labels")


@dataclass(frozen=True, slots=True)
class CheckRequest:
    """What a valid request document says. `check` is the value object of its kind."""

    check: Any
    profile: str | dict[str, Any] | None
    expect_profile_digest: str | None
    labels: Mapping[str, str]


class CheckForm(CommonForm):
    """Base of every kind's request; `builds` is the kind's value object."""

    builds: ClassVar[Any]

    occasion = OneOf(OCCASIONS, metadata={"default": "routine"})

    def build(self, stated: dict[str, Any]) -> CheckRequest:
        """Raises: SenseError, when the values cannot mean anything together."""
        stated.pop("check", None)
        profile, digest, labels = (stated.pop(name, None) for name in _BESIDE)
        circumstances = {name: stated.pop(name) for name in CIRCUMSTANCES if name in stated}
        circumstances["weights"] = by_name(circumstances.get("weights") or {})
        check = self.builds(circumstances=Circumstances(**circumstances), **stated)
        return CheckRequest(check, profile, digest, labels or {})


class WeightlessForm(CheckForm):
    """Base of a kind that can do without reference weights; its loads, if any, may name them."""

    weights = weights_field(required=False)
