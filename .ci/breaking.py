"""What a description of the interface takes away from those who rely on an earlier one.

`python .ci/breaking.py [OLD NEW]` prints each fault and ends with 1 if there is any. Without
arguments it holds the description of this state against the last one that was released.

A request that was right must stay right, and an answer must stay one that was announced. Faults
are found by comparing keywords, so a pattern that is written otherwise is told even where it takes
the same texts: whoever changes one says so with the release, or leaves it.
"""

import json
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).parents[1]
PRESENT: Final = ROOT / "openapi" / "weighworthy-v1.json"
_TYPES: Final = {"null", "boolean", "integer", "number", "string", "array", "object"}
_LOWER: Final = ("minimum", "exclusiveMinimum", "minLength", "minItems", "minProperties")
_UPPER: Final = ("maximum", "exclusiveMaximum", "maxLength", "maxItems", "maxProperties")
# What tells people something and lets or keeps out no value.
_WORDS: Final = {"title", "description", "example", "examples", "deprecated", "default"}
_COMPARED: Final = {
    *("type", "enum", "const", "required", "properties", "items"),
    *("additionalProperties", "propertyNames"),
    *_LOWER,
    *_UPPER,
}


def last_released() -> Path:
    """The description that the present one is held against: that of the highest version."""
    versions = (ROOT / "openapi" / "released").glob("*.json")
    return max(versions, key=lambda file: [int(part) for part in file.stem.split(".")])


def faults(old: dict[str, Any], new: dict[str, Any]) -> list[str]:
    """What those who rely on `old` lose with `new`: where, and what."""
    return list(dict.fromkeys(_paths(old, new)))


def _paths(old: dict[str, Any], new: dict[str, Any]) -> Iterator[str]:
    for path, before in old["paths"].items():
        if path not in new["paths"]:
            yield f"{path}: the address is gone"
            continue
        for method, operation in before.items():
            where = f"{method.upper()} {path}"
            if method in new["paths"][path]:
                now = new["paths"][path][method]
                yield from _Comparison(old, new, where).operation(operation, now)
            else:
                yield f"{where}: the operation is gone"


@dataclass(frozen=True)
class _Comparison:
    old: dict[str, Any]
    new: dict[str, Any]
    where: str

    def operation(self, old: dict[str, Any], new: dict[str, Any]) -> Iterator[str]:
        if old.get("operationId") != new.get("operationId"):
            yield f"{self.where}: operationId, by which clients name it, is another one"
        if {} in old.get("security", [{}]) and {} not in new.get("security", [{}]):
            yield f"{self.where}: a key has become necessary"
        yield from self._parameters(old, new)
        yield from self._body(old.get("requestBody"), new.get("requestBody"))
        for status, response in old["responses"].items():
            where = f"{self.where} {status}"
            if status not in new["responses"]:
                yield f"{where}: the status is gone"
                continue
            now = new["responses"][status]
            for name in response.get("headers", {}):
                if name not in now.get("headers", {}):
                    yield f"{where}: the header {name} is gone"
            for media, form in response.get("content", {}).items():
                if media not in now.get("content", {}):
                    yield f"{where}: the type {media} is gone"
                    continue
                for key in ("schema", "x-line-schema"):
                    before, after = form.get(key, {}), now["content"][media].get(key, {})
                    yield from self._answers(before, after, f"{where} {media}")

    def _parameters(self, old: dict[str, Any], new: dict[str, Any]) -> Iterator[str]:
        before, now = (
            {(p["in"], p["name"]): p for p in operation.get("parameters", [])}
            for operation in (old, new)
        )
        for key, parameter in before.items():
            where = f"{self.where} {key[0]} {key[1]}"
            if key not in now:
                yield f"{where}: the parameter is gone"
                continue
            yield from self._requests(parameter["schema"], now[key]["schema"], where)
        for key, parameter in now.items():
            if parameter.get("required") and not before.get(key, {}).get("required"):
                yield f"{self.where} {key[0]} {key[1]}: the parameter has become necessary"

    def _body(self, old: dict[str, Any] | None, new: dict[str, Any] | None) -> Iterator[str]:
        if new and new.get("required") and not (old and old.get("required")):
            yield f"{self.where}: a body has become necessary"
        for media, form in (old or {}).get("content", {}).items():
            if media not in (new or {}).get("content", {}):
                yield f"{self.where}: bodies of {media} are no longer taken"
                continue
            now = new["content"][media]  # type: ignore[index]
            yield from self._requests(form["schema"], now["schema"], f"{self.where} {media}")

    def _requests(self, old: Any, new: Any, where: str) -> Iterator[str]:
        yield from _Schemas(self.new, self.old, answers=False).within(new, old, where)

    def _answers(self, old: Any, new: Any, where: str) -> Iterator[str]:
        yield from _Schemas(self.old, self.new, answers=True).within(old, new, where)


