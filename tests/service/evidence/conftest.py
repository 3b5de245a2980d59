import json
from collections.abc import Callable
from copy import deepcopy
from datetime import date
from importlib.resources import files
from typing import Any

import pytest

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.card import card_of
from weighworthy_service.profiles.card_check import card_request
from weighworthy_service.profiles.reading import read_profile

RULES: list[dict[str, Any]] = [
    {
        "response": [
            {"step": "repeat", "times": 2},
            {"step": "adjust", "times": 1},
            {"step": "service"},
            {"step": "out-of-service"},
        ],
        "schedule": {
            "every": "day",
            "at": "first-use",
            "grace": "4 h",
            "after": ["moved", "power-off"],
        },
        "validity": {"warm_up": {"at_least": "40 min"}, "weights_in_date": "void"},
        "decision": {"rule": "four-way"},
    },
    {
        "checks": ["span"],
        "limits": {
            "span_error": {"within": "5 mg"},
            "zero_return": {"within": "2 mg"},
            "span_agreement": {"within": "4 mg"},
        },
    },
    {
        "checks": ["linearity"],
        "limits": {
            "point_error": {"within": "5 mg"},
            "hysteresis": {"within": "4 mg"},
            "independent_nonlinearity": {"within": "4 mg"},
        },
    },
    {
        "checks": ["simulated-loss"],
        "limits": {"loss_error": {"within": "0.05 %"}},
        "start_window": {"target": "12 g", "allowance": "0.5 g"},
    },
]
LOADS: dict[str, dict[str, Any]] = {
    "span": {"load": (("A50",),)},
    # As many as a card takes.
    "linearity": {"load": tuple((name,) for name in ("A2", "A10", "A20", "A50") * 3)},
    "simulated-loss": {"initial": ("A10", "A2"), "final": ("A10",)},
}
KIND = {kind.slug: kind for kind in KINDS}


@pytest.fixture
def made() -> Callable[..., dict[str, Any]]:
    """The card of a balance of the invented Kestrel Mill Foods, with much to say."""

    def make(
        slug: str,
        *,
        rules: list[dict[str, Any]] | None = None,
        weights: dict[str, Any] | None = None,
        loads: dict[str, Any] | None = None,
        title: str | None = None,
        day: date | None = None,
        **instrument: Any,
    ) -> Any:
        own = {
            f"A{nominal}": {
                "nominal": f"{nominal} g",
                "weight_class": "OIML F1",
                "certificate": f"KMF 26/{nominal}",
                "due_on": "2027-05-31",
            }
            for nominal in (2, 10, 20, 50)
        }
        asked = {
            "instrument": {
                "id": "MA-07",
                "model": "bench dryer 60 (invented)",
                "site": "harbour",
                "capacity": "60 g",
                "scale_interval": "1 mg",
                "loss_interval": "0.01 %",
                "repeatability": "0.6 mg",
                "repeatability_observations": 10,
                **instrument,
            },
            "weights": weights or own,
            **(loads or LOADS[slug]),
        }
        document = {"id": "kestrel-mill", "revision": "2026-03", "rules": rules or RULES}
        document |= {} if title is None else {"title": title}
        check = KIND[slug].form.load(card_request(KIND[slug], asked, asked)).check
        profile = read_profile(document)
        return card_of(KIND[slug], check, profile, version="1.0.0", performed_on=day)

    return make


@pytest.fixture
def lengthy(made: Callable[..., dict[str, Any]]) -> Callable[..., dict[str, Any]]:
    """A card with names, ids, certificates and a title as long as they may be."""

    def make(slug: str, **more: Any) -> Any:
        names = [f"{'harbour-weight-of-a-set-':x<62}{i:02d}" for i in range(20)]
        weight = {"weight_class": "OIML F1", "certificate": "KMF " + "9" * 60}
        nominals = (1, 2, 5, 10, 20) if slug == "linearity" else (1,)
        loads: dict[str, dict[str, Any]] = {
            "span": {"load": (tuple(names),)},
            "linearity": {"load": tuple(tuple(names[i : i + 2]) for i in range(12))},
            "simulated-loss": {"initial": tuple(names[:12]), "final": tuple(names[:10])},
        }
        return made(
            slug,
            weights={
                name: {
                    **weight,
                    "nominal": f"{nominals[i % len(nominals)]} g",
                    "due_on": "2027-05-31",
                }
                for i, name in enumerate(names)
            },
            loads=loads[slug],
            title="Invented limits " * 12,
            id="MW-" + 61 * "0",
            site="h" * 64,
            **more,
        )

    return make


@pytest.fixture
def example() -> dict[str, Any]:
    """The card that is published as an example."""
    text = files("weighworthy_service.profiles").joinpath("examples", "card.json").read_bytes()
    return deepcopy(json.loads(text)["answer"])
