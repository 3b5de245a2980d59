"""Requests made from the OpenAPI document: none makes the service fail or say what it does not.

Bodies of JSON come from the published schemas, valid and invalid ones. Of bodies of text the
schemas say nothing but that they are text, so these are made from lines that mean something.
"""

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from schemathesis import Case
from schemathesis.config import SchemathesisConfig
from schemathesis.specs.openapi.checks import negative_data_rejection, positive_data_acceptance

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web.app import create_app

ROOT: Final = Path(__file__).parents[2]
# Of operations that share most of their form with another, only the other is asked for every
# single keyword of its schemas; these get the random requests alone.
ALIKE: Final = (
    *("POST /v1/checks/linearity", "POST /v1/profiles/compare", "POST /v1/profiles/resolve"),
    *("POST /v1/logbook/support", "POST /v1/logbook/drift"),
    *("POST /v1/logbook/intervals", "POST /v1/logbook/signals", "POST /v1/sittings"),
    *("POST /v1/plans/tolerance", "POST /v1/plans/product"),
    *("POST /v1/checks/repeatability", "POST /v1/checks/eccentricity"),
    *("POST /v1/checks/blank-run", "POST /v1/checks/reference-material", "POST /v1/checks/heater"),
)
# Fewer requests than these are too few; together they are more than 5,000.
LEAST: Final = {
    "test_checks": 3_000,
    "test_profiles": 2_000,
    "test_logbook": 1_500,
    "test_all_others": 200,
}
# What the schemas cannot say is refused as 422 (a load of a weight that is not there), and a name
# that is not there as 404. The other refusals of a valid request would be faults.
CONFIG: Final = SchemathesisConfig.from_dict(
    {
        "seed": 1,
        "checks": {
            "positive_data_acceptance": {"expected-statuses": ["2xx", "304", "404", "409", "422"]},
            "negative_data_rejection": {
                "expected-statuses": ["400", "404", "405", "406", "411", "413", "415", "422"]
            },
        },
        "operations": [
            {"include-name": name, "phases": {"coverage": {"enabled": False}}} for name in ALIKE
        ],
    }
)
CELLS: Final = "application/vnd.weighworthy.cells+x-ndjson"


def lines_of(objects: st.SearchStrategy[Any]) -> st.SearchStrategy[bytes]:
    return st.lists(objects, min_size=1, max_size=4).map(
        lambda several: b"".join(json.dumps(one).encode() + b"\n" for one in several)
    )


values = st.recursive(
    st.none() | st.booleans() | st.integers(-9, 99) | st.text(max_size=6) | st.just("12.003 g"),
    lambda inner: (
        st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=6), inner, max_size=2)
    ),
    max_leaves=4,
)
requests = st.sampled_from([{**kind.example["request"], "check": kind.slug} for kind in KINDS])
changed = st.builds(
    lambda request, name, value: {**request, name: value},
    requests,
    st.sampled_from(["check", "profile", "weights", "instrument", "rounds", "at", "kind", "id"]),
    values,
)
entries = st.fixed_dictionaries(
    {
        "id": st.sampled_from(["1", "2"]),
        "kind": st.sampled_from(["check", "move", "adjustment", "assessment"]),
        "at": st.sampled_from(["2026-03-16T08:05:00+01:00", "2026-03-17T00:00:00Z"]),
        "instrument": st.sampled_from(["MA-07", "MA-08"]),
    },
    optional={"request": requests | values, "note": values, "answer": values},
)
firsts = st.fixed_dictionaries(
    {"at": st.just("2026-03-18T00:00:00Z"), "instruments": st.just([{"id": "MA-07"}])},
    optional={"defaults": values, "profile": values, "sorted": st.booleans() | values},
)
cells = (
    st.none()
    | st.text(max_size=9)
    | st.sampled_from(
        [{"n": "12.003", "format": "0.000"}, {"b": True}, {"error": "#N/A"}, {"t": "2026-03-16"}]
    )
)
rows = st.tuples(st.just("Sheet"), st.integers(1, 9), st.lists(cells, max_size=4))
table = (ROOT / "examples/tables/harbour.csv").read_text("utf-8")
csv_texts = st.builds(
    lambda count, cut, more: (
        "\n".join(table.splitlines()[:count])[: -cut or None] + more
    ).encode(),
    st.integers(3, 12),
    st.integers(0, 20),
    st.text(max_size=12),
).filter(bool)
toml_texts = st.builds(
    lambda name, more: f'id = "{name}"\nrevision = "1"\n{more}'.encode(),
    st.sampled_from(["harbour", "Harbour", ""]),
    st.sampled_from(["", "[[rules]]\n", '[[rules]]\nlimits.loss_error = { within = "0.02 %" }\n'])
    | st.text(max_size=12),
)
TEXTS: Final = {
    "application/x-ndjson": lines_of(requests | changed | entries | firsts),
    CELLS: lines_of(rows),
    "text/csv": csv_texts,
    "application/toml": toml_texts,
}
for media_type, texts in TEXTS.items():
    schemathesis.openapi.media_type(media_type, texts)

api = schemathesis.pytest.from_fixture("described")
reproducible = settings(
    max_examples=60, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck)
)
RAN: Final[Counter[str]] = Counter()


@pytest.fixture(scope="module")
def described() -> Any:
    # Read for the tests that run, not wherever they are collected: that takes half a minute.
    return schemathesis.openapi.from_wsgi("/openapi.json", create_app(), config=CONFIG)


@pytest.fixture(autouse=True)
def counted(request: pytest.FixtureRequest) -> Iterator[None]:
    """Fails where a test made too few requests, and reports how many it made."""
    # Where the generator looks for the name of the test; pytest has it under another by now.
    request.node._nodeid = request.node.nodeid
    before = RAN.total()
    yield
    made = RAN.total() - before
    request.node.user_properties.append(("generated cases", made))
    assert made >= LEAST.get(request.node.name, 0)


def ask(case: Case) -> None:
    RAN[case.operation.label] += 1
    left_out = []
    if case.path == "/v1/profiles/review":
        # A profile that is not what it should be is answered: with what is wrong in it.
        left_out.append(negative_data_rejection)
    if case.media_type == "multipart/form-data" and "/logbook/" in case.path:
        # The generator calls an empty part of JSON a valid one, which it then is refused as.
        left_out.append(positive_data_acceptance)
    case.call_and_validate(excluded_checks=left_out)


@api.include(path_regex="^/v1/checks/").parametrize()
@reproducible
def test_checks(case: Case) -> None:
    ask(case)


@api.include(path_regex="^/v1/profiles").parametrize()
@reproducible
def test_profiles(case: Case) -> None:
    ask(case)


@api.include(path_regex="^/v1/logbook/").parametrize()
@reproducible
def test_logbook(case: Case) -> None:
    ask(case)


@api.exclude(path_regex="^/v1/(checks/|profiles|logbook/)").parametrize()
@reproducible
def test_all_others(case: Case) -> None:
    ask(case)


def test_the_least_numbers_come_to_enough() -> None:
    assert LEAST.keys() <= globals().keys()
    assert sum(LEAST.values()) >= 5_000
