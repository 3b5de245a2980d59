"""The worked example on each kind's page comes out as derived there by hand."""

import json
import re
from decimal import Decimal

import pytest

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web.app import create_app

FIGURE = re.compile(r"^\| ((?:verdict|criteria|results)\S*) \| (\S+) \|$", re.MULTILINE)


def worked(about):
    """The request of the page, and its figures by their place in the answer."""
    (request,) = re.findall(r"```json\n(.*?)```", about, re.DOTALL)
    return json.loads(request), FIGURE.findall(about)


def at(answer, place):
    """The value at a place like criteria.span_error[0].value or results.runs.0.change."""
    found = answer
    for part in place.split("."):
        if isinstance(found, list) and part.isdigit():
            found = found[int(part)]
        elif isinstance(found, list):
            found = next(row for row in found if part in (row.get("key"), row.get("fault")))
        else:
            found = found[part]
    return found


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.slug)
def test_worked_example(kind):
    request, figures = worked(kind.about)
    reply = create_app().test_client().post(f"/v1/checks/{kind.slug}", json=request)
    assert reply.status_code == 200, reply.text
    answer = json.loads(reply.data, parse_float=Decimal, parse_int=Decimal)
    assert len(figures) >= 8
    for place, printed in figures:
        value = at(answer, place)
        if isinstance(value, str):
            assert value == printed, place
        else:
            half_digit = Decimal(1).scaleb(Decimal(printed).as_tuple().exponent) / 2
            assert abs(value - Decimal(printed)) <= half_digit, place
