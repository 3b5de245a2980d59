"""The fields of requests, by the names that mappings have for them."""

from dataclasses import replace

import pytest

from weighworthy_service.checks.registry import BY_SLUG, KINDS
from weighworthy_service.checks.request import WeightlessForm
from weighworthy_service.tables.request_fields import (
    ANY_NAME,
    UnknownField,
    field_names,
    find_field,
    required_fields,
    top_fields,
)
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Instant, Quantity, Text
from weighworthy_service.wire.form import Form

SPAN, LINEARITY, LOSS = (BY_SLUG[slug] for slug in ("span", "linearity", "simulated-loss"))


@pytest.mark.parametrize("kind", KINDS)
def test_every_name_that_is_told_is_a_field(kind) -> None:
    names = field_names(kind)
    assert len(set(names)) == len(names) > 20
    for name in names:
        found = find_field(kind, name.replace(ANY_NAME, "KM-31"))
        assert ".".join(map(str, found.path)).replace("KM-31", ANY_NAME) == name


@pytest.mark.parametrize("kind", KINDS)
def test_every_member_of_the_example_is_among_the_fields(kind) -> None:
    assert set(kind.example["request"]) <= {*top_fields(kind), "check"}


@pytest.mark.parametrize(
    ("kind", "name", "path", "form", "gathers"),
    [
        (LOSS, "initial.indication", ("initial", "indication"), Quantity, None),
        (LOSS, "performed_at", ("performed_at",), Instant, None),
        (LOSS, "labels.sample.no", ("labels", "sample.no"), Text, None),
        (LOSS, "weights.A.5.nominal", ("weights", "A.5", "nominal"), Quantity, None),
        (LINEARITY, "points.zero", ("points", "zero"), Quantity, "points"),
        (LINEARITY, "points.199.zero", ("points", 199, "zero"), Quantity, None),
        (SPAN, "rounds.zero_after", ("rounds", "zero_after"), Quantity, "rounds"),
    ],
)
def test_names_lead_to_places(kind, name, path, form, gathers) -> None:
    found = find_field(kind, name)
    assert (found.path, type(found.form), found.gathers) == (path, form, gathers)


@pytest.mark.parametrize(
    "name",
    [
        "",
        ".",
        "check",
        "initial",
        "initial.",
        "initial.indication.x",
        "labels",
        "labels.",
        "weights",
        "weights.nominal",
        "weights.A",
        "rounds.zero",
        "series",
        "series.0",
        "series.5000.at",
        "series.-1.at",
        "series.1.2.at",
        "series.99999999999.at",
    ],
)
def test_other_names_are_none(name: str) -> None:
    with pytest.raises(UnknownField) as caught:
        find_field(LOSS, name)
    assert "initial.indication" in caught.value.known


def test_what_every_request_must_hold() -> None:
    common = {("instrument", "scale_interval"), ("weights",)}
    assert set(required_fields(LOSS)) == {*common, ("initial", "load"), ("final", "load")}
    assert set(required_fields(LINEARITY)) == {
        *common,
        ("points", "load"),
        ("points", "indication"),
    }
    assert set(required_fields(SPAN)) == {*common, ("rounds",)}


class _PointForm(Form):
    at = Quantity("time", required=True)


class _RunForm(Form):
    initial = Quantity("mass", required=True)
    series = ListOf(Part(_PointForm), maximum=10)


class _RunsForm(WeightlessForm):
    runs = ListOf(Part(_RunForm), maximum=10, required=True)


def test_rows_hold_no_lists_within_lists() -> None:
    """A row is one run; which of its points it would hold, nothing tells."""
    kind = replace(BY_SLUG["span"], slug="runs", form=_RunsForm())
    assert find_field(kind, "runs.initial").gathers == "runs"
    assert find_field(kind, "runs.0.series.1.at").path == ("runs", 0, "series", 1, "at")
    with pytest.raises(UnknownField) as caught:
        find_field(kind, "runs.series.at")
    assert "runs.initial" in caught.value.known
    assert "runs.series.at" not in caught.value.known
