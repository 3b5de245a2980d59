"""No body that has the right form makes the service fail, however strange its values."""

from collections.abc import Callable
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from werkzeug.test import TestResponse

from weighworthy_service.metrology.quantity import UNITS
from weighworthy_service.metrology.weights import weight_classes

NAMES = ["A", "B", "C", "a/b~c"]
NOMINALS = ["1 mg", "2 g", "10 g", "20 g", "50 g", "1 kg", "7 g"]
VERDICTS = ["pass", "conditional-pass", "conditional-fail"]
SEVERITIES = ["void", "no-pass", "warning", "note"]

digits = st.text("0123456789", min_size=1, max_size=12)
places = st.text("0123456789", min_size=1, max_size=9)
# Plausible numbers most of the time, the longest and smallest now and then.
numbers = st.one_of(
    st.integers(0, 100_000).map(lambda n: f"{n / 1000:.3f}"),
    st.sampled_from(["0", "0.000000001", "999999999999.999999999", "1", "0.5"]),
    st.builds("{}.{}".format, digits, places),
    digits,
)


def quantity(dimension: str, *, signed: bool = True) -> st.SearchStrategy[str]:
    sign = st.sampled_from(["", "", "", "-"]) if signed else st.just("")
    return st.builds("{}{} {}".format, sign, numbers, st.sampled_from(list(UNITS[dimension])))


def above_zero(dimension: str) -> st.SearchStrategy[str]:
    return quantity(dimension, signed=False).filter(
        lambda text: any(c in "123456789" for c in text.split()[0])
    )


def some(**entries: st.SearchStrategy[Any]) -> dict[str, st.SearchStrategy[Any]]:
    """Entries that may also be null."""
    return {name: st.none() | value for name, value in entries.items()}


MASS, ABOVE, ZERO_UP = quantity("mass"), above_zero("mass"), quantity("mass", signed=False)
READINGS = st.one_of(
    MASS,
    st.integers(-5, 60_000).map(lambda n: f"{n / 1000:.3f} g"),
    st.sampled_from(["2.000 g", "10.001 g", "12.002 g", "20.003 g"]),
)
loads = st.lists(st.sampled_from(NAMES), min_size=1, max_size=4, unique=True)

weights = st.fixed_dictionaries(
    {"nominal": st.sampled_from(NOMINALS)},
    optional=some(
        weight_class=st.sampled_from(weight_classes()),
        expanded_uncertainty=ABOVE,
        coverage_factor=numbers.filter(lambda n: float(n) > 0),
        density=st.sampled_from(["500 kg/m3", "8 g/cm3", "25000 kg/m3"]),
        drift=ZERO_UP,
        due_on=st.sampled_from(["0001-01-01", "2026-06-30", "9999-12-31"]),
    ),
).flatmap(
    # A certificate value near the nominal one, otherwise every request would be refused for it.
    lambda weight: st.sampled_from(
        [
            {**weight, "weight_class": "OIML F1", "expanded_uncertainty": None},
            {**weight, "conventional_mass": weight["nominal"], "expanded_uncertainty": "0.1 mg"},
            {**weight, "conventional_mass": weight["nominal"], "expanded_uncertainty": "0.001 ug"},
        ]
    )
)
instruments = st.fixed_dictionaries(
    {"scale_interval": st.sampled_from(["1 mg", "0.1 mg"]) | ABOVE},
    optional=some(
        id=st.text(min_size=1, max_size=5).filter(lambda t: t.isprintable()),
        capacity=st.sampled_from(["60 g", "999999999999 kg"]) | ABOVE,
        verification_interval=st.sampled_from(["1 mg", "10 mg"]) | ABOVE,
        loss_interval=above_zero("share"),
        loss_rounding=st.sampled_from(["nearest", "down"]),
        repeatability=ZERO_UP,
        repeatability_observations=st.sampled_from([2, 3, 10, 10_000]),
        eccentricity=st.fixed_dictionaries({"difference": ZERO_UP, "load": ABOVE}),
        hot_zero_drift=ZERO_UP,
        hot_zero_correction=st.fixed_dictionaries({"value": MASS, "standard_uncertainty": ZERO_UP}),
    ),
)
amounts = st.one_of(
    ABOVE,
    st.builds(
        "{} {}".format,
        numbers.filter(lambda n: float(n) > 0),
        st.sampled_from(["d", "e", "% of load", "% of capacity", "%"]),
    ),
)
plain = st.one_of(
    st.fixed_dictionaries({"within": amounts}),
    st.fixed_dictionaries({"lower": amounts}),
    st.fixed_dictionaries({"upper": amounts}),
    st.fixed_dictionaries({"lower": amounts.map("-{}".format), "upper": amounts}),
    st.fixed_dictionaries({"lower": amounts, "upper": amounts}),
)
limits = st.one_of(
    plain,
    plain.map(lambda limit: {**limit, "when_present": True}),
    st.fixed_dictionaries({"smaller_of": st.lists(plain, min_size=2, max_size=2)}),
    st.fixed_dictionaries({"larger_of": st.lists(plain, min_size=2, max_size=2)}),
    amounts.map(lambda a: {"bands": [{"up_to": "20 g", "within": a}]}),
)


