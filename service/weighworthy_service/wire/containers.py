"""Strict fields that hold others: an object inside an object, lists, maps of names."""

from collections.abc import Mapping
from copy import deepcopy
from typing import Any, Final

from marshmallow import ValidationError, fields

from weighworthy_service.wire.coded import refused
from weighworthy_service.wire.fields import Strict


class Part(Strict[Any], fields.Nested):
    """An object of its own form inside an object."""

    wanted = "an object"


class AnyObject(Strict[dict[str, Any]]):
    """An object whose content is read one by one later, so that one fault does not refuse all."""

    wanted = "an object"

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise self.make_error("invalid")
        return value

    def keywords(self) -> dict[str, Any]:
        return {"type": "object"}


class ListOf(Strict[Any], fields.List[Any]):
    """A list with bounds on its length; loaded as a tuple."""

    wanted = "a list"

    def __init__(
        self, inner: fields.Field[Any], *, minimum: int = 0, maximum: int, **kwargs: Any
    ) -> None:
        super().__init__(inner, **kwargs)
        self.inner.allow_none = False
        self.minimum, self.maximum = minimum, maximum

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        if len(value) > self.maximum:
            raise refused("too-many", f"at most {self.maximum} entries")
        if len(value) < self.minimum:
            needed = "1 entry is" if self.minimum == 1 else f"{self.minimum} entries are"
            raise refused("too-few", f"at least {needed} needed")
        return tuple(super()._deserialize(value, attr, data, **kwargs))

    def keywords(self) -> dict[str, Any]:
        return {"type": "array", "minItems": self.minimum, "maxItems": self.maximum}


class Kept(dict[str, Any]):
    """An object of many requests that nobody changes: what maps read of it, they keep with it."""

    def __init__(self, content: Mapping[str, Any]) -> None:
        super().__init__(content)
        self.read: dict[MapOf, dict[str, Any]] = {}


class MapOf(Strict[dict[str, Any]]):
    """An object whose keys are names of the sender's choice; a null entry is no entry."""

    wanted = "an object"
    NAME_LENGTH: Final = 64

    def __init__(self, inner: fields.Field[Any], *, maximum: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.inner, self.maximum = inner, maximum
        self.inner.allow_none = True

    def _bind_to_schema(self, field_name: str, parent: Any) -> None:
        super()._bind_to_schema(field_name, parent)
        self.inner = deepcopy(self.inner)
        self.inner._bind_to_schema(field_name, self)

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> dict[str, Any]:
        if not isinstance(value, Mapping):
            raise self.make_error("invalid")
        if len(value) > self.maximum:
            raise refused("too-many", f"at most {self.maximum} entries")
        kept = value.read if isinstance(value, Kept) else {}
        if self in kept:
            return dict(kept[self])
        loaded, errors = {}, {}
        for name, entry in value.items():
            try:
                if not 1 <= len(name) <= self.NAME_LENGTH:
                    code = "too-long" if name else "too-short"
                    raise refused(code, f"a name has 1 to {self.NAME_LENGTH} characters")
                if entry is not None:
                    loaded[name] = self.inner.deserialize(entry, name, value, **kwargs)
            except ValidationError as error:
                errors[name] = error.messages
        if errors:
            raise ValidationError(errors)
        kept[self] = dict(loaded)
        return loaded

    def keywords(self) -> dict[str, Any]:
        return {
            "type": "object",
            "maxProperties": self.maximum,
            "propertyNames": {"minLength": 1, "maxLength": self.NAME_LENGTH},
        }
