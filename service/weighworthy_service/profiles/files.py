"""One file of a folder of profiles, read as strictly as a request."""

import json
import stat
from pathlib import Path
from typing import Any, Final, NoReturn

from weighworthy_service.profiles.source import Source, TomlUnreadable, read_toml

MAX_FILE: Final = 256 * 1024


class FileUnreadable(ValueError):  # noqa: N818  the name says what is wrong
    """A file that holds no document: code, sentence, line where one is known."""

    def __init__(self, code: str, detail: str, line: int | None = None) -> None:
        super().__init__(detail)
        self.code, self.detail, self.line = code, detail, line


def read_file(path: Path, folder: Path) -> Source:
    """The document of a TOML or JSON file that lies in the folder.

    Raises:
        FileUnreadable: also for a link that leads out of the folder.
    """
    text = _text(_bytes(path, folder))
    if path.suffix == ".json":
        return Source(_json(text))
    try:
        return Source(read_toml(text), text)
    except TomlUnreadable as error:
        raise FileUnreadable("malformed-toml", error.detail, error.line) from None


def _bytes(path: Path, folder: Path) -> bytes:
    try:
        if not path.resolve(strict=True).is_relative_to(folder.resolve(strict=True)):
            raise FileUnreadable("outside", "the link leads out of the folder of profiles")
        # Opening a pipe would wait for somebody to write into it.
        if not stat.S_ISREG(path.stat().st_mode):
            raise FileUnreadable("unreadable", "this is no file, nor a link to one")
        with path.open("rb") as file:
            raw = file.read(MAX_FILE + 1)
    except (OSError, RuntimeError) as error:  # RuntimeError: links in a circle, before Python 3.13
        reason = getattr(error, "strerror", None) or str(error)
        raise FileUnreadable("unreadable", f"cannot be read: {reason}") from None
    if len(raw) > MAX_FILE:
        raise FileUnreadable("too-large", f"a profile has at most {MAX_FILE} bytes")
    return raw


def _text(raw: bytes) -> str:
    if raw.startswith(b"\xef\xbb\xbf"):
        detail = "the file begins with a byte order mark: save it as UTF-8 without"
        raise FileUnreadable("byte-order-mark", detail, 1)
    try:
        return raw.decode()
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise FileUnreadable("not-utf-8", f"byte {error.start} is not UTF-8", line) from None


def _json(text: str) -> dict[str, Any]:
    try:
        document = json.loads(text, object_pairs_hook=_object, parse_constant=_constant)
        json.dumps(document, ensure_ascii=False).encode()
    except json.JSONDecodeError as error:
        detail = f"{error.msg}, in column {error.colno}"
        raise FileUnreadable("malformed-json", detail, error.lineno) from None
    except UnicodeEncodeError:
        raise FileUnreadable("malformed-json", "half of a surrogate pair stands alone") from None
    except RecursionError:
        raise FileUnreadable("malformed-json", "nested too deep") from None
    except ValueError as error:
        raise FileUnreadable("malformed-json", str(error)) from None
    if not isinstance(document, dict):
        raise FileUnreadable("malformed-json", "a profile is an object")
    return document


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    value = dict(pairs)
    if len(value) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in value if names.count(name) > 1)
        raise ValueError(f"the key {twice[:64]!r} occurs twice in one object")
    return value


def _constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a JSON number")