def rules(criteria: list[str]) -> st.SearchStrategy[dict[str, Any]]:
    severity = st.sampled_from(SEVERITIES)
    return st.fixed_dictionaries(
        {"limits": st.dictionaries(st.sampled_from(criteria), limits, max_size=len(criteria))},
        optional={
            "decision": st.fixed_dictionaries(
                {"rule": st.sampled_from(["simple", "guarded", "four-way"])},
                optional={
                    "guard_factor": st.sampled_from(["0", "1", "2.5", "999999999999"]),
                    "coverage": st.sampled_from(["95.45 %", "50 %", "99.999999999 %", "0.001 %"]),
                },
            ),
            "weights_correlation": st.sampled_from(["by-sign", "independent", "worst"]),
            "start_window": st.just({"target": "12 g", "allowance": "0.5 g"}),
            "validity": st.fixed_dictionaries(
                {},
                optional={
                    "warm_up": st.fixed_dictionaries(
                        {"at_least": st.just("90 min"), "else": severity}
                    ),
                    "points": st.fixed_dictionaries({"at_least": st.just(3), "else": severity}),
                    "rounds": st.fixed_dictionaries({"at_least": st.just(3), "else": severity}),
                    "weights_in_date": severity,
                    "weights_in_class": severity,
                    "stable": severity,
                    "weights_at_most": st.just("1/3 of limit"),
                    "uncertainty_within_tolerance": severity,
                },
            ),
        },
    )


