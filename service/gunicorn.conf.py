"""Settings of gunicorn for production: `gunicorn -c service/gunicorn.conf.py`.

Set through the environment: WEIGHWORTHY_BIND (default 127.0.0.1:8000), WEIGHWORTHY_WORKERS (2),
WEIGHWORTHY_THREADS (4), WEIGHWORTHY_HEAVY (threads less two), WEIGHWORTHY_REQUEST_SECONDS (15, in
which a request must have come), who may ask: WEIGHWORTHY_KEYS_FILE or WEIGHWORTHY_ANONYMOUS, and by
what is judged: WEIGHWORTHY_PROFILES, a folder of profiles.

`kill -HUP` of the first process reads keys and profiles anew. If anything is broken, all goes on
with what was in force, and /readyz says what is wrong. Otherwise workers with the old set stop
taking connections before the first with the new set begins: for up to three seconds, new
connections wait, none is refused.
"""

import os
import signal
import sys
import time

from weighworthy_service.profiles.folder import FolderNotUsable
from weighworthy_service.web import metrics_folder
from weighworthy_service.web.settings import SettingsError
from weighworthy_service.web.tracing import start_tracing

wsgi_app = "weighworthy_service.web.wsgi:application"
bind = os.environ.get("WEIGHWORTHY_BIND", "127.0.0.1:8000")
workers = int(os.environ.get("WEIGHWORTHY_WORKERS", "2"))
threads = int(os.environ.get("WEIGHWORTHY_THREADS", "4"))

# Threads, which those who are slow to send do not hold.
worker_class = "weighworthy_service.web.worker.Worker"
# Loads the service once, before the workers: what is broken keeps the process from starting.
preload_app = True
# Longer than a proxy in front keeps idle connections, so that it never sends into a closed one.
keepalive = 75
# Watches the heartbeat of a worker, not the duration of a request.
timeout = 30
graceful_timeout = 30
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


def post_fork(server, worker):
    """Begin what does not survive a fork."""
    start_tracing(os.environ)


def child_exit(server, worker):
    """Keep what a worker counted that is gone, however it ended."""
    metrics_folder.bury(worker.pid)


def on_reload(server):
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
    for pid in list(server.WORKERS):
        server.kill_worker(pid, signal.SIGTERM)
    # A stopping worker accepts nothing, and answers what comes on kept connections for two seconds.
    # What is still running after three began before the reload.
    deadline = time.monotonic() + 3
    while server.WORKERS and time.monotonic() < deadline:
        server.reap_workers()
        time.sleep(0.02)


try:
    # At a reload this file is read again, when the application is there already: then nothing may
    # stop the process.
    from weighworthy_service.web.views import NOT_RELOADED
    from weighworthy_service.web.wsgi import renewed
except (SettingsError, FolderNotUsable) as error:
    # What to set or repair, before anything listens, instead of a traceback.
    sys.exit(f"weighworthy does not start: {error}")
