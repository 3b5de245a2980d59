"""A sitting of an invented balance of Kestrel Mill Foods, and ways to change it."""

import json
import tomllib
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from weighworthy_service.web.app import create_app

ROOT = Path(__file__).parents[3]
SITE = json.loads(
    json.dumps(tomllib.loads((ROOT / "examples/kestrel/site.toml").read_text("utf-8")), default=str)
)


@pytest.fixture(scope="session")
def client() -> FlaskClient:
    return create_app(whole=False).test_client()


def base() -> dict[str, Any]:
    """Balance, weights and limits: ±5 mg at 50 g, ±0.04 % of a loss."""
    return {
        "profile": SITE["profile"],
        "instrument": {"id": "MA-07", **SITE["instruments"]["MA-07"]},
        "weights": {name: SITE["weights"][name] for name in ("A2", "A10", "A20", "A50")},
        "performed_at": "2026-03-16T08:05:00+01:00",
        "warm_up": "90 min",
    }


@pytest.fixture(scope="session")
def kestrel() -> dict[str, Any]:
    """What the checks have in common."""
    return base()


@pytest.fixture
def common(kestrel: dict[str, Any]) -> dict[str, Any]:
    """What the checks have in common, to be changed."""
    return deepcopy(kestrel)


@pytest.fixture
def span() -> Callable[..., dict[str, Any]]:
    """A span check with A50; the error in mg of its only round, against 49.99995 g."""

    def made(indication: str = "50.000 g", after: str = "0.000 g", **more: Any) -> dict[str, Any]:
        one = {"load": ["A50"], "zero": "0.000 g", "indication": indication, "zero_after": after}
        return {"check": "span", "rounds": [one], **more}

    return made


@pytest.fixture
def loss() -> Callable[..., dict[str, Any]]:
    """A cold simulated loss from 12 g to 10 g."""

    def made(final: str = "10.000 g", **more: Any) -> dict[str, Any]:
        return {
            "check": "simulated-loss",
            "heating": False,
            "initial": {"load": ["A10", "A2"], "indication": "12.000 g"},
            "final": {"load": ["A10"], "indication": final},
            **more,
        }

    return made


@pytest.fixture
def linearity() -> Callable[..., dict[str, Any]]:
    """Points up at 2, 10, 20 and 50 g with these errors in mg, each with its own zero."""

    def made(*errors: int, **more: Any) -> dict[str, Any]:
        loads = {"A2": 2, "A10": 10, "A20": 20, "A50": 50}
        points = [
            {"load": [name], "zero": "0.000 g", "indication": f"{load + error / 1000:.3f} g"}
            for (name, load), error in zip(loads.items(), errors or (0, 0, 0, 0), strict=True)
        ]
        return {"check": "linearity", "points": points, **more}

    return made


@pytest.fixture
def ask(client: FlaskClient, common: dict[str, Any]) -> Callable[..., dict[str, Any]]:
    """The answer to a sitting of these checks."""

    def asked(*checks: dict[str, Any], status: int = 200, **more: Any) -> dict[str, Any]:
        response = client.post("/v1/sittings", json={**common, **more, "checks": list(checks)})
        assert response.status_code == status, response.get_data(as_text=True)
        answer: dict[str, Any] = response.get_json()
        return answer

    return asked
