"""What a WSGI server serves: the application with the settings of the environment."""

import os
from collections.abc import Mapping

from flask import Flask

from weighworthy_service.profiles.folder import FolderNotUsable
from weighworthy_service.web.app import create_app
from weighworthy_service.web.metrics import process_metrics
from weighworthy_service.web.observing import observe
from weighworthy_service.web.request_log import request_log
from weighworthy_service.web.settings import Settings
from weighworthy_service.web.variables import SettingsError
from weighworthy_service.web.views import NOT_RELOADED


def renewed(running: Flask, environment: Mapping[str, str]) -> Flask:
    """A new application with the keys and profiles of today, for a server that was told to reload.

    If anything of them is broken, the one that is running, which then says so in `/readyz`.
    """
    try:
        return observed(create_app(Settings.from_environment(environment)))
    except (SettingsError, FolderNotUsable) as error:
        running.config[NOT_RELOADED] = str(error).splitlines()[:100]
        return running


def observed(app: Flask) -> Flask:
    """The application, with a line in the log and counts for each request."""
    return observe(app, process_metrics(), request_log())


application = observed(create_app(Settings.from_environment(os.environ)))
