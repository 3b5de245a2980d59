"""What a WSGI server serves: the application with the settings of the environment."""

import os

from weighworthy_service.web.app import create_app
from weighworthy_service.web.settings import Settings

application = create_app(Settings.from_environment(os.environ))
