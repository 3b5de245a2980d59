"""The request that a line makes: what it says, merged into what the defaults say."""

import json
from typing import Any, Final

from weighworthy_service import json_text
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import BY_SLUG, NoSuchKind, kind_named
from weighworthy_service.json_text import MalformedJsonError
from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.wire.coded import FieldError
from weighworthy_service.wire.containers import Kept

# Changes of a profile in the defaults, each of which has all of it read again.
_CHANGES: Final = 64


class Documents:
    """Makes the request of a line, of what it says and what the defaults say."""

    def __init__(self, defaults: dict[str, Any], profile: Any) -> None:
        self._defaults, self._profile = defaults, profile
        if isinstance(weights := defaults.get("weights"), dict):
            # Lines that leave them alone share them, and have them read once.
            self._defaults = {**defaults, "weights": Kept(weights)}
        self._changed: dict[str, Any] = {}

    def __call__(self, raw: bytes) -> Any:
        """Raises: Refusal, where the line is no JSON or changes a profile once too often."""
        try:
            patch = json_text.parse(raw)
        except MalformedJsonError as error:
            raise Refusal("malformed-json", str(error)) from None
        document = merged(self._defaults, patch)
        if not isinstance(document, dict):
            return document
        if self._profile is not None and document.get("profile") is None:
            document["profile"] = self._profile
        common = self._defaults.get("profile")
        if isinstance(common, dict) and isinstance(patch.get("profile"), dict):
            # One object for all lines of one change, by which its profile is found again.
            document["profile"] = self._kept(patch["profile"], document["profile"])
        return document

    def _kept(self, change: Any, profile: Any) -> Any:
        text = json.dumps(change)
        if text not in self._changed and len(self._changed) >= _CHANGES:
            said = (
                f"the lines change the profile of the defaults in more than {_CHANGES} ways: name "
                "it, or send lines that share a profile as a batch of their own"
            )
            raise refusal_of("invalid", [FieldError("/profile", "too-many", said)])
        return self._changed.setdefault(text, profile)


def merged(target: Any, patch: Any) -> Any:
    """The JSON merge patch of RFC 7396. Neither argument is changed; parts may be shared."""
    if not isinstance(patch, dict):
        return patch
    result = dict(target) if isinstance(target, dict) else {}
    for name, value in patch.items():
        if value is None:
            result.pop(name, None)
        elif isinstance(value, dict):
            result[name] = merged(result.get(name), value)
        else:
            result[name] = value
    return result


def labels_of(document: Any) -> dict[str, str]:
    """The labels of a request that cannot be judged, as far as they are labels."""
    found = document.get("labels") if isinstance(document, dict) else None
    if not isinstance(found, dict):
        return {}
    return {name: text for name, text in found.items() if isinstance(text, str)}


def kind_of(document: Any) -> Kind:
    if not isinstance(document, dict):
        raise refusal_of("invalid", [FieldError("", "wrong-type", "an object is needed")])
    slug = document.get("check")
    if slug is None:
        said = f"say which check: {', '.join(BY_SLUG)}"
        raise refusal_of("invalid", [FieldError("/check", "required", said)])
    try:
        return kind_named(slug)
    except NoSuchKind as error:
        raise refusal_of("invalid", [FieldError("/check", "not-one-of", str(error))]) from None
