"""What agrees of a record: its seal, its profile, its verdict, and every number."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from weighworthy_service.checks.answer import ENGINE_REVISION
from weighworthy_service.evidence.records.content import payload_of, whole
from weighworthy_service.evidence.records.differences import Difference, differences
from weighworthy_service.evidence.records.keys import SealKeys
from weighworthy_service.evidence.records.recomputing import ProfileState, recompute
from weighworthy_service.evidence.records.revisions import (
    REVISIONS,
    Revision,
    stated_effect,
    was_added,
)
from weighworthy_service.evidence.records.seals import Reason, Seal, seal_of

VerdictState = Literal["same", "differs", "not-recomputed"]
# Of each list in an answer; how many there are is told beside.
MOST: Final = 1000
_VERDICTS: Final = ("verdict", "verdict_as_found", "verdict_as_left", "verdict_if_valid", "usable")
# What a finding is, its code tells.
_MESSAGE: Final = re.compile("/findings/[0-9]+/message")
_WITHIN: Final = "within 1e-9 of the number, as between platforms"


@dataclass(frozen=True, slots=True)
class Told:
    """A difference, and what explains it; None: nothing does."""

    difference: Difference
    explanation: str | None


@dataclass(frozen=True, slots=True)
class Verification:
    """`agrees`: what the record holds is what its digest says, and what is computed from its
    request, but for explained differences. It says nothing of who signed: `seal` does."""

    seal: Seal
    profile: ProfileState
    verdict: VerdictState
    told: tuple[Told, ...]
    reasons: tuple[Reason, ...]
    recorded_engine: Any

    @property
    def agrees(self) -> bool:
        return (
            self.seal.state != "altered"
            and self.profile == "same"
            and self.verdict != "not-recomputed"
            and all(one.explanation is not None for one in self.told)
            and all(reason.about == "seal" for reason in self.reasons)
        )


def verify(
    record: Mapping[str, Any],
    keys: SealKeys,
    version: str,
    revisions: tuple[Revision, ...] = REVISIONS,
    present: int = ENGINE_REVISION,
) -> Verification:
    """Hold a record of the right form against its seal and against a new computation.

    `present` is the revision of this engine; a later one's record is not computed anew.

    Raises:
        NoCanonicalForm: a number in it has no canonical form.
    """
    seal = seal_of(record, payload_of(record), keys)
    engine = record["answer"].get("engine")
    made_by = _revision(engine)
    if made_by is not None and made_by > present:
        said = (
            f"engine revision {made_by} made the record, and this is revision {present}: "
            "verify it with the version that made it, or a later one"
        )
        later = Reason("engine", "engine-later", said, "/answer/engine/revision")
        return Verification(
            seal, "not-readable", "not-recomputed", (), (*seal.reasons, later), engine
        )
    again = recompute(record, version)
    reasons = [*seal.reasons, *again.reasons]
    if made_by is None:
        said = "the answer does not say which engine made it"
        reasons.append(Reason("engine", "engine-unknown", said, "/answer/engine"))
    if again.answer is None:
        return Verification(seal, again.profile, "not-recomputed", (), tuple(reasons), engine)
    was, now = _compared(record["answer"]), _compared(again.answer)
    older = isinstance(engine, dict) and engine.get("version") != version
    # Nearly always nothing differs, which is told much quicker than where it would.
    found = () if _written(was) == _written(now) else differences(was, now)
    told = tuple(
        Told(one, _explained(one, made_by, present, revisions, older=older)) for one in found
    )
    verdict: VerdictState = (
        "differs" if any(_is_verdict(one.difference.pointer) for one in told) else "same"
    )
    return Verification(seal, again.profile, verdict, told, tuple(reasons), engine)


def verification_document(
    verification: Verification, record: Mapping[str, Any], engine: Mapping[str, Any]
) -> dict[str, Any]:
    """A verification as it is answered; `engine` is the one at work."""
    numbers = [one for one in verification.told if one.difference.of_numbers]
    others = [one for one in verification.told if not one.difference.of_numbers]
    return {
        "seal": verification.seal.state,
        "agrees": verification.agrees,
        "profile": verification.profile,
        "verdict": verification.verdict,
        "numbers": [_told(one) for one in numbers[:MOST]],
        "others": [_told(one) for one in others[:MOST]],
        "differences": len(verification.told),
        "unexplained": sum(one.explanation is None for one in verification.told),
        "reasons": [reason._asdict() for reason in verification.reasons[:MOST]],
        "digest": verification.seal.digest,
        "stated_digest": record["digest"],
        "previous": record.get("previous"),
        "sealed_at": record["sealed_at"],
        "key_id": verification.seal.key_id,
        "recorded_engine": _engine(verification.recorded_engine),
        "engine": dict(engine),
    }


def _engine(stated: Any) -> dict[str, Any] | None:
    if not isinstance(stated, dict) or _revision(stated) is None:
        return None
    name, version = stated.get("name"), stated.get("version")
    if not (isinstance(name, str) and isinstance(version, str)):
        return None
    return {"name": name[:100], "version": version[:100], "revision": _revision(stated)}


def _revision(engine: Any) -> int | None:
    stated = engine.get("revision") if isinstance(engine, dict) else None
    revision = whole(stated)
    is_one = isinstance(revision, int) and not isinstance(revision, bool) and revision > 0
    return revision if is_one else None


def _compared(answer: Mapping[str, Any]) -> dict[str, Any]:
    # By what was computed is told beside; it is no difference of what was found.
    return {name: value for name, value in answer.items() if name != "engine"}


def _written(answer: Mapping[str, Any]) -> str:
    return json.dumps(answer, sort_keys=True)


def _explained(
    difference: Difference,
    made_by: int | None,
    present: int,
    revisions: tuple[Revision, ...],
    *,
    older: bool,
) -> str | None:
    if difference.within_agreement:
        return _WITHIN
    if difference.missing == "recorded" and older and was_added(difference.pointer):
        return "the version that made the record did not tell it"
    if older and _MESSAGE.fullmatch(difference.pointer):
        return "another version words its sentences otherwise"
    if made_by is None:
        return None
    return stated_effect(difference.pointer, made_by, present, revisions)


def _is_verdict(pointer: str) -> bool:
    parts = pointer.split("/")[1:]
    of_criterion = len(parts) == 3 and parts[0] == "criteria" and parts[2] == "verdict"
    return of_criterion or (len(parts) == 1 and parts[0] in _VERDICTS)


def _told(told: Told) -> dict[str, Any]:
    return {**told.difference._asdict(), "explanation": told.explanation}
