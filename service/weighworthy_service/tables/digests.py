"""Digests of requests that differ in few places: what is the same is put in order only once."""

from collections.abc import Sequence
from hashlib import sha256
from json.encoder import encode_basestring
from typing import Any, Final

from weighworthy_service.json_document import canonical, without_nulls

# Around what stands for the varying values while the canonical form is made. Nobody's text has it;
# if one has, its digests are made the long way.
_MARK: Final = "\ue123"


class DigestTemplate:
    """The canonical form (RFC 8785) of a request with places for some of its values."""

    def __init__(self, document: dict[str, Any], check: str, marks: Sequence[str | None]) -> None:
        """`document` holds marks in place of the values; None: there is no such value."""
        asked = {**document, "check": check}
        asked.pop("labels", None)
        text = canonical(without_nulls(asked)).decode()
        present = [(text.find(f'"{mark}"'), at) for at, mark in enumerate(marks) if mark]
        self.usable = all(text.count(mark) == 1 for mark in marks if mark)
        self._order = tuple(at for _, at in sorted(present))
        form = text.replace("%", "%%")
        for mark in marks:
            if mark:
                form = form.replace(f'"{mark}"', "%s")
        self._form = form

    def digest(self, values: Sequence[str | None]) -> str:
        """What `request_digest` answers for the request with these values."""
        written = [encode_basestring(values[at] or "") for at in self._order]
        text = self._form % tuple(written)
        return "sha256:" + sha256(text.encode()).hexdigest()


def marks_for(values: Sequence[str | None]) -> list[str | None]:
    """A mark for each value that there is."""
    return [
        None if value is None else f"{_MARK}{number}{_MARK}" for number, value in enumerate(values)
    ]
