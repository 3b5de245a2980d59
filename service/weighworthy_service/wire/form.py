"""The base of every request schema: closed, null is absence, unknown keys get a suggestion."""

from typing import Any, ClassVar

from marshmallow import RAISE, Schema, ValidationError, post_load

from weighworthy_service.wire.coded import Coded

_UNKNOWN = Coded("unknown-field", "there is no such field")


class Form(Schema):
    """A JSON object that is refused when it has a field we do not know.

    `builds` is the frozen dataclass that a valid object becomes; without it, a dict that holds
    only what was stated.
    """

    builds: ClassVar[Any] = dict
    error_messages = {  # noqa: RUF012  marshmallow's own way to set them
        "unknown": _UNKNOWN,
        "type": Coded("wrong-type", "an object is needed"),
    }

    class Meta:
        unknown = RAISE

    @post_load
    def build(self, data: dict[str, Any], **_: Any) -> Any:
        return self.builds(**{name: value for name, value in data.items() if value is not None})

    def handle_error(self, error: ValidationError, data: Any, **_: Any) -> None:
        """Name the nearest field we know, and keep a key "_schema" of the sender's a plain key."""
        messages = error.messages
        if not isinstance(messages, dict):
            return
        known = tuple(field.data_key or name for name, field in self.load_fields.items())
        for key, found in messages.items():
            if isinstance(found, list) and _UNKNOWN in found:
                messages[key] = [Coded(_UNKNOWN.code, _UNKNOWN, known)]
        if "_schema" in messages and not (isinstance(data, dict) and "_schema" in data):
            messages[None] = messages.pop("_schema")
