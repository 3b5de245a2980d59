"""Reviews and resolutions as the documents that are answered."""

from collections.abc import Iterable, Sequence
from typing import Any

from weighworthy_service.checks.answer import number
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.profiles.chances import BEYOND, Chances
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.explain import Candidate, Setting
from weighworthy_service.profiles.judgement import Judgement
from weighworthy_service.profiles.on_balance import Remark
from weighworthy_service.profiles.review import Judged, Review
from weighworthy_service.profiles.source import Place, Source, TomlUnreadable, place_in
from weighworthy_service.wire.coded import FieldError


def unreadable_review(error: TomlUnreadable) -> dict[str, Any]:
    """The review of a text that is no TOML."""
    return _failed([(FieldError("", "malformed-toml", error.detail), error.line)])


def failed_review(source: Source, errors: Iterable[FieldError]) -> dict[str, Any]:
    """The review of a profile that cannot mean anything: each fault with its line, if known."""
    return _failed((error, source.line_at(error.pointer)) for error in errors)


def _failed(errors: Iterable[tuple[FieldError, int | None]]) -> dict[str, Any]:
    return {
        "profile": None,
        "well_formed": False,
        "errors": [
            {"pointer": e.pointer, "line": line, "code": e.code, "detail": e.detail}
            for e, line in errors
        ],
        "remarks": [],
        "judgement": [],
    }


def review_document(
    profile: Profile, source: Source | None, found: Review, sittings: Sequence[Circumstances]
) -> dict[str, Any]:
    """The review of a profile without flaws."""
    return {
        "profile": _identity(profile.identity),
        "well_formed": True,
        "errors": [],
        "remarks": [_remark(profile, source, remark) for remark in found.remarks],
        "judgement": [_judged(profile, source, judged, sittings) for judged in found.judgement],
    }


def resolution_document(
    profile: Profile, source: Source | None, settings: Iterable[Setting]
) -> dict[str, Any]:
    """The settings in force, with places."""
    return {
        "profile": _identity(profile.identity),
        "extends": list(profile.extends),
        "settings": [
            {
                "name": setting.name,
                "value": setting.winner.value,
                "lower_limit": number(setting.interval.lower) if setting.interval else None,
                "upper_limit": number(setting.interval.upper) if setting.interval else None,
                "place": _place(profile, source, setting, setting.winner),
                "lost": [
                    {"value": lost.value, "place": _place(profile, source, setting, lost)}
                    for lost in setting.lost
                ],
            }
            for setting in settings
        ],
    }


def _identity(identity: ProfileIdentity) -> dict[str, str]:
    return {"id": identity.id, "revision": identity.revision, "digest": identity.digest}


def _place(
    profile: Profile, source: Source | None, setting: Setting, of: Candidate
) -> dict[str, Any] | None:
    if of.rule is None and profile.document.get(setting.name) is None:
        return None
    return place_in(profile, source, of.rule, setting.path).as_json()


def _remark(profile: Profile, source: Source | None, remark: Remark) -> dict[str, Any]:
    place = Place("", None, profile.name)
    if remark.rule is not None or remark.path:
        place = place_in(profile, source, remark.rule, remark.path)
    return {
        "code": remark.code,
        "severity": remark.severity,
        **place.as_json(),
        "message": remark.message,
    }


def _judged(
    profile: Profile, source: Source | None, judged: Judged, sittings: Sequence[Circumstances]
) -> dict[str, Any]:
    row = judged.row
    criterion = row.criterion
    return {
        "instrument": sittings[judged.instrument].instrument.id,
        "instrument_index": judged.instrument,
        "check": row.check,
        "criterion": row.name.name,
        "stage": row.stage,
        "load": number(criterion.load),
        "lower_limit": number(row.interval.lower),
        "upper_limit": number(row.interval.upper),
        "unit": row.name.unit,
        "expanded_uncertainty": number(row.expanded),
        "tolerance_to_uncertainty": number(row.ratio),
        "decision_rule": criterion.decision_rule,
        "attainable": row.attainable,
        "void_by": list(row.void_by),
        "false_rejection": None if row.false_rejection is None else _chances(row.false_rejection),
        "false_acceptance": None
        if row.false_acceptance is None
        else {"at": number(BEYOND), **_chances(row.false_acceptance)},
        "false_failures_a_year": _yearly(row),
        "sensible_scale_interval": number(row.sensible_scale_interval),
        "global_risks": None
        if row.risks is None
        else {"consumer": number(row.risks.consumer), "producer": number(row.risks.producer)},
        "limit": place_in(profile, source, judged.rule, ("limits", row.name.name)).as_json(),
    }


def _yearly(row: Judgement) -> dict[str, Any] | None:
    if row.yearly is None:
        return None
    return {
        "checks": row.yearly.checks,
        "at_least_one": number(row.yearly.chances.all_sets),
        "at_least_one_for_one_set": number(row.yearly.chances.one_set),
    }


def _chances(chances: Chances) -> dict[str, Any]:
    return {"one_set": number(chances.one_set), "all_sets": number(chances.all_sets)}
