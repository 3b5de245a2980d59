"""An application that tells which thread answered it, for the worker of production."""

import threading
import time

from flask import Flask, Response, request


def application() -> Flask:
    """Answers with the name of the thread, the length of the body, and as much as is asked for."""
    app = Flask("told_threads")

    @app.route("/<path:_any>", methods=["GET", "POST"])
    def told(_any: str) -> Response:
        body = request.get_data()
        asked = request.headers
        if asked.get("X-Fail"):
            raise RuntimeError("asked for")
        if asked.get("X-Exit"):
            raise SystemExit(3)
        time.sleep(float(asked.get("X-Sleep", 0)))
        text = f"{threading.current_thread().name} {len(body)} {asked.get('X-Number', '')}"
        return Response(text + "." * int(asked.get("X-Long", 0)))

    return app
