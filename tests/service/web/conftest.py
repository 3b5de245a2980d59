"""The service in this process, and the requests that its documentation shows."""

from copy import deepcopy
from typing import Any

import pytest
from flask.testing import FlaskClient

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web.app import create_app


@pytest.fixture(scope="session")
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.fixture
def span() -> dict[str, Any]:
    """A span check as a request document of its own for each test."""
    return deepcopy(KINDS[0].example["request"])
