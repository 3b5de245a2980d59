"""Alert rules and dashboard: of the documented shape, and of counts that the service has.

Fields of rules are those of the documentation of Prometheus ("Alerting rules", "Recording rules",
from memory); the rules were also checked once with its own `promtool check rules`, of 2.42.
"""

import io
import json
import re
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import Any

import promql_parser
import pytest
import yaml
from prometheus_client.parser import text_string_to_metric_families

from weighworthy_service.checks.outcome import VERDICTS
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.web.app import create_app
from weighworthy_service.web.metrics import Metrics
from weighworthy_service.web.observing import observe
from weighworthy_service.web.request_log import request_log
from weighworthy_service.wire.problem import PROBLEMS

DEPLOY = Path(__file__).parents[2] / "service" / "deploy"
RULES = [
    rule
    for group in yaml.safe_load((DEPLOY / "alerts.yml").read_text("utf-8"))["groups"]
    for rule in group["rules"]
]
BOARD = json.loads((DEPLOY / "dashboard.json").read_text("utf-8"))
# What Prometheus adds to everything that it scrapes, and the one series of its own that is used.
ADDED = {"job", "instance"}
UP = "up"
NODES = (
    promql_parser.AggModifier,
    promql_parser.Expr,
    promql_parser.Matcher,
    promql_parser.Matchers,
    promql_parser.MatrixSelector,
    promql_parser.VectorSelector,
)
DURATION = re.compile("[1-9][0-9]*[smhd]")


def queries() -> Iterator[tuple[str, str]]:
    for rule in RULES:
        yield rule["alert"], rule["expr"]
    for panel in BOARD["panels"]:
        for target in panel["targets"]:
            expr = target["expr"].replace("$__rate_interval", "5m")
            expr = re.sub(r"\$(job|check|profile)", ".*", expr)
            yield f"{panel['title']} {target['refId']}", expr


QUERIES = pytest.mark.parametrize("expr", [pytest.param(e, id=i) for i, e in queries()])


def parts(node: Any) -> Iterator[Any]:
    """A parsed query and everything in it."""
    yield node
    for name in dir(node):
        value = getattr(node, name)
        if name.startswith("_") or callable(value):
            continue
        for one in value if isinstance(value, list) else [value]:
            if isinstance(one, NODES):
                yield from parts(one)


def labels_kept(expr: str) -> set[str]:
    """The labels that what a query finds still has."""
    outer = promql_parser.parse(expr)
    while isinstance(outer, promql_parser.BinaryExpr):
        outer = outer.lhs
    return set(outer.modifier.labels) if isinstance(outer, promql_parser.AggregateExpr) else ADDED


@pytest.fixture(scope="module")
def existing() -> dict[str, set[str]]:
    """The labels of every series that a service has, which has been asked for something."""
    app = observe(create_app(), Metrics(), request_log(io.BytesIO()))
    client = app.test_client()
    span = BY_SLUG["span"].example["request"]
    client.post("/v1/checks/span", json=span, buffered=True).close()
    client.post(
        "/v1/batches", data=b'{"check": "span"}', content_type="application/x-ndjson", buffered=True
    ).close()
    found: dict[str, set[str]] = {UP: ADDED}
    for family in text_string_to_metric_families(client.get("/metrics").text):
        for sample in family.samples:
            found[sample.name] = set(sample.labels) | ADDED
    assert len(found) > 8
    return found


@QUERIES
def test_queries_ask_for_what_exists(expr: str, existing: dict[str, set[str]]) -> None:
    kinds = (promql_parser.VectorSelector, promql_parser.AggModifier)
    selectors = [part for part in parts(promql_parser.parse(expr)) if isinstance(part, kinds)]
    series = [part for part in selectors if isinstance(part, promql_parser.VectorSelector)]
    assert series
    known: set[str] = set()
    for one in series:
        assert one.name in existing
        assert {matcher.name for matcher in one.matchers.matchers} <= existing[one.name]
        known |= existing[one.name]
    for one in selectors:
        if isinstance(one, promql_parser.AggModifier):
            assert set(one.labels) <= known


@QUERIES
def test_queries_look_for_values_that_come(expr: str) -> None:
    rules = [
        re.sub("<(?:[^:<>]*:)?([^<>]+)>", r"{\1}", rule.rule)
        for rule in create_app().url_map.iter_rules()
    ]
    statuses = {str(kind.status) for kind in PROBLEMS.values()} | {"200"}
    values = {
        "route": {*rules, "/metrics"},
        "status": statuses,
        "verdict": {*VERDICTS, "none"},
    }
    for part in parts(promql_parser.parse(expr)):
        if isinstance(part, promql_parser.Matcher) and part.name in values:
            for choice in part.value.split("|"):
                assert any(re.fullmatch(choice, one) for one in values[part.name]), part


def test_what_does_not_exist_is_found(existing: dict[str, set[str]]) -> None:
    for wrong in ("sum(weighworthy_nothing)", 'weighworthy_requests_total{instrument="MA-07"}'):
        with pytest.raises(AssertionError):
            test_queries_ask_for_what_exists(wrong, existing)
    with pytest.raises(AssertionError):
        test_queries_look_for_values_that_come('weighworthy_checks_total{verdict="failed"}')


def test_rules_have_the_documented_shape() -> None:
    document = yaml.safe_load((DEPLOY / "alerts.yml").read_text("utf-8"))
    assert set(document) == {"groups"}
    for group in document["groups"]:
        assert {"name", "rules"} <= set(group) <= {"name", "rules", "interval", "limit", "labels"}
    assert len({rule["alert"] for rule in RULES}) == len(RULES) >= 6
    for rule in RULES:
        assert {"alert", "expr", "labels", "annotations"} <= set(rule)
        assert set(rule) <= {"alert", "expr", "for", "keep_firing_for", "labels", "annotations"}
        assert re.fullmatch("[A-Za-z_][A-Za-z0-9_]*", rule["alert"])
        assert DURATION.fullmatch(rule.get("for", "1m"))
        assert rule["labels"]["severity"] in {"page", "ticket", "info"}
        assert set(rule["annotations"]) == {"summary", "description"}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule["alert"])
def test_what_an_alert_says_is_known_when_it_fires(rule: dict[str, Any]) -> None:
    said = re.findall(r"\{\{(.*?)\}\}", rule["annotations"]["description"])
    for one in said:
        (label,) = re.fullmatch(r" \$labels\.([a-z_]+) ", one).groups()
        assert label in labels_kept(rule["expr"])


def test_panels_lie_beside_each_other() -> None:
    assert len({panel["id"] for panel in BOARD["panels"]}) == len(BOARD["panels"])
    covered = []
    for panel in BOARD["panels"]:
        at = panel["gridPos"]
        assert at["x"] + at["w"] <= 24
        covered.append(
            {
                (x, y)
                for x in range(at["x"], at["x"] + at["w"])
                for y in range(at["y"], at["y"] + at["h"])
            }
        )
    assert not any(one & other for one, other in combinations(covered, 2))


def test_the_dashboard_uses_its_variables_and_no_others() -> None:
    names = {variable["name"] for variable in BOARD["templating"]["list"]}
    text = json.dumps(BOARD["panels"])
    used = set(re.findall(r"\$\{?([a-z_]+)", text)) - {"__rate_interval"}
    assert used == names
