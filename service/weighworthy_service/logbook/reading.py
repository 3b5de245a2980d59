"""From the JSON form of entries to entries; a check is judged anew, or taken at its word."""

from collections import Counter
from collections.abc import Callable, Collection, Mapping
from datetime import datetime
from typing import Any, Final, TypeGuard

from marshmallow import ValidationError

from weighworthy_service.checks.answer import answer
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.loaded import weights_used
from weighworthy_service.checks.registry import BY_SLUG, NoSuchKind, kind_named
from weighworthy_service.logbook.entries import Assessment, CheckSaid, Entry
from weighworthy_service.profiles.judging import Judged
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.wire.coded import FieldError, field_errors
from weighworthy_service.wire.fields import Instant
from weighworthy_service.wire.logbook import TrustedAnswer, entry_form

# Judges a request document of a kind; raises Refusal.
Judge = Callable[[Kind, dict[str, Any]], Judged]
ENTRY_FORM: Final = entry_form(BY_SLUG)
_FORM: Final = ENTRY_FORM()
TRUSTED: Final = TrustedAnswer(BY_SLUG)
_INSTANT: Final = Instant()
PLAIN_KEYS: Final = frozenset({"id", "kind", "at", "instrument", "by", "note", "answer"})
# No text of an entry is bounded more tightly.
PLAIN_LENGTH: Final = 200
# So many members has an answer of verdicts alone; so many of them are kept.
_SHORT: Final = 8
_KEPT: Final = 1000
_LONG: Final = frozenset({"results", "criteria", "profile"})
_CERTIFIED: Final = ("certificate", "calibrated_on", "conventional_mass", "nominal")


class EntryRefused(ValueError):  # noqa: N818  the sender's fault, not one of the program
    """An entry that cannot be read; pointers are relative to the entry."""

    def __init__(self, errors: list[FieldError]) -> None:
        super().__init__("; ".join(error.detail for error in errors))
        self.errors = errors


class EntryReader:
    """Reads entries of one logbook. `use_on`: verdicts that let a balance be used.

    `profile` is what requests that name none are judged by.
    """

    def __init__(self, judge: Judge, use_on: Collection[str], profile: Any = None) -> None:
        self._judge, self._use_on, self._profile = judge, frozenset(use_on), profile
        self.judged_anew = 0
        self.trusted = 0
        # How many checks were judged by which profile, as far as that is told.
        self.profiles: Counter[str] = Counter()
        self._short: dict[tuple[Any, ...], CheckSaid] = {}
        self._described: dict[str, tuple[datetime, str, Mapping[str, Any]]] = {}

    def read(self, document: Any, place: str = "") -> Entry:
        """The entry that a document says; `place` is where it stands in the request.

        Raises:
            EntryRefused: with every fault of form, or what contradicts itself.
        """
        if (plain := self._plain(document, place)) is not None:
            return plain
        try:
            stated = _FORM.load(document)
        except ValidationError as error:
            raise EntryRefused(field_errors(error.messages)) from None
        kind, request = stated["kind"], stated.get("request")
        _refuse_what_does_not_belong(stated)
        said = None
        if request is not None:
            _complete(stated, request)
            said = self._said_anew(request)
            self.judged_anew += 1
        elif kind == "check":
            said = self.said_by(stated["answer"])
            self.trusted += 1
        if said is not None:
            self._count_profile(said)
        missing = [
            FieldError(f"/{name}", "required", "this value is needed")
            for name in ("at", "instrument")
            if stated.get(name) is None
        ]
        if missing:
            raise EntryRefused(missing)
        if request is not None:
            self._describe(stated, request["instrument"])
        assessed = stated.get("assessment")
        return Entry(
            stated["id"],
            kind,
            stated["at"],
            stated["instrument"],
            stated.get("by"),
            stated.get("note"),
            said,
            Assessment(**assessed) if assessed else None,
            place,
        )

    def count_trusted(self, said: CheckSaid) -> None:
        """Count a check that is taken at its word."""
        self.trusted += 1
        if said.profile is not None:
            self._count_profile(said)

    def _count_profile(self, said: CheckSaid) -> None:
        if said.profile is not None:
            self.profiles[said.profile] += 1

    def described(self, instrument: str) -> Mapping[str, Any]:
        """An instrument as its earliest check request describes it; empty without any."""
        return self._described[instrument][2] if instrument in self._described else {}

    def _describe(self, stated: Mapping[str, Any], balance: Mapping[str, Any]) -> None:
        name, when = stated["instrument"], (stated["at"], stated["id"])
        if name not in self._described or when < self._described[name][:2]:
            self._described[name] = (*when, balance)

    def _plain(self, document: Any, place: str) -> Entry | None:
        """A check with a trusted answer, as the form has it, without going through the form.

        Logbooks hold hundreds of thousands of them. None: anything about it is not plain, and the
        form tells what it is; a test holds both ways equal.
        """
        if not isinstance(document, dict) or document.get("kind") != "check":
            return None
        if not document.keys() <= PLAIN_KEYS:
            return None
        id_, instrument = document.get("id"), document.get("instrument")
        by, note, at = document.get("by"), document.get("note"), document.get("at")
        if not (_is_text(id_) and _is_text(instrument) and (by is None or _is_text(by))):
            return None
        if not (note is None or _is_text(note)) or not isinstance(at, str):
            return None
        try:
            instant, said = _INSTANT.read(at), self._said_before(document.get("answer"))
        except ValidationError:
            return None
        self.count_trusted(said)
        return Entry(id_, "check", instant, instrument, by, note, said, None, place)

    def _said_before(self, answered: Any) -> CheckSaid:
        """Of a trusted answer; short ones come again and again."""
        short = (
            isinstance(answered, dict)
            and len(answered) <= _SHORT
            # 1 and True are one key; the form takes only one of them.
            and isinstance(answered.get("usable"), bool | None)
            and not _LONG & answered.keys()
        )
        if not short:
            return self.said_by(TRUSTED.read(answered))
        try:
            same = tuple(answered.items())
            said = self._short.get(same)
        except TypeError:  # a value below that is no text and no number
            return self.said_by(TRUSTED.read(answered))
        if said is None:
            said = self.said_by(TRUSTED.read(answered))
            if len(self._short) < _KEPT:
                self._short[same] = said
        return said

    def _said_anew(self, request: dict[str, Any]) -> CheckSaid:
        try:
            kind = kind_named(request.get("check"))
        except NoSuchKind as error:
            fault = FieldError("/request/check", "not-one-of", str(error))
            raise EntryRefused([fault]) from None
        if request.get("profile") is None and self._profile is not None:
            request = {**request, "profile": self._profile}
        try:
            judged = self._judge(kind, request)
        except Refusal as refusal:
            whole = [FieldError("/request", refusal.slug, refusal.detail)]
            raise EntryRefused([e.below("/request") for e in refusal.errors] or whole) from None
        written = answer(
            judged.evaluation,
            profile=judged.profile,
            version="",
            request_digest="",
            labels={},
            short=True,
        )
        weights = _weights(request)
        return self.said_by(written)._replace(
            trusted=False,
            weights={name: _certified(weight) for name, weight in weights.items()},
            weights_due={name: w["due_on"] for name, w in weights.items() if w.get("due_on")},
        )

    def said_by(self, said: Mapping[str, Any]) -> CheckSaid:
        """What an earlier answer says, taken at its word.

        `usable` is its own; a verdict as found that differs from its verdict is held against what
        this logbook's profile lets be used.
        """
        verdict, found = said["verdict"], said.get("verdict_as_found")
        results = said.get("results") or {}
        usable = said["usable"]
        return CheckSaid(
            said["check"],
            verdict,
            usable,
            None
            if found is None or found == "void"
            else (usable if found == verdict else found in self._use_on),
            self._would(verdict, said.get("verdict_if_valid")),
            _adjusted(said),
            True,
            tuple(said.get("criteria") or ()),
            results,
            profile=_name_of(said.get("profile")),
        )

    def _would(self, verdict: str | None, if_valid: str | None) -> bool | None:
        return if_valid in self._use_on if verdict == "void" and if_valid is not None else None


