"""An entry of a logbook as it was sent."""

from typing import Any, NamedTuple

from weighworthy_service.wire.coded import FieldError


class Placed(NamedTuple):
    """An entry as it was sent: its JSON pointer and, in words, the line or row that it stands in.

    `errors`: why there is none, with pointers from that of the entry.
    """

    place: str
    where: str
    document: Any
    errors: tuple[FieldError, ...] = ()
