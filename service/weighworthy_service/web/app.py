"""The application: addresses, who may use them, and the headers that every answer has."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final
from uuid import uuid4

from flask import Flask, Response
from flask.globals import app_ctx, request_ctx

from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.folder import load_folder
from weighworthy_service.tables.mapping_folder import load_mappings
from weighworthy_service.web.addresses import Known, register_addresses
from weighworthy_service.web.guard import admit
from weighworthy_service.web.patience import SECONDS
from weighworthy_service.web.problems import register_problems
from weighworthy_service.web.room import give_room
from weighworthy_service.web.settings import Settings
from weighworthy_service.web.settings import seal_keys as read_keys
from weighworthy_service.web.views import register_views

_REQUEST_ID: Final = re.compile("[A-Za-z0-9._-]{1,64}")
# By their names in lower case.
_HEADERS: Final = {
    name.lower(): (name, value)
    for name, value in (
        ("X-Content-Type-Options", "nosniff"),
        ("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'"),
        ("Referrer-Policy", "no-referrer"),
        ("Cache-Control", "no-store"),
    )
}


class _Service(Flask):
    """No function of the service is a coroutine: Flask looks anew at each of them otherwise."""

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        """The function itself."""
        return func


def create_app(
    settings: Settings | None = None,
    *,
    profiles: Path | None = None,
    mappings: Path | None = None,
    sealing_key: Path | None = None,
    seal_keys: Path | None = None,
    whole: bool = True,
) -> Flask:
    """The service as a WSGI application; `profiles` and `mappings` are folders of them.

    `sealing_key` is the file of the key that signs records, `seal_keys` a file or folder of others
    that seals are held against.

    Without settings it takes requests from whoever can call it: that is for use inside a program,
    where there is no socket and the caller is the program itself. A server passes
    `Settings.from_environment(os.environ)`, as `weighworthy_service.web.wsgi` does.

    Everything is read here, before the first request, and never again by this application. Without
    `whole`, code is loaded when something of it is asked for: for use inside a program.

    Raises:
        FolderNotUsable: anything in one of the folders is broken; nothing of it is taken.
        SettingsError: a file of keys is broken.
    """
    in_force = settings or Settings(anonymous="yes")
    if profiles is not None:
        in_force = replace(in_force, profiles=profiles)
    if mappings is not None:
        in_force = replace(in_force, mappings=mappings)
    if sealing_key is not None or seal_keys is not None:
        in_force = replace(in_force, seals=read_keys(sealing_key, seal_keys))
    known = built_in() if in_force.profiles is None else load_folder(in_force.profiles)
    mapped = {} if in_force.mappings is None else load_mappings(in_force.mappings)
    app = _Service("weighworthy_service", static_folder=None)
    app.url_map.merge_slashes = False
    app.extensions["weighworthy.profiles"] = known
    give_room(app, in_force.heavy)

    @app.before_request
    def begin() -> None:
        # Each way through a proxy of Flask's takes longer than what is read here.
        here = request_ctx.request
        environ, path = here.environ, here.path
        sent = environ.get("HTTP_X_REQUEST_ID", "")
        app_ctx.g.request_id = sent if sent and _REQUEST_ID.fullmatch(sent) else uuid4().hex
        environ[SECONDS] = in_force.seconds
        if path.startswith("/v1/") or path in ("/v1", "/metrics"):
            admit(here, in_force)

    @app.after_request
    def finish(response: Response) -> Response:
        headers = response.headers
        stated = {name.lower() for name, _ in headers}
        # One after the other they would each be looked for among all.
        headers.extend(
            [
                ("X-Request-Id", app_ctx.g.request_id),
                *[one for name, one in _HEADERS.items() if name not in stated],
            ]
        )
        if "vary" in stated:
            response.vary.add("Accept")
        else:
            headers.add("Vary", "Accept")
        if request_ctx.request.environ["REQUEST_METHOD"] == "OPTIONS":
            response.headers.remove("Content-Type")  # Allow is the answer; there is no body
        return response

    register_problems(app)
    register_views(app, known)
    seen = Known(known, mapped, in_force.batch, in_force.seals)
    register_addresses(app, seen, whole=whole)
    return app
