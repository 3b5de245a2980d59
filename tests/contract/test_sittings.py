"""What a sitting answers is what the document announces, and no body makes the service fail."""

import json
from collections.abc import Callable
from importlib.resources import files
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.registry import KINDS

PATH = "/v1/sittings"
EXAMPLE = json.loads(
    files("weighworthy_service.sittings").joinpath("example.json").read_text("utf-8")
)


@pytest.mark.parametrize("detail", ["full", "short"])
def test_example_conforms(client: FlaskClient, conforms: Callable[..., None], detail: str) -> None:
    response = client.post(f"{PATH}?detail={detail}", json=EXAMPLE["request"])
    conforms(PATH, "post", response.status_code, response.content_type, response.data)


def test_every_kind_takes_part(client: FlaskClient, conforms: Callable[..., None]) -> None:
    """The examples of all kinds, as if of one balance, with whatever else they state."""
    balance = {"instrument": {"id": "MA-07", "model": "invented"}}
    checks = [
        {**kind.example["request"], **balance, "check": kind.slug}
        | {"instrument": {**kind.example["request"]["instrument"], **balance["instrument"]}}
        for kind in KINDS
    ]
    request = {"instrument": {"scale_interval": "1 mg"}, "checks": checks}
    response = client.post(PATH, json=request)
    assert response.status_code == 200, response.get_data(as_text=True)
    conforms(PATH, "post", response.status_code, response.content_type, response.data)
    assert [answer["check"] for answer in response.get_json()["answers"]] == [
        kind.slug for kind in KINDS
    ]


anything = st.recursive(
    st.none() | st.booleans() | st.integers(-3, 3) | st.sampled_from(["", "1 g", "span", "A2"]),
    lambda below: (
        st.lists(below, max_size=2)
        | st.dictionaries(st.sampled_from(["load", "id", "value"]), below, max_size=2)
    ),
    max_leaves=5,
)


@settings(max_examples=60)
@given(st.data())
def test_no_body_makes_it_fail(data: Any) -> None:
    from weighworthy_service.web.app import create_app

    request = json.loads(json.dumps(EXAMPLE["request"]))
    at: Any = request
    for _ in range(data.draw(st.integers(1, 6))):
        places = list(at) if isinstance(at, dict) else list(range(len(at)))
        if not places:
            break
        place = data.draw(st.sampled_from(places))
        if isinstance(at[place], dict | list) and data.draw(st.booleans()):
            at = at[place]
            continue
        at[place] = data.draw(anything)
        break
    client = _client.setdefault("one", create_app(whole=False).test_client())
    response = client.post(PATH, json=request)
    assert response.status_code in (200, 422), response.get_data(as_text=True)


_client: dict[str, FlaskClient] = {}
