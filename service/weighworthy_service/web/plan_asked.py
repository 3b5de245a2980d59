"""From the bodies of plans to what the plans are asked."""

from collections.abc import Mapping
from datetime import UTC, datetime, time
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Loads
from weighworthy_service.checks.terms import StartWindow, Terms
from weighworthy_service.metrology.buoyancy import Environment
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.rounding import rounded_up
from weighworthy_service.metrology.weights import by_name
from weighworthy_service.plans.asking import COVERAGE, LOSS, LOSS_ERROR, SPAN, stated_profile
from weighworthy_service.plans.combinations import DEFAULT_ON_PAN, Aim
from weighworthy_service.plans.loss_options import Wanted
from weighworthy_service.plans.loss_plan import (
    DEFAULT_RATIO,
    DEFAULT_REJECTION,
    DEFAULT_SHOWN,
    LossAsked,
)
from weighworthy_service.plans.product_found import ProductAsked
from weighworthy_service.plans.result import Result
from weighworthy_service.plans.smallest_sample import SampleAsked
from weighworthy_service.plans.tightest import Honest
from weighworthy_service.plans.tolerance_plan import ToleranceAsked
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.refusal import from_flaws, refusal_of
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.web.asking import asked_profile
from weighworthy_service.wire.coded import FieldError, field_errors
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import loads_in

Stated = Mapping[str, Any]
# Of the day, only the date is looked at.
_NOON: Final = time(12, tzinfo=UTC)
_GUARDED: Final = {"rule": "guarded", "guard_factor": "1", "coverage": "95.45 %"}
_A_FIFTH: Final = Decimal("0.2")
# Digits of an allowance that nobody states.
_TOLD: Final = 3
_A_HALF: Final = Decimal("0.5")
_A_THIRD: Final = Fraction(1, 3)


def loss_asked(document: Stated, stated: Stated, profiles: ProfileSet) -> LossAsked:
    """What a plan of simulated losses is asked.

    Raises:
        Refusal: the tolerance is given twice, or its profile cannot be used.
    """
    here = _circumstances(stated)
    named = "profile" in stated or "profile_toml" in stated
    if named:
        given = next((name for name in ("within", "decision") if name in stated), None)
        if given is not None:
            said = "a tolerance stands in the profile or in the request, not in both"
            raise refusal_of("invalid", [FieldError(f"/{given}", "contradiction", said)])
        profile = asked_profile(stated, profiles, stated.get("performed_on"))
    else:
        rule: dict[str, Any] = {"decision": document.get("decision") or {}}
        if "within" in stated:
            rule["limits"] = {LOSS_ERROR: {"within": document["within"]}}
        profile = _stated(rule)
    terms = _with_window(terms_for(profile, LOSS.slug, here), stated)
    identity = profile.identity
    return LossAsked(
        here,
        terms,
        {"id": identity.id, "revision": identity.revision, "digest": identity.digest}
        if named
        else None,
        _aim(stated),
        min(stated.get("weights_on_pan", DEFAULT_ON_PAN), len(here.weights)),
        stated.get("show", DEFAULT_SHOWN),
        Wanted(
            stated.get("ratio", DEFAULT_RATIO),
            Fraction(stated.get("false_rejection", DEFAULT_REJECTION)) / 100,
            stated.get("off_by"),
            stated.get("basis", "wet"),
            stated.get("heating"),
        ),
        frozenset(stated),
    )


def tolerance_asked(document: Stated, stated: Stated, form: Form) -> ToleranceAsked:
    """What a plan of tolerances is asked. Raises: Refusal, for a decision that cannot be."""
    here = _circumstances(stated)
    loads: Mapping[str, Loads] = stated["loads"]
    named = list(loads_in(form.fields["loads"], loads, ("loads",)))
    profile = _stated({"decision": document.get("decision") or {}})
    return ToleranceAsked(
        here,
        terms_for(profile, SPAN.slug, here),
        loads,
        named,
        stated.get("wanted") or {},
        _honest(stated),
        frozenset(stated),
    )


