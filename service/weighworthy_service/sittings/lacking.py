"""What a sitting lacks for a verdict: checks that are void, held against no limit, or not there."""

from collections.abc import Iterator, Sequence

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.logbook.requirements import Requirement, Requiring
from weighworthy_service.sittings.judged import JudgedCheck


def lacking(judged: Sequence[JudgedCheck]) -> tuple[list[str], list[Finding]]:
    """Kinds that an occasion asks for and that were not judged here, and all findings on it."""
    missing: list[str] = []
    found: list[Finding] = []
    occasions = {j.circumstances.occasion for j in judged}
    for required in _not_there(judged):
        slug = required.check
        if asking := sorted(occasions & required.occasions):
            missing.append(slug)
            message = (
                f"the profile asks for a check of the kind {slug} after {', '.join(asking)}, and "
                "none was judged in this sitting"
            )
            found.append(Finding("required-check-missing", "no-pass", message, "/checks"))
        elif any(one.schedule.every for one in required.schedules):
            message = (
                f"the profile's schedule has checks of the kind {slug}, and none was judged in "
                "this sitting: whether one is due, the logbook tells"
            )
            found.append(Finding("scheduled-check-absent", "note", message, "/checks"))
    for one in judged:
        field, number, slug = f"/checks/{one.index}", one.index + 1, one.kind.slug
        if one.evaluation.verdict == "void":
            message = f"check {number} ({slug}) is void: its answer says why"
            found.append(Finding("check-void", "no-pass", message, field))
        if one.evaluation.verdict is None:
            message = f"check {number} ({slug}) was held against no limit, and is no part of this"
            found.append(Finding("check-not-judged", "warning", message, field))
    return missing, found


def _not_there(judged: Sequence[JudgedCheck]) -> Iterator[Requirement]:
    there = {j.kind.slug for j in judged if j.evaluation.verdict is not None}
    methods = tuple(dict.fromkeys(j.circumstances.method for j in judged))
    for profile in {j.profile.identity.digest: j.profile for j in judged}.values():
        for required in Requiring(profile).of(judged[0].circumstances.instrument, methods):
            if required.required and required.check not in there:
                yield required