def _name_of(profile: Mapping[str, Any] | None) -> str | None:
    if not profile:
        return None
    return f"{profile.get('id')}@{profile.get('revision')}"


def _is_text(value: Any) -> TypeGuard[str]:
    return isinstance(value, str) and 0 < len(value) <= PLAIN_LENGTH


def _refuse_what_does_not_belong(stated: Mapping[str, Any]) -> None:
    kind = stated["kind"]
    errors = [
        FieldError(f"/{name}", "contradiction", f"belongs to a check, not {kind}")
        for name in ("request", "answer")
        if kind != "check" and stated.get(name) is not None
    ]
    if kind == "check" and (stated.get("request") is None) == (stated.get("answer") is None):
        said = "a check has either its request, which is judged anew, or an earlier answer"
        errors.append(
            FieldError("/request", "contradiction" if "answer" in stated else "required", said)
        )
    if kind == "assessment":
        for name in ("assessment", "by"):
            if stated.get(name) is None:
                said = "an assessment says what it decides, and who did"
                errors.append(FieldError(f"/{name}", "required", said))
    elif stated.get("assessment") is not None:
        errors.append(
            FieldError("/assessment", "contradiction", f"belongs to an assessment, not {kind}")
        )
    if errors:
        raise EntryRefused(errors)


def _complete(stated: dict[str, Any], request: Mapping[str, Any]) -> None:
    """Take from a request what its entry leaves out; both must not differ."""
    balance = request.get("instrument")
    inside = {
        "at": (_instant(request.get("performed_at")), "/request/performed_at"),
        "by": (request.get("performed_by"), "/request/performed_by"),
        "instrument": (
            balance.get("id") if isinstance(balance, dict) else None,
            "/request/instrument/id",
        ),
    }
    errors = []
    for name, (found, place) in inside.items():
        if found is None or not isinstance(found, str | datetime):
            continue
        if stated.get(name) is None:
            stated[name] = found
        elif stated[name] != found:
            said = f"the entry and its request do not say the same; see {place}"
            errors.append(FieldError(f"/{name}", "contradiction", said))
    if errors:
        raise EntryRefused(errors)


def _instant(text: Any) -> datetime | None:
    """None also for what is no time: the request is refused for that where it is judged."""
    try:
        return _INSTANT.deserialize(text) if text is not None else None
    except ValidationError:
        return None


def _adjusted(said: Mapping[str, Any]) -> bool:
    """Whether a balance was adjusted in the course of a check, as its kind tells it."""
    part = BY_SLUG[said["check"]].part("as_found")
    return part is not None and hasattr(part, "adjusted") and bool(part.adjusted(said))


def _weights(request: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    """The weights that lay on the pan."""
    known = request.get("weights") or {}
    return {name: known[name] for name in sorted(weights_used(request))}


def _certified(weight: Mapping[str, Any]) -> str:
    """A text that changes when the certificate does."""
    return "; ".join(str(weight[key]) for key in _CERTIFIED if weight.get(key) is not None)
