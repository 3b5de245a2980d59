"""Settings of gunicorn for production, as `weighworthy serve` uses them.

By hand: `gunicorn -c python:weighworthy_service.web.server`. What can be set, and how, stands in
`variables.py`. What makes no sense ends the process with status 2 before anything listens.

`kill -HUP` of the first process reads keys and profiles anew. If anything is broken, all goes on
with what was in force, and /readyz says what is wrong. Otherwise workers with the old set stop
taking connections before the first with the new set begins: for up to three seconds, new
connections wait, none is refused.

At `kill -TERM` nothing new is accepted; what is under way has WEIGHWORTHY_STOP_SECONDS to end.
"""

import gc
import os
import signal
import sys
import time
from typing import Any, NoReturn

from weighworthy_service.profiles.folder import FolderNotUsable
from weighworthy_service.web import metrics_folder
from weighworthy_service.web.forking import hold_stops, let_stops
from weighworthy_service.web.server_settings import ServerSettings, refuse_what_cannot_be
from weighworthy_service.web.tracing import is_traced, start_tracing
from weighworthy_service.web.variables import SettingsError


def _not_started(error: Exception) -> NoReturn:
    """What to set or repair, instead of a traceback."""
    sys.stderr.write(f"weighworthy does not start: {error}\n")
    sys.exit(2)


try:
    _set = ServerSettings.from_environment(os.environ)
    refuse_what_cannot_be(os.environ, _set.bind)
except SettingsError as error:
    _not_started(error)

wsgi_app = "weighworthy_service.web.wsgi:application"
bind = _set.bind
workers = _set.workers
threads = _set.threads

# Threads, which those who are slow to send do not hold.
worker_class = "weighworthy_service.web.worker.Worker"
# Loads the service once, before the workers: what is broken keeps the process from starting.
preload_app = True
# Longer than a proxy in front keeps idle connections, so that it never sends into a closed one.
keepalive = 75
# Watches the heartbeat of a worker, not the duration of a request.
timeout = 30
graceful_timeout = _set.stop
max_requests = 50_000
max_requests_jitter = 5_000
limit_request_line = 4094
limit_request_fields = 50
limit_request_field_size = 8190
# Whose X-Forwarded-* headers would be believed: nobody's. The service reads none of them.
forwarded_allow_ips = ""
# Otherwise gunicorn opens a socket for control below $HOME.
control_socket_disable = True
if os.path.isdir("/dev/shm"):  # noqa: S108  heartbeat files belong in memory
    worker_tmp_dir = "/dev/shm"  # noqa: S108

# JSON lines: of requests on standard output, of all else on standard error; neither bodies nor
# keys, and no query, which may carry anything.
logger_class = "weighworthy_service.web.server_log.ServerLog"

# Before the application is loaded, which counts there.
metrics_folder.prepare()


def on_starting(server: Any) -> None:
    """Load what workers need and begin themselves."""
    server.traced = is_traced(os.environ)


def when_ready(server: Any) -> None:
    """Before the first worker is forked."""
    _keep_for_good()


def _keep_for_good() -> None:
    """Leave all that is loaded out of what collectors go through, in every later worker too.

    They are some hundred thousand objects, which all modules made and nobody lets go: a worker
    stood still for 0.15 s whenever its collector looked through all. Garbage goes first, and with
    it an application that was replaced; else it would be kept as well.
    """
    gc.unfreeze()
    gc.collect()
    gc.freeze()


def pre_fork(server: Any, worker: Any) -> None:
    """Keep signals to stop until each of the two processes hears its own."""
    hold_stops()


def post_worker_init(worker: Any) -> None:
    """The worker has handlers of its own."""
    let_stops()


def post_fork(server: Any, worker: Any) -> None:
    """Begin what does not survive a fork."""
    if server.traced:
        start_tracing()


def child_exit(server: Any, worker: Any) -> None:
    """Keep what a worker counted that is gone, however it ended."""
    metrics_folder.bury(worker.pid)


def on_reload(server: Any) -> None:
    """Put the new application into the first process, from which every later worker is forked.

    gunicorn keeps a preloaded application through a reload, and starts new workers before it stops
    the old ones; without this the two sets would be served side by side.
    """
    running = server.app.callable
    server.app.callable = renewed(running, os.environ)
    if server.app.callable is running:
        for line in running.config[NOT_RELOADED]:
            server.log.error("not reloaded: %s", line)
        return
    # Else it would be kept with the rest.
    del running
    _keep_for_good()
    for pid in list(server.WORKERS):
        server.kill_worker(pid, signal.SIGTERM)
    # A stopping worker accepts nothing, and answers what comes on kept connections for two seconds.
    # What is still running after three began before the reload.
    deadline = time.monotonic() + 3
    while server.WORKERS and time.monotonic() < deadline:
        server.reap_workers()
        time.sleep(0.02)


try:
    # Reads keys and profiles, before anything listens.
    from weighworthy_service.web.views import NOT_RELOADED
    from weighworthy_service.web.wsgi import renewed
except (SettingsError, FolderNotUsable) as error:
    _not_started(error)
