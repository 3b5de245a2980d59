"""The common forms and the frozen values that they become have the same fields."""

from dataclasses import fields

import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.wire import request
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import CommonForm, WeightForm


def names(built: type) -> set[str]:
    return {field.name for field in fields(built)}


@pytest.mark.parametrize(
    "form",
    [
        request.InstrumentForm,
        request.EccentricityForm,
        request.HotZeroCorrectionForm,
        request.EnvironmentForm,
    ],
)
def test_form_has_the_fields_of_what_it_builds(form: type[Form]) -> None:
    assert set(form().fields) == names(form.builds)


def test_weight_form_has_the_fields_of_a_weight_but_for_its_name() -> None:
    assert set(WeightForm().fields) | {"name"} == names(ReferenceWeight)


def test_common_form_has_the_circumstances_and_what_is_asked_beside() -> None:
    beside = {"profile", "expect_profile_digest", "labels"}
    # `occasion` is added where its words are known, in the base of the kinds' forms.
    assert set(CommonForm().fields) | {"occasion"} == names(Circumstances) | beside


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.slug)
def test_kind_has_the_fields_of_its_value(kind) -> None:
    common = {*CommonForm().fields, "occasion", "check"}
    own = names(kind.form.builds) - {"circumstances"}
    assert set(kind.form.fields) == common | own


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.slug)
def test_documented_defaults_are_those_of_the_values(kind) -> None:
    forms = [kind.form, request.InstrumentForm(), *map(_nested, kind.form.fields.values())]
    seen = 0
    for form in filter(None, forms):
        built = Circumstances if form is kind.form else form.builds
        known = {f.name: f.default for f in (*fields(built), *fields(kind.form.builds))}
        for name, field in form.fields.items():
            if "default" in field.metadata:
                assert field.metadata["default"] == known[name]
                seen += 1
    assert seen >= 2


def _nested(field):
    inner = getattr(field, "inner", field)
    form = getattr(inner, "schema", None)
    return form if isinstance(form, Form) and form.builds is not dict else None
