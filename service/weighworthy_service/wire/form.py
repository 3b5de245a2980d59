"""The base of every request schema: closed, null is absence, unknown keys get a suggestion."""

from typing import Any, ClassVar

from marshmallow import RAISE, Schema, ValidationError

from weighworthy_service.wire.coded import Coded, refused


class Form(Schema):
    """A JSON object that is refused when it has a field we do not know.

    `builds` is the frozen dataclass that a valid object becomes; without it, a dict that holds
    only what was stated.
    """

    builds: ClassVar[Any] = dict

    class Meta:
        unknown = RAISE  # also says in the published schema that the object is closed

    def load(self, data: Any, **_: Any) -> Any:
        """Read an object, telling all faults at once.

        In place of marshmallow's own, which is slower over fields that are absent, as most are,
        and has a key "_schema" of its own that a sender's key can collide with.

        Raises:
            ValidationError: its messages, by key, are lists of `Coded`.
        """
        if not isinstance(data, dict):
            raise refused("wrong-type", "an object is needed")
        stated: dict[str, Any] = {}
        errors: dict[str, Any] = {}
        known = {field.data_key or name: field for name, field in self.load_fields.items()}
        for key, field in known.items():
            value = data.get(key)
            try:
                if value is not None or field.required:
                    stated[field.attribute or str(field.name)] = field.deserialize(value, key, data)
            except ValidationError as error:
                errors[key] = error.messages
        for key in data:
            if key not in known:
                errors[key] = [Coded("unknown-field", "there is no such field", tuple(known))]
        if errors:
            raise ValidationError(errors)
        return self.build(stated)

    def build(self, stated: dict[str, Any]) -> Any:
        """What a valid object becomes, from what it states."""
        return self.builds(**stated)
