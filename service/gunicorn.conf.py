"""For `gunicorn -c service/gunicorn.conf.py`: the settings that are packaged with the service."""

from weighworthy_service.web.server import *  # noqa: F403