def profiles(criteria: list[str]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries(
        {
            "id": st.just("own"),
            "revision": st.just("1"),
            "title": st.just("generated"),
            "rules": st.lists(rules(criteria), min_size=1, max_size=2),
        },
        optional={"use_on": st.lists(st.sampled_from(VERDICTS), min_size=1, unique=True)},
    )


def requests_of(criteria: list[str], **own: st.SearchStrategy[Any]) -> st.SearchStrategy[dict]:
    return st.fixed_dictionaries(
        {
            "instrument": instruments,
            "weights": st.fixed_dictionaries(dict.fromkeys(NAMES, weights)),
            **own,
        },
        optional=some(
            profile=profiles(criteria),
            environment=st.fixed_dictionaries(
                {},
                optional=some(
                    temperature=st.sampled_from(["0 Cel", "21.5 Cel", "50 °C"]),
                    relative_humidity=st.sampled_from(["0 %", "48 %", "100 %"]),
                    pressure=st.sampled_from(["500 hPa", "101.3 kPa", "120000 Pa"]),
                ),
            ),
            method=st.just("any"),
            warm_up=quantity("time", signed=False),
            performed_at=st.sampled_from(
                ["0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59"]
            ),
            occasion=st.sampled_from(["routine", "after-adjustment", "moved"]),
        ),
    )


STABLE = some(stable=st.booleans())
loadings = st.fixed_dictionaries(
    {"load": loads, "indication": READINGS},
    optional=some(chamber_temperature=quantity("temperature"), stable=st.booleans()),
)


def from_display(body: dict[str, Any]) -> dict[str, Any]:
    """The same run as somebody reports it who saw nothing but the result."""
    unread = {"initial": {**body["initial"], "indication": None}}
    stepped = {"instrument": {**body["instrument"], "loss_interval": "0.01 %"}}
    return {**body, **unread, **stepped, "displayed_loss": body["displayed_loss"] or "16.67 %"}


rounds = st.fixed_dictionaries(
    {"load": loads, "zero": READINGS, "indication": READINGS},
    optional=some(zero_after=READINGS, stage=st.sampled_from(["as-found", "as-left", "adjustment"]))
    | STABLE,
)
points = st.fixed_dictionaries(
    {"load": loads, "indication": READINGS},
    optional=some(zero=READINGS, direction=st.sampled_from(["up", "down"])) | STABLE,
)
first_points = points.map(lambda point: {**point, "zero": point.get("zero") or "0.000 g"})
SPAN = ["span_error", "zero_return", "span_agreement"]
LINEARITY = [
    "point_error",
    "terminal_nonlinearity",
    "zero_based_nonlinearity",
    "independent_nonlinearity",
    "least_squares_nonlinearity",
    "hysteresis",
]
BODIES = {
    "span": requests_of(SPAN, rounds=st.lists(rounds, min_size=1, max_size=4)),
    "linearity": requests_of(
        LINEARITY,
        points=st.builds(lambda a, b: [a, *b], first_points, st.lists(points, max_size=7)),
    ),
    "simulated-loss": requests_of(
        ["loss_error"],
        initial=loadings,
        final=loadings,
        displayed_loss=st.none() | quantity("share"),
        basis=st.sampled_from(["wet", "dry"]),
        heating=st.none() | st.booleans(),
    ).flatmap(lambda body: st.sampled_from([body, from_display(body)])),
}


@pytest.mark.parametrize("kind", BODIES)
def test_no_body_of_the_right_form_makes_the_service_fail(
    kind: str, client: FlaskClient, conforms: Callable[..., None]
) -> None:
    seen: list[int] = []

    @settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
    @given(BODIES[kind])
    def every(body: dict[str, Any]) -> None:
        path = f"/v1/checks/{kind}"
        response = client.post(path, json=body)
        assert response.status_code in (200, 422), response.text
        conforms(path, "post", response.status_code, response.content_type, response.data)
        seen.append(response.status_code)

    every()
    # Not everything was refused: the strategies do reach the evaluation.
    assert seen.count(200) > len(seen) / 5


def once(kind: str, client: FlaskClient, **own: Any) -> TestResponse:
    """A body that once made the service fail, found by the test above."""
    common = {
        "instrument": {"scale_interval": "1 mg"},
        "weights": {"A": {"nominal": "2 g", "weight_class": "OIML F1"}},
    }
    return client.post(f"/v1/checks/{kind}", json=common | own)


def test_a_choice_of_limits_that_leaves_neither_side_limited_is_never_a_pass(
    client: FlaskClient,
) -> None:
    limit = {"larger_of": [{"lower": "1 g"}, {"upper": "1 g"}]}
    rules = [{"limits": {"span_error": limit}}]
    response = once(
        "span",
        client,
        rounds=[{"load": ["A"], "zero": "0.000 g", "indication": "2.000 g"}],
        profile={"id": "own", "revision": "1", "title": "t", "rules": rules},
    )
    assert response.status_code == 200
    answer = response.get_json()
    assert answer["verdict"] == "void"
    assert "no-limit-for-load" in [finding["code"] for finding in answer["findings"]]


def test_nothing_left_on_dry_basis_but_for_the_correction_is_refused(client: FlaskClient) -> None:
    correction = {"value": "-0.001 g", "standard_uncertainty": "0 g"}
    response = once(
        "simulated-loss",
        client,
        instrument={"scale_interval": "1 mg", "hot_zero_correction": correction},
        initial={"load": ["A"], "indication": "2.000 g"},
        final={"load": ["A"], "indication": "0.000 g"},
        basis="dry",
    )
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["pointer"] == "/final/indication"
