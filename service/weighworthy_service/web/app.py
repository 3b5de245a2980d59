"""The application: addresses, who may use them, and the headers that every answer has."""

import re
from typing import Final
from uuid import uuid4

from flask import Flask, Response, g, request

from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.web.guard import admit
from weighworthy_service.web.problems import register_problems
from weighworthy_service.web.settings import Settings
from weighworthy_service.web.views import register_views

_REQUEST_ID: Final = re.compile("[A-Za-z0-9._-]{1,64}")
_HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
}


def create_app(settings: Settings | None = None) -> Flask:
    """The service as a WSGI application.

    Without settings it takes requests from whoever can call it: that is for use inside a program,
    where there is no socket and the caller is the program itself. A server passes
    `Settings.from_environment(os.environ)`, as `weighworthy_service.web.wsgi` does.
    """
    in_force = settings or Settings(anonymous="yes")
    find_profile(None)  # a broken built-in profile must stop the process, not a request
    app = Flask("weighworthy_service", static_folder=None)
    app.url_map.merge_slashes = False

    @app.before_request
    def begin() -> None:
        sent = request.headers.get("X-Request-Id", "")
        g.request_id = sent if _REQUEST_ID.fullmatch(sent) else uuid4().hex
        if request.path == "/v1" or request.path.startswith("/v1/"):
            admit(request, in_force)

    @app.after_request
    def finish(response: Response) -> Response:
        response.headers["X-Request-Id"] = g.request_id
        response.headers.extend(_HEADERS)
        response.headers.setdefault("Cache-Control", "no-store")
        response.vary.add("Accept")
        return response

    register_problems(app)
    register_views(app)
    return app
