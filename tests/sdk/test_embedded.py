"""The adapter around a WSGI application; the real service behind it is a test of the joint."""

import io
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

from weighworthy import Client, Invalid, ProtocolError, embedded, transport
from weighworthy.embedded import URL, embedded_session


class TinyApp:
    """Answers with fixed bytes and keeps what it was asked."""

    def __init__(self, status: str, headers: list[tuple[str, str]], body: list[bytes]) -> None:
        self.status, self.headers, self.body = status, headers, body
        self.environs: list[dict[str, Any]] = []
        self.bodies: list[bytes] = []
        self.closed = 0

    def __call__(
        self, environ: dict[str, Any], start_response: Callable[..., Any]
    ) -> Iterable[bytes]:
        self.environs.append(environ)
        self.bodies.append(environ["wsgi.input"].read())
        start_response(self.status, self.headers)
        return self

    def __iter__(self) -> Any:
        return iter(self.body)

    def close(self) -> None:
        self.closed += 1


JSON = [("Content-Type", "application/json"), ("X-Request-Id", "R-8")]


def client_for(app: Any) -> Client:
    return Client(URL, session=embedded_session(app))


def test_an_answer_goes_through(answer_bytes: bytes) -> None:
    app = TinyApp("200 OK", JSON, [answer_bytes[:10], b"", answer_bytes[10:]])
    answer = client_for(app).check_span(rounds=[{"load": ["Wé"]}], detail="short")
    assert answer.raw == answer_bytes
    assert answer.request_id == "R-8"
    assert app.closed == 1
    environ = app.environs[0]
    assert environ["REQUEST_METHOD"] == "POST"
    assert environ["PATH_INFO"] == "/v1/checks/span"
    assert environ["QUERY_STRING"] == "detail=short"
    assert environ["CONTENT_TYPE"] == "application/json"
    assert environ["CONTENT_LENGTH"] == str(len(app.bodies[0]))
    assert environ["HTTP_ACCEPT"] == "application/json"
    assert environ["REMOTE_ADDR"] == "127.0.0.1"
    assert "HTTP_AUTHORIZATION" not in environ
    assert app.bodies == ['{"rounds": [{"load": ["Wé"]}]}'.encode()]


def test_the_environ_is_what_pep_3333_asks_for(answer_bytes: bytes) -> None:
    # The validator of the standard library raises AssertionError on either side's fault.
    from wsgiref.validate import validator

    def app(environ: dict[str, Any], start_response: Callable[..., Any]) -> list[bytes]:
        environ["wsgi.input"].read(int(environ.get("CONTENT_LENGTH", 0)))
        start_response("200 OK", JSON)
        return [answer_bytes]

    client = client_for(validator(app))
    assert client.info()["verdict"] == "fail"
    assert client.check_span(rounds=[]).raw == answer_bytes


def test_a_problem_goes_through() -> None:
    body = b'{"type": "/problems/invalid", "title": "Faults", "status": 422}'
    app = TinyApp("422 Unprocessable", [("Content-Type", "application/problem+json")], [body])
    with pytest.raises(Invalid, match="Faults"):
        client_for(app).evaluate("span", {})


def test_a_path_arrives_as_bytes_seen_through_latin_1() -> None:
    app = TinyApp("200 OK", JSON, [b"{}"])
    embedded_session(app).get(f"{URL}/a%C3%A9", timeout=1)
    assert app.environs[0]["PATH_INFO"] == "/a\u00c3\u00a9"
    assert isinstance(app.environs[0]["wsgi.input"], io.BytesIO)


def test_the_environment_has_no_say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "netrc").write_text("default login somebody password else\n", encoding="utf-8")
    monkeypatch.setenv("NETRC", str(tmp_path / "netrc"))
    monkeypatch.setenv("HTTP_PROXY", "http://127.0.0.1:1")
    app = TinyApp("200 OK", JSON, [b"{}"])
    assert embedded_session(app).get(URL, timeout=1).status_code == 200
    assert "HTTP_AUTHORIZATION" not in app.environs[0]


def test_a_fault_of_the_application_still_closes_it() -> None:
    class Faulty(TinyApp):
        def __iter__(self) -> Any:
            raise RuntimeError("broken")

    app = Faulty("200 OK", JSON, [])
    with pytest.raises(RuntimeError, match="broken"):
        client_for(app).info()
    assert app.closed == 1


def test_without_the_service_the_message_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "weighworthy_service.web.app", None)
    with pytest.raises(ImportError, match=r"pip install 'weighworthy\[service\]'"):
        Client.embedded()


def test_the_package_stands_on_its_base_dependency_alone() -> None:
    import subprocess

    heavy = ("flask", "marshmallow", "scipy", "numpy", "apispec", "weighworthy_service")
    code = (
        "import sys, weighworthy, weighworthy.embedded\n"
        "weighworthy.Client('https://service.example.org')\n"
        f"print([name for name in {heavy} if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_a_call_works_where_only_the_base_is_installed(answer_bytes: bytes) -> None:
    """With every other package hidden, a whole call over HTTP still runs."""
    import subprocess

    code = (
        "import sys, http.server, threading\n"
        "allowed = {'weighworthy', 'requests'}\n"
        "allowed |= {'urllib3', 'certifi', 'idna', 'charset_normalizer'}\n"
        "class Hide:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        top = name.partition('.')[0]\n"
        "        if top in sys.stdlib_module_names or top in allowed: return None\n"
        "        raise ModuleNotFoundError(name, name=name)\n"
        "sys.meta_path.insert(0, Hide())\n"
        "body = sys.stdin.buffer.read()\n"
        "class Handler(http.server.BaseHTTPRequestHandler):\n"
        "    def do_POST(self):\n"
        "        self.rfile.read(int(self.headers['Content-Length']))\n"
        "        self.send_response(200)\n"
        "        self.send_header('Content-Type', 'application/json')\n"
        "        self.end_headers()\n"
        "        self.wfile.write(body)\n"
        "    def log_message(self, *_): pass\n"
        "server = http.server.HTTPServer(('127.0.0.1', 0), Handler)\n"
        "threading.Thread(target=server.serve_forever, daemon=True).start()\n"
        "from weighworthy import Client\n"
        "with Client(f'http://127.0.0.1:{server.server_port}') as client:\n"
        "    print(client.check_span(rounds=[]).verdict)\n"
        "try:\n"
        "    Client.embedded()\n"
        "except ImportError as error:\n"
        "    print('weighworthy[service]' in str(error))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], input=answer_bytes, capture_output=True, check=False
    )
    assert done.stdout.decode().split() == ["fail", "True"], done.stderr.decode()


def test_nothing_inside_a_process_is_tried_again_or_given_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    app = TinyApp("503 Service Unavailable", [("Content-Type", "text/plain")], [b"busy"])
    monkeypatch.setattr(embedded, "_service", lambda *_folders: app)
    with Client.embedded() as client, pytest.raises(ProtocolError, match="503"):
        client.info()
    assert len(app.environs) == 1
    # Past the 60 s after which a call over the network ends.
    times = iter([0.0, 0.0, 3600.0, 3600.0, 3600.0, 3600.0])
    outgoing = transport.Outgoing(client._session, "GET", f"{URL}/v1/info", {}, "R-1")
    late = transport.call(outgoing, client._limits, transport.Clock(now=lambda: next(times)))
    assert late.status == 503
