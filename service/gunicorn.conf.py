"""Settings of gunicorn for production: `gunicorn -c service/gunicorn.conf.py`.

Set through the environment: WEIGHWORTHY_BIND (default 127.0.0.1:8000), WEIGHWORTHY_WORKERS (2),
WEIGHWORTHY_THREADS (4), and who may ask: WEIGHWORTHY_KEYS_FILE or WEIGHWORTHY_ANONYMOUS.
"""

import os
import sys

from weighworthy_service.web.settings import Settings, SettingsError

wsgi_app = "weighworthy_service.web.wsgi:application"
bind = os.environ.get("WEIGHWORTHY_BIND", "127.0.0.1:8000")
workers = int(os.environ.get("WEIGHWORTHY_WORKERS", "2"))
threads = int(os.environ.get("WEIGHWORTHY_THREADS", "4"))

# Threads keep connections alive between requests; sync workers do not.
worker_class = "gthread"
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

# Neither bodies nor keys, and no query, which may carry anything.
accesslog = "-"
access_log_format = '%(t)s %(h)s "%(m)s %(U)s %(H)s" %(s)s %(B)s %(M)sms %({x-request-id}o)s'


try:
    Settings.from_environment(os.environ)
except SettingsError as error:
    # One line that says what to set, before anything listens, instead of a traceback.
    sys.exit(f"weighworthy does not start: {error}")
