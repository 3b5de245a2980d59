"""``weighworthy profiles review``: every profile that is named, whatever is wrong with one."""

import argparse
from collections.abc import Sequence
from typing import Any

from weighworthy.cli_common import (
    FOUND,
    OK,
    UsageError,
    connect,
    is_about_a_profile,
    load_argument,
    plain_json,
    read_object,
    tell,
    write,
)
from weighworthy.cli_profile_arguments import (
    asking_by_options,
    expanded_profiles,
    named,
    opened_profile,
    with_source,
)
from weighworthy.cli_reviewed import judged, remarks
from weighworthy.cli_together import Together
from weighworthy.errors import ProblemError, ProfileFileError, ProfileNotUsable, TooLarge


def review_profiles(arguments: argparse.Namespace) -> int:
    """Review each profile; exit code 1 when one has errors or cannot be read at all."""
    names, loads = expanded_profiles(arguments.files), _loads(arguments)
    answers: list[str] = []
    together = Together()
    code = OK
    with connect(arguments) as client:
        for given in names:
            try:
                profile = opened_profile(given)
                with asking_by_options():
                    review = client.profiles.review(
                        profile,
                        instruments=arguments.instrument,
                        loads=loads,
                        performed_on=arguments.on,
                    )
            except (OSError, ProfileFileError, ProblemError) as error:
                # One file that cannot be read must not hide what is wrong with the others.
                faults = [f"{fault} [error]" for fault in _faults(given, error)]
                code = FOUND
                row = {"profile": given, "parts": [], "review": None, "faults": faults}
                answers += [plain_json(row)] if arguments.json else faults
                continue
            name = named(profile)
            warned = any(remark.severity == "warning" for remark in review.remarks)
            between: list[str] = []
            if review.profile is not None:
                identity = review.profile
                faults = together.faults(profile, identity.id, identity.revision)
                between = [f"{fault} [error]" for fault in faults]
            if not review.usable or between or (arguments.strict and warned):
                code = FOUND
            if arguments.json:
                answers.append(with_source(profile, "review", review.raw))
                if between:
                    row = {"profile": given, "parts": [], "review": None, "faults": between}
                    answers.append(plain_json(row))
                continue
            answers += between
            answers += remarks(name, review, errors_only=arguments.quiet)
            if review.profile is not None:
                found = "usable" if review.usable else "NOT usable"
                tell(arguments, f"{name}: {review.profile.id}@{review.profile.revision} {found}")
            if review.judgement and not arguments.quiet:
                answers.append(judged(review))
    if answers:
        write(arguments, "\n".join(answers))
    return code


def _loads(arguments: argparse.Namespace) -> dict[str, Any] | None:
    loads: dict[str, Any] = {} if arguments.loads is None else {**read_object(arguments.loads)}
    for kind, names_of in arguments.load or ():
        loads[kind] = [*loads.get(kind, ()), _load(names_of)]
    if arguments.span:
        loads["span"] = arguments.span
    if arguments.linearity:
        loads["linearity"] = arguments.linearity
    if arguments.loss:
        initial, final = arguments.loss
        loads["simulated-loss"] = {"initial": initial, "final": final}
    return loads or None


def _load(text: str) -> list[str]:
    try:
        return load_argument(text)
    except argparse.ArgumentTypeError as error:
        raise UsageError(f"--load: {error}") from error


def _faults(given: str, error: Exception) -> Sequence[str]:
    """``file: code: sentence`` of what keeps this profile from a review; else raises ``error``."""
    if isinstance(error, ProfileFileError):
        return error.faults
    if isinstance(error, OSError):
        return [f"{given}: unreadable: cannot be read: {error.strerror or error}"]
    if isinstance(error, ProfileNotUsable) or is_about_a_profile(error):
        assert isinstance(error, ProblemError)  # noqa: S101 - for the type checker: both are
        return [f"{given}: {fault.code}: {fault.detail}" for fault in error.errors]
    if isinstance(error, TooLarge):
        return [f"{given}: {error.slug}: {error.detail}"]
    raise error
