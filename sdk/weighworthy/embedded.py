"""The service inside this process: a `requests` transport adapter around its WSGI application.

The same requests, the same answers, no socket (PEP 3333).
"""

import io
import os
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes, urlsplit

import requests
import urllib3
from requests.adapters import HTTPAdapter

from weighworthy.errors import ProfileFileError

# RFC 2606: a name under .invalid never resolves, so nothing can leave by mistake.
URL = "http://embedded.invalid"

WsgiApp = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


def embedded_session(
    app: WsgiApp | None = None,
    *,
    profiles: str | os.PathLike[str] | None = None,
    mappings: str | os.PathLike[str] | None = None,
    sealing_key: str | os.PathLike[str] | None = None,
    seal_keys: str | os.PathLike[str] | None = None,
) -> requests.Session:
    """A session whose requests all go to ``app``; without one, to the service's own application.

    ``profiles`` and ``mappings`` are folders that the service reads, ``sealing_key`` and
    ``seal_keys`` files of keys. Raises ``ImportError`` saying what to install when the service is
    not there, `ProfileFileError` when a folder cannot be used, ``ValueError`` when keys cannot.
    """
    session = requests.Session()
    session.trust_env = False  # no proxy and no .netrc lies between two functions
    session.adapters.clear()
    session.mount(
        "http://", _WsgiAdapter(app or _service(profiles, mappings, sealing_key, seal_keys))
    )
    return session


def _service(
    profiles: str | os.PathLike[str] | None,
    mappings: str | os.PathLike[str] | None,
    sealing_key: str | os.PathLike[str] | None,
    seal_keys: str | os.PathLike[str] | None,
) -> WsgiApp:
    try:
        from weighworthy_service.web.app import create_app  # noqa: PLC0415
    except ImportError as error:
        raise ImportError(
            "Client.embedded() runs the service in this process and needs what the service needs: "
            f"pip install 'weighworthy[service]'  ({error})",
            name=error.name,
        ) from error
    try:
        app: WsgiApp = create_app(
            profiles=None if profiles is None else Path(profiles),
            mappings=None if mappings is None else Path(mappings),
            sealing_key=None if sealing_key is None else Path(sealing_key),
            seal_keys=None if seal_keys is None else Path(seal_keys),
            whole=False,
        )
    except ValueError as error:
        if not hasattr(error, "errors"):
            raise  # it is about keys, and in no folder of documents
        # One line for each fault, with its file below the folder; see FolderNotUsable there.
        faults = str(error).splitlines()
    else:
        return app
    # Which of two folders is meant, the fault alone does not tell.
    folder = os.fspath(profiles or mappings or "") if None in (profiles, mappings) else ""
    raise ProfileFileError([os.path.join(folder, fault) for fault in faults])


class _WsgiAdapter(HTTPAdapter):
    """Only ``send`` differs from the adapter of `requests`; it makes the response as always."""

    def __init__(self, app: WsgiApp) -> None:
        super().__init__()
        self._app = app

    def send(
        self,
        request: requests.PreparedRequest,
        *_options: Any,
        **_more: Any,
    ) -> requests.Response:
        started: list[tuple[str, list[tuple[str, str]]]] = []
        written: list[bytes] = []

        def start_response(
            status: str, headers: list[tuple[str, str]], exc_info: Any = None
        ) -> Callable[[bytes], None]:
            if started and exc_info is None:
                raise AssertionError("start_response was called twice")
            started[:] = [(status, headers)]
            return written.append

        chunks = self._app(_environ(request), start_response)
        try:
            rest = iter(chunks)
            # The first piece is when status and headers are settled (PEP 3333).
            first = next(rest, b"")
        except BaseException:
            _close(chunks)
            raise
        body = _Body(b"".join(written) + first, rest, chunks)
        status, headers = started[0]
        code, _, reason = status.partition(" ")
        return self.build_response(
            request,
            urllib3.HTTPResponse(
                body=body,
                headers=urllib3.HTTPHeaderDict(headers),
                status=int(code),
                reason=reason,
                preload_content=False,
                request_method=request.method,
            ),
        )


class _Body(io.RawIOBase):
    """An answer that is made while it is read, so that a large one is never held whole."""

    def __init__(self, first: bytes, rest: Iterator[bytes], chunks: Iterable[bytes]) -> None:
        super().__init__()
        self._held, self._rest, self._chunks = memoryview(first), rest, chunks

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        while not self._held:
            piece = next(self._rest, None)
            if piece is None:
                return 0
            self._held = memoryview(piece)
        size = min(len(buffer), len(self._held))
        buffer[:size] = self._held[:size]
        self._held = self._held[size:]
        return size

    def close(self) -> None:
        if not self.closed:
            _close(self._chunks)
        super().close()


def _close(chunks: Iterable[bytes]) -> None:
    close = getattr(chunks, "close", None)
    if close is not None:
        close()


def _environ(request: requests.PreparedRequest) -> dict[str, Any]:
    parts = urlsplit(str(request.url))
    body = request.body or b""
    if not isinstance(body, bytes) and not hasattr(body, "read"):
        raise TypeError("an embedded service takes a request body as bytes or as a file")
    environ: dict[str, Any] = {
        "REQUEST_METHOD": request.method,
        "SCRIPT_NAME": "",
        # PEP 3333: bytes of the path, seen through latin-1.
        "PATH_INFO": unquote_to_bytes(parts.path).decode("latin-1"),
        "QUERY_STRING": parts.query,
        "SERVER_NAME": parts.hostname,
        "SERVER_PORT": "80",
        "SERVER_PROTOCOL": "HTTP/1.1",
        "REMOTE_ADDR": "127.0.0.1",
        "HTTP_HOST": parts.netloc,
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": "http",
        "wsgi.input": io.BytesIO(body) if isinstance(body, bytes) else body,
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": False,
        "wsgi.run_once": False,
    }
    for name, value in request.headers.items():
        key = name.upper().replace("-", "_")
        bare = key in ("CONTENT_TYPE", "CONTENT_LENGTH")
        environ[key if bare else f"HTTP_{key}"] = str(value)
    return environ