def sample_asked(stated: Stated) -> SampleAsked:
    """What a plan of sample masses is asked."""
    share = stated.get("share")
    return SampleAsked(
        stated["instrument"],
        _result(stated, "loss"),
        stated["target_uncertainty"],
        None if share is None else Fraction(share) / 100,
        stated.get("coverage", COVERAGE),
        stated.get("required_accuracy"),
        stated.get("safety_factor"),
        stated.get("slope_error"),
        stated.get("sample_masses") or (),
        frozenset(stated),
    )


def product_asked(document: Stated, stated: Stated) -> ProductAsked:
    """What a plan for a product is asked. Raises: Refusal, for a decision that cannot be."""
    here = _circumstances(stated)
    given = {k: v for k, v in (document.get("decision") or {}).items() if v is not None}
    guarded = given.get("rule", "guarded") != "simple"
    decision = {**(_GUARDED if guarded else {}), **given}
    profile = _stated({"decision": decision})
    mass = stated["sample_mass"]
    window = _window(stated) or StartWindow(mass, rounded_up(EXACT.multiply(mass, _A_FIFTH), _TOLD))
    of_room, share = stated.get("share_of_room"), stated.get("share")
    return ProductAsked(
        here,
        terms_for(profile, SPAN.slug, here),
        _result(stated, "typical"),
        mass,
        stated.get("lower_limit"),
        stated.get("upper_limit"),
        None if of_room is None else Fraction(of_room) / 100,
        stated.get("target_uncertainty"),
        None if share is None else Fraction(share) / 100,
        window,
        _honest(stated),
        stated.get("id", "product-plan"),
        stated.get("revision", "draft"),
        stated.get("title", "Limits from what a product needs"),
        frozenset(stated),
    )


def _aim(stated: Stated) -> Aim:
    wanted, allowance = stated.get("wanted_loss"), stated.get("loss_allowance")
    if allowance is None and wanted is not None:
        allowance = EXACT.multiply(wanted, _A_HALF)
    return Aim(stated.get("basis", "wet"), wanted, allowance)


def _circumstances(stated: Stated) -> Circumstances:
    day = stated.get("performed_on")
    return Circumstances(
        stated["instrument"],
        by_name(stated["weights"]),
        environment=stated.get("environment") or Environment(),
        method=stated.get("method"),
        performed_at=None if day is None else datetime.combine(day, _NOON),
    )


def _honest(stated: Stated) -> Honest:
    share = stated.get("weights_share")
    return Honest(
        stated.get("ratio", DEFAULT_RATIO),
        Fraction(stated.get("false_rejection", DEFAULT_REJECTION)) / 100,
        _A_THIRD if share is None else Fraction(share) / 100,
    )


def _result(stated: Stated, name: str) -> Result:
    return Result(stated[name], stated.get("basis", "wet"), stated.get("heating", True))


def _window(stated: Stated) -> StartWindow | None:
    window = stated.get("start_window")
    if window is None:
        return None
    return StartWindow(window["target"], window["allowance"], window.get("otherwise") or "void")


def _with_window(terms: Terms, stated: Stated) -> Terms:
    window = _window(stated)
    if window is None:
        return terms
    return Terms(
        profile=terms.profile,
        limits=terms.limits,
        decision=terms.decision,
        validity=terms.validity,
        start_window=window,
        weights_correlation=terms.weights_correlation,
        use_on=terms.use_on,
    )


def _stated(rule: Stated) -> Profile:
    """The profile of a rule that stands in the request; faults where the request has them."""
    try:
        return stated_profile([{name: value for name, value in rule.items() if value is not None}])
    except ValidationError as error:
        errors = field_errors(error.messages)
    except ProfileNotUsable as error:
        errors = from_flaws(error.flaws)
    raise refusal_of("invalid", [_moved(error) for error in errors])


def _moved(error: FieldError) -> FieldError:
    at = error.pointer.removeprefix("/rules/0").removeprefix(f"/limits/{LOSS_ERROR}")
    return FieldError(at, error.code, error.detail)
