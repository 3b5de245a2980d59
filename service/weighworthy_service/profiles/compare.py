"""Two profiles compared as what they mean: for each balance and check, setting by setting."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from weighworthy_service.checks.answer import number
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.limits import Limit
from weighworthy_service.profiles.change import Change, limit_change, setting_change
from weighworthy_service.profiles.document import JUDGED_STAGES, Profile, Rule
from weighworthy_service.profiles.settings import Written, written_settings
from weighworthy_service.profiles.source import Source, place_in
from weighworthy_service.profiles.typical import typical_loads


@dataclass(frozen=True, slots=True)
class Compared:
    """A profile and, where it was sent along, the document in which its settings have lines."""

    profile: Profile
    source: Source | None = None


@dataclass(frozen=True, slots=True)
class Scene:
    """One check of one balance: what decides which rules apply."""

    position: int
    kind: Kind
    circumstances: Circumstances
    stage: str | None


def compared_settings(
    before: Compared,
    after: Compared,
    instruments: Sequence[Instrument],
    *,
    methods: Sequence[str] = (),
    loads: Sequence[Decimal] = (),
) -> list[dict[str, Any]]:
    """Each setting in force on either side, with what changes; `loads`: nominal masses in g.

    Rows with a method or a stage are there where that makes a difference. Without loads, limits
    that depend on one are compared at typical ones.
    """
    rows: list[dict[str, Any]] = []
    for position, instrument in enumerate(instruments):
        for kind in KINDS:
            seen: list[Any] = []
            for method in (None, *methods):
                circumstances = Circumstances(instrument, {}, method=method)
                for stage in _stages(kind, before.profile, after.profile):
                    scene = Scene(position, kind, circumstances, stage)
                    found = list(_rows(scene, before, after, loads))
                    if method is not None and _meaning(found) in seen:
                        continue  # the method makes no difference
                    seen.append(_meaning(found))
                    rows += found
    return rows


def unreached(
    side: Compared, instruments: Sequence[Instrument], methods: Sequence[str] = ()
) -> list[dict[str, Any]]:
    """Rules that apply to no check of these balances, so that nothing was compared of them."""
    scenes = [
        (kind.slug, stage, Circumstances(instrument, {}, method=method))
        for instrument in instruments
        for kind in KINDS
        for method in (None, *methods)
        for stage in ((None, *JUDGED_STAGES) if kind.staged else (None,))
    ]
    return [
        place_in(side.profile, side.source, rule, ()).as_json()
        for rule in side.profile.rules
        if not any(rule.applies(*scene) for scene in scenes)
    ]


def _meaning(rows: Sequence[Mapping[str, Any]]) -> Any:
    return [{key: value for key, value in row.items() if key != "method"} for row in rows]


def named_methods(profile: Profile) -> list[str]:
    """Methods that rules name; a glob stands for names that nobody has told."""
    return [
        name
        for rule in profile.rules
        for name in rule.methods or ()
        if not any(sign in name for sign in "*?[")
    ]


def _stages(kind: Kind, *profiles: Profile) -> Sequence[str | None]:
    staged = any(rule.stages for profile in profiles for rule in profile.rules)
    return JUDGED_STAGES if kind.staged and staged else (None,)


def _rows(
    scene: Scene, before: Compared, after: Compared, loads: Sequence[Decimal]
) -> Iterator[dict[str, Any]]:
    sides = [
        written_settings(side.profile, scene.kind, scene.stage, scene.circumstances)
        for side in (before, after)
    ]
    four_way = any(
        (setting := side.get("decision")) is not None
        and (setting.form.get("rule") or "simple") == "four-way"
        for side in sides
    )
    rounding = any(
        (setting := side.get("decision")) is not None
        and setting.form.get("rounding") == "rounding"
        and setting.form.get("rounding_to") is None
        for side in sides
    )
    unsaid = {"use_on"} - {*before.profile.document, *after.profile.document}
    for name in sorted({*sides[0], *sides[1]} - unsaid):
        one, two = sides[0].get(name), sides[1].get(name)
        row = _row(scene, name, (before, one), (after, two))
        if not name.startswith("limits."):
            values = [_value(side.profile, name, s) for side, s in ((before, one), (after, two))]
            yield {**row, **_changed(setting_change(name, *values, four_way=four_way))}
            continue
        criterion = next(c for c in scene.kind.criteria if f"limits.{c.name}" == name)
        limits = [None if s is None else _limit(s, criterion.name) for s in (one, two)]
        instrument = scene.circumstances.instrument
        windows = [_window(side) for side in sides]
        for load in typical_loads(limits, criterion, instrument, windows, loads):
            change = limit_change(
                limits[0], limits[1], criterion, instrument, load, rounding=rounding
            )
            yield {**row, "load": number(load), **_changed(change)}


Stated = tuple[Compared, Written | None]


def _row(scene: Scene, name: str, before: Stated, after: Stated) -> dict[str, Any]:
    return {
        "instrument": scene.circumstances.instrument.id,
        "position": scene.position,
        "check": scene.kind.slug,
        "stage": scene.stage,
        "method": scene.circumstances.method,
        "name": name,
        "load": None,
        "before": None if before[1] is None else before[1].form,
        "after": None if after[1] is None else after[1].form,
        "place_before": _place(name, *before),
        "place_after": _place(name, *after),
    }


def _place(name: str, side: Compared, setting: Written | None) -> Any:
    if setting is None or (setting.rule is None and name not in side.profile.document):
        return None
    path = tuple(name.split(".", 1))
    return place_in(side.profile, side.source, setting.rule, path).as_json()


def _value(profile: Profile, name: str, setting: Written | None) -> Any:
    """The setting as the evaluation knows it."""
    if setting is None:
        return None
    if setting.rule is None:
        return profile.use_on
    group, _, member = name.partition(".")
    value = getattr(setting.rule, group)
    return value[member] if member else value


def _limit(setting: Written, name: str) -> Limit:
    rule = setting.rule
    assert isinstance(rule, Rule)  # noqa: S101  limits are always made by a rule
    return rule.limits[name].limit


def _window(side: Mapping[str, Written]) -> Decimal | None:
    setting = side.get("start_window")
    if setting is None or setting.rule is None or setting.rule.start_window is None:
        return None
    return setting.rule.start_window.target


def _changed(change: Change) -> dict[str, Any]:
    ends = {
        f"{end}_{when}": None if interval is None else number(getattr(interval, end))
        for when, interval in (("before", change.before), ("after", change.after))
        for end in ("lower", "upper")
    }
    return {
        "unit": change.unit,
        "lower_limit_before": ends["lower_before"],
        "lower_limit_after": ends["lower_after"],
        "upper_limit_before": ends["upper_before"],
        "upper_limit_after": ends["upper_after"],
        "change": change.word,
        "by": change.by,
        "percent": number(change.percent),
    }
