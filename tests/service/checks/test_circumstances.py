from decimal import Decimal

import pytest

from weighworthy_service.checks.circumstances import exact_sum
from weighworthy_service.checks.flaws import Flaw, SenseError, refuse_if_any
from weighworthy_service.json_document import pointer


def test_the_load_is_the_sum_of_the_nominal_values(make):
    here = make.circumstances(
        [make.certified("A", "20", "20.000031", "0.0001"), make.weight("B", "0.5")]
    )
    assert here.nominal(["A", "B"]) == Decimal("20.5")
    assert here.mass(["A", "B"]) == Decimal("20.500031")


def test_sums_are_exact_at_any_length():
    assert exact_sum([Decimal("999999999999.999999999"), Decimal("1e-15")]) == Decimal(
        "999999999999.999999999000001"
    )
    assert exact_sum([]) == 0


def test_every_flaw_comes_with_its_path(make):
    here = make.circumstances([make.weight("A", "30"), make.weight("B", "20", None)])
    found = here.flaws([(("rounds", 0, "load"), ("A", "X")), (("rounds", 1, "load"), ("A", "A"))])
    assert [(f.path, f.code) for f in found] == [
        (("weights", "A", "nominal"), "no-class-limit"),
        (("weights", "B", "weight_class"), "weight-without-value"),
        (("rounds", 0, "load", 1), "weight-not-declared"),
        (("rounds", 1, "load"), "weight-twice"),
    ]


def test_weights_that_fit_have_no_flaw(make):
    here = make.circumstances([make.weight("A", "20"), make.weight("B", "20")])
    assert list(here.flaws([(("load",), ("A", "B"))])) == []


def test_a_request_is_refused_with_all_its_flaws():
    flaws = [Flaw(("a", 1), "one", "first"), Flaw(("b",), "two", "second")]
    with pytest.raises(SenseError, match="a/1: first; b: second") as caught:
        refuse_if_any(flaws)
    assert caught.value.flaws == tuple(flaws)
    assert refuse_if_any([]) is None


def test_pointers_escape_what_rfc_6901_says():
    assert pointer("weights", "50 g/A~1", 0) == "/weights/50 g~1A~01/0"
    assert pointer() == ""