class _Schemas:
    """Whether all that one schema lets is let by another.

    For requests the wide one is the new, for answers the old one.
    """

    def __init__(
        self,
        wide_in: dict[str, Any],
        narrow_in: dict[str, Any],
        *,
        answers: bool,
        seen: Iterable[tuple[str, str]] = (),
    ) -> None:
        self._wide_in, self._narrow_in, self._answers = wide_in, narrow_in, answers
        self._seen = set(seen)

    def within(self, wide: Any, narrow: Any, where: str) -> Iterator[str]:
        if isinstance(wide, dict) and isinstance(narrow, dict) and "$ref" in wide | narrow:
            pair = (wide.get("$ref", str(wide)), narrow.get("$ref", str(narrow)))
            if pair in self._seen:
                return
            self._seen.add(pair)
        wide, narrow = _found(wide, self._wide_in), _found(narrow, self._narrow_in)
        if wide is True or narrow is False or wide == {}:
            return
        if wide is False:
            yield f"{where}: nothing is allowed any more"
            return
        above, below = _alternatives(wide), _alternatives({} if narrow is True else narrow)
        if "anyOf" not in {*wide, *(narrow if isinstance(narrow, dict) else ())}:
            yield from self._same(above[0], below[0], where)
            return
        for one in below:
            # What was found while one alternative was tried is no answer for the next.
            tried = [list(self._again().within(other, one, where)) for other in above]
            if all(tried):
                yield from min(tried, key=len)

    def _again(self) -> "_Schemas":
        return _Schemas(self._wide_in, self._narrow_in, answers=self._answers, seen=self._seen)

    def _same(self, wide: dict[str, Any], narrow: dict[str, Any], where: str) -> Iterator[str]:
        yield from self._values(wide, narrow, where)
        yield from self._bounds(wide, narrow, where)
        if "object" in _types(narrow):
            yield from self._object(wide, narrow, where)
        if "array" in _types(narrow) and "items" in wide:
            yield from self.within(wide["items"], narrow.get("items", {}), f"{where}[]")
        for key in sorted(wide.keys() - _WORDS - _COMPARED):
            if wide[key] != narrow.get(key):
                yield f"{where}: {key} is another one, and may be narrower"

    def _values(self, wide: dict[str, Any], narrow: dict[str, Any], where: str) -> Iterator[str]:
        if lost := _types(narrow) - _types(wide):
            yield f"{where}: {_change(self._answers)} of type {', '.join(sorted(lost))}"
        listed, before = _listed(wide), _listed(narrow)
        if listed is not None and before is None:
            yield f"{where}: only listed values, not any"
        if listed is not None and before is not None:
            differing = [one for one in before if one not in listed]
            # A name that was announced in answers and never comes again is a lost one too.
            gone = [one for one in listed if one not in before] if self._answers else []
            for one in differing:
                yield f"{where}: {_change(self._answers)} {json.dumps(one)}"
            for one in gone:
                yield f"{where}: the value {json.dumps(one)} is gone"
        if not self._answers and narrow.get("default") != wide.get("default"):
            yield f"{where}: leaving it out means something else"

    def _bounds(self, wide: dict[str, Any], narrow: dict[str, Any], where: str) -> Iterator[str]:
        for keys, sign in ((_LOWER, 1), (_UPPER, -1)):
            for key in keys:
                if key not in wide or (sign == 1 and key.startswith("min") and wide[key] == 0):
                    continue
                if key not in narrow or (wide[key] - narrow[key]) * sign > 0:
                    yield f"{where}: {key} {narrow.get(key)} against {wide[key]}"

    def _object(self, wide: dict[str, Any], narrow: dict[str, Any], where: str) -> Iterator[str]:
        for name in wide.get("required", []):
            if name not in narrow.get("required", []):
                word = "need not be there any more" if self._answers else "has become necessary"
                yield f"{where}/{name}: {word}"
        above, below = wide.get("properties", {}), narrow.get("properties", {})
        rest = wide.get("additionalProperties", True)
        for name, form in below.items():
            if name in above:
                yield from self.within(above[name], form, f"{where}/{name}")
            elif rest is False:
                yield f"{where}/{name}: {'a new field' if self._answers else 'the field is gone'}"
            else:
                yield from self.within(rest, form, f"{where}/{name}")
        if self._answers:
            for name in above.keys() - below.keys():
                yield f"{where}/{name}: the field is gone"
        more = narrow.get("additionalProperties", True)
        if rest is False and more is not False:
            yield f"{where}: further fields {'may come' if self._answers else 'are refused'}"
        else:
            yield from self.within(rest, more, f"{where}/*")
        names = (wide.get("propertyNames", True), narrow.get("propertyNames", True))
        yield from self.within(*names, f"{where} (names)")


def _found(schema: Any, document: dict[str, Any]) -> Any:
    while isinstance(schema, dict) and "$ref" in schema:
        schema = document["components"]["schemas"][schema["$ref"].rsplit("/", 1)[1]]
    return schema


def _alternatives(schema: dict[str, Any]) -> list[dict[str, Any]]:
    beside = {key: value for key, value in schema.items() if key != "anyOf"}
    return [{**beside, **one} for one in schema.get("anyOf", [{}])]


def _types(schema: dict[str, Any]) -> set[str]:
    stated = schema.get("type", list(_TYPES))
    types = {stated} if isinstance(stated, str) else set(stated)
    return types | {"integer"} if "number" in types else types


def _listed(schema: dict[str, Any]) -> list[Any] | None:
    return [schema["const"]] if "const" in schema else schema.get("enum")


def _change(answers: bool) -> str:
    return "there may now be a value" if answers else "no longer taken is a value"


if __name__ == "__main__":
    files = [Path(one) for one in sys.argv[1:]] or [last_released(), PRESENT]
    found = faults(*(json.loads(file.read_text("utf-8")) for file in files))
    print("\n".join(found) or f"nothing is lost against {files[0].name}")
    sys.exit(bool(found))
