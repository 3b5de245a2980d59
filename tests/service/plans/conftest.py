"""Plans asked of the service in this process, for an invented balance and its weights."""

from collections.abc import Callable
from typing import Any

import pytest

from weighworthy_service.web.app import create_app

INSTRUMENT = {"capacity": "60 g", "scale_interval": "1 mg", "repeatability": "0.6 mg"}
NOMINALS = {"A1": "1 g", "A2": "2 g", "A5": "5 g", "A10": "10 g", "A20": "20 g", "A50": "50 g"}
Ask = Callable[..., Any]


@pytest.fixture(scope="session")
def weights() -> dict[str, dict[str, str]]:
    return {name: {"nominal": n, "weight_class": "OIML F1"} for name, n in NOMINALS.items()}


@pytest.fixture(scope="session")
def ask(weights) -> Ask:
    """Posts a plan; what is not given is the invented balance, and its weights where they count."""
    client = create_app().test_client()

    def post(plan: str, *, status: int = 200, **stated: Any) -> Any:
        body = {"instrument": INSTRUMENT, **stated}
        if plan != "sample":
            body.setdefault("weights", weights)
        answer = client.post(f"/v1/plans/{plan}", json=body)
        assert answer.status_code == status, answer.text
        return answer.json

    return post
