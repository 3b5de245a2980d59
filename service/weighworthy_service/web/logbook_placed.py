"""An entry of a logbook as it was sent."""

from typing import Any, NamedTuple

from weighworthy_service import json_text
from weighworthy_service.json_text import MalformedJsonError
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.wire.coded import FieldError


class Placed(NamedTuple):
    """An entry as it was sent: its JSON pointer and, in words, the line or row that it stands in.

    `errors`: why there is none, with pointers from that of the entry. `line`: see `SentLine`.
    """

    place: str
    where: str
    document: Any
    errors: tuple[FieldError, ...] = ()
    line: None = None


class SentLine(NamedTuple):
    """The same of a line of JSON, which is read when its document is wanted: most need not be.

    `number` counts all lines from 1, `position` the entries from 0.
    """

    line: bytes
    number: int
    position: int
    errors: tuple[FieldError, ...] = ()

    @property
    def place(self) -> str:
        return f"/entries/{self.position}"

    @property
    def where(self) -> str:
        return f"line {self.number}"

    @property
    def document(self) -> Any:
        """Raises: Refusal, `malformed-json`."""
        return parse_line(self.line, self.number)


def parse_line(line: bytes, number: int) -> Any:
    """The document that a line holds.

    Raises:
        Refusal: `malformed-json`, naming the line.
    """
    try:
        return json_text.parse(line)
    except MalformedJsonError as error:
        raise Refusal("malformed-json", f"line {number}: {error}") from None
