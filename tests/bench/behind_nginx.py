"""Replicas of the service and the nginx of `service/deploy/nginx` before them, on free ports of
this machine, for as long as somebody needs them. Tests and benches start them alike.
"""

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

ROOT = Path(__file__).parents[2]
CONF = ROOT / "service/deploy/nginx/weighworthy.conf"
KEY = "an-invented-key-of-kestrel-mill-foods"
# Debian has nginx where users without rights do not look.
os.environ["PATH"] += os.pathsep + "/usr/sbin"
AVAILABLE = all(map(shutil.which, ("nginx", "openssl")))


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


@dataclass
class Replica:
    """One production server; `started` anew on the same port as often as wanted."""

    folder: Path
    settings: dict[str, str]
    arguments: tuple[str, ...] = ()
    port: int = field(default_factory=free_port)
    process: "subprocess.Popen[bytes] | None" = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def log(self) -> Path:
        return self.folder / f"replica-{self.port}.log"

    def start(self) -> None:
        keys = self.folder / "keys"
        keys.write_text(f"sha256:{sha256(KEY.encode()).hexdigest()}\n")
        environment = {k: v for k, v in os.environ.items() if not k.startswith("WEIGHWORTHY_")}
        own = {
            "WEIGHWORTHY_KEYS_FILE": str(keys),
            "WEIGHWORTHY_BIND": f"127.0.0.1:{self.port}",
            **self.settings,
        }
        command = [sys.executable, "-m", "gunicorn", "-c", "service/gunicorn.conf.py"]
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [*command, *self.arguments],
                cwd=ROOT,
                env={**environment, **own},
                stdout=log,
                stderr=log,
            )
        wait_until_open(self.port, self.process, self.log)

    def stop(self) -> int:
        """In the orderly way; the exit code."""
        assert self.process is not None
        self.process.terminate()
        return self.process.wait(timeout=60)

    def workers(self) -> list[int]:
        """The pids of its workers (Linux)."""
        assert self.process is not None
        pid = self.process.pid
        return [int(w) for w in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def wait_until_open(port: int, process: "subprocess.Popen[bytes]", log: Path) -> None:
    """Until somebody listens there and, of gunicorn, a worker is there too."""
    until = time.monotonic() + 60
    while time.monotonic() < until:
        if process.poll() is not None:
            raise SystemExit(f"it did not start: {log.read_text()}")
        try:
            with socket.create_connection(("127.0.0.1", port), timeout=1):
                return
        except OSError:
            time.sleep(0.05)
    raise SystemExit(f"nobody listens: {log.read_text()}")


@dataclass
class Nginx:
    """The proxy: its port, and the certificate that it shows."""

    folder: Path
    port: int
    certificate: Path
    process: "subprocess.Popen[bytes]"

    @property
    def address(self) -> str:
        return f"https://127.0.0.1:{self.port}"

    def reload(self) -> None:
        self.process.send_signal(signal.SIGHUP)


@contextmanager
def nginx(folder: Path, *ports: int) -> Iterator[Nginx]:
    """The proxy of `service/deploy/nginx` before replicas on these ports, with all its files in a
    folder of its own. Of its configuration, what it says is to be fitted is fitted."""
    port = free_port()
    certificate = _certificate(folder)
    text = CONF.read_text("utf-8")
    for what, by in (
        ("    server 127.0.0.1:8000 max_fails=0;\n", "".join(map(_server, ports))),
        ("listen 443 ssl;", f"listen 127.0.0.1:{port} ssl;"),
        ("/etc/weighworthy/tls.crt", str(certificate)),
        ("/etc/weighworthy/tls.key", str(certificate.with_suffix(".key"))),
        ("/var/log/nginx/weighworthy.log", f"{folder}/access.log"),
    ):
        assert text.count(what) == 1, what
        text = text.replace(what, by)
    (folder / "weighworthy.conf").write_text(text, "utf-8")
    main = folder / "nginx.conf"
    main.write_text(_main(folder), "utf-8")
    log = folder / "nginx-start.log"
    with log.open("wb") as output:
        process = subprocess.Popen(
            ["nginx", "-p", folder, "-e", folder / "error.log", "-c", main],
            stdout=output,
            stderr=output,
        )
    try:
        wait_until_open(port, process, log)
        yield Nginx(folder, port, certificate, process)
    finally:
        process.terminate()
        process.wait(timeout=30)


def _server(port: int) -> str:
    return f"    server 127.0.0.1:{port} max_fails=0;\n"


def _main(folder: Path) -> str:
    # Who may not change the user gets a warning for the line.
    user = "user root;\n" if os.geteuid() == 0 else ""
    places = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    folders = "".join(f"    {place}_temp_path {folder}/{place};\n" for place in places)
    return (
        f"{user}daemon off;\npid {folder}/nginx.pid;\nworker_processes 2;\n"
        f"events {{ worker_connections 1024; }}\n"
        f"http {{\n{folders}    include {folder}/weighworthy.conf;\n}}\n"
    )


def _certificate(folder: Path) -> Path:
    """Signed by itself, for two days."""
    certificate = folder / "tls.crt"
    key = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
    names = ("-subj", "/CN=invented", "-addext", "subjectAltName=IP:127.0.0.1,DNS:localhost")
    files = ("-keyout", certificate.with_suffix(".key"), "-out", certificate)
    command = ["openssl", "req", "-x509", "-days", "2", *key, *names, *files]
    subprocess.run(command, check=True, capture_output=True)
    return certificate
