from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal, localcontext

import pytest

from weighworthy_service.checks.terms import AtLeast, Validity
from weighworthy_service.checks.validity import (
    Observed,
    count_findings,
    reading_findings,
    settled,
    sitting_findings,
)


def told(findings):
    return [(f.code, f.severity, f.field) for f in findings]


@pytest.fixture
def of_reading(make):
    def find(value, *, stable=None, severity=None, **balance):
        here = make.circumstances([make.weight("A", "20")], make.balance(**balance))
        read = Observed(("rounds", 0, "indication"), Decimal(value), ("rounds", 0), stable)
        terms = make.terms(validity=Validity(stable=severity))
        return told(reading_findings([read], here, terms))

    return find


@pytest.mark.parametrize(
    ("value", "found"),
    [
        ("120", []),
        ("120.000", []),
        ("120.001", [("overload", "void", "/rounds/0/indication")]),
        ("-200", []),
    ],
)
def test_above_capacity_is_void(of_reading, value, found):
    assert of_reading(value, capacity="120") == found


OFF = [("indication-off-scale-interval", "warning", "/rounds/0/indication")]


@pytest.mark.parametrize(
    ("value", "interval", "found"),
    [
        ("20.004", "0.002", []),
        ("20.0040", "0.002", []),
        ("-0.002", "0.002", []),
        ("0", "0.002", []),
        ("20.003", "0.002", OFF),
        ("20.0041", "0.002", OFF),
        ("20.0035", "0.0005", []),
    ],
)
def test_an_indication_is_a_multiple_of_the_scale_interval(of_reading, value, interval, found):
    assert of_reading(value, scale_interval=interval) == found


@pytest.mark.parametrize(
    ("stable", "severity", "found"),
    [
        (True, None, []),
        (True, "void", []),
        (None, None, []),
        (None, "no-pass", [("not-stated", "no-pass", "/rounds/0/stable")]),
        (False, None, [("unstable", "void", "/rounds/0/stable")]),
        (False, "warning", [("unstable", "warning", "/rounds/0/stable")]),
    ],
)
def test_a_reading_that_had_not_settled(of_reading, stable, severity, found):
    assert of_reading("20", stable=stable, severity=severity) == found
    assert told(settled(("rounds", 0), stable, severity)) == found


def test_one_object_states_once_for_all_its_readings(make):
    here = make.circumstances([make.weight("A", "20")])
    read = [
        Observed(("rounds", 0, name), Decimal(0), ("rounds", 0), False)
        for name in ("zero", "indication")
    ]
    assert len(told(reading_findings(read, here, make.terms()))) == 1


@pytest.fixture
def of_sitting(make):
    def find(validity=Validity(), weight=None, **more):  # noqa: B008  frozen
        weight = weight or make.weight("A", "20")
        here = make.circumstances([weight, make.weight("unused", "20", "OIML M3")], **more)
        return told(sitting_findings(here, [weight.name], make.terms(validity=validity)))

    return find


@pytest.mark.parametrize(
    ("warm_up", "found"),
    [
        ("1800", []),
        ("1799.9", [("warm-up-short", "no-pass", "/warm_up")]),
        (None, [("not-stated", "no-pass", "/warm_up")]),
    ],
)
def test_warm_up(of_sitting, warm_up, found):
    required = Validity(warm_up=AtLeast(Decimal(1800), "no-pass"))
    stated = {} if warm_up is None else {"warm_up": warm_up}
    assert of_sitting(required, **stated) == found


def test_no_warm_up_is_required_unless_the_profile_says_so(of_sitting):
    assert of_sitting() == []


@pytest.mark.parametrize(
    ("seconds", "words"), [("1800", "30 min"), ("2730", "45.5 min"), ("100", "1.66667 min")]
)
def test_the_warm_up_message_is_in_minutes_whatever_the_decimal_context(make, seconds, words):
    required = Validity(warm_up=AtLeast(Decimal(seconds), "void"))
    here = make.circumstances([], warm_up="1")
    with localcontext() as context:
        context.prec = 2
        (finding,) = sitting_findings(here, [], make.terms(validity=required))
    assert f"less than the {words} required" in finding.message


EAST = timezone(timedelta(hours=9))
OVERDUE = ("weight-overdue", "void", "/weights/A/due_on")


@pytest.mark.parametrize(
    ("performed_at", "found"),
    [
        (datetime(2026, 3, 31, 23, 59, tzinfo=UTC), []),
        (datetime(2026, 4, 1, 0, 0, tzinfo=UTC), [OVERDUE]),
        # Still 31 March in UTC, but 1 April where the check was done, and the other way round.
        (datetime(2026, 4, 1, 1, 0, tzinfo=EAST), [OVERDUE]),
        (datetime(2026, 3, 31, 22, 0, tzinfo=timezone(timedelta(hours=-5))), []),
        (None, [("not-stated", "note", "/performed_at")]),
    ],
)
def test_due_dates_compare_with_the_local_date_the_day_included(
    of_sitting, make, performed_at, found
):
    weight = make.weight("A", "20", due_on=date(2026, 3, 31))
    assert of_sitting(weight=weight, performed_at=performed_at) == found


def test_a_profile_sets_what_an_overdue_weight_means(of_sitting, make):
    weight = make.weight("A", "20", due_on=date(2026, 3, 31))
    relaxed = Validity(weights_in_date="warning")
    at = datetime(2026, 4, 1, tzinfo=UTC)
    assert of_sitting(relaxed, weight, performed_at=at) == [
        ("weight-overdue", "warning", "/weights/A/due_on")
    ]


def test_what_it_requires_and_nobody_states_is_not_fulfilled(of_sitting, make):
    required = Validity(weights_in_date="no-pass")
    at = datetime(2026, 4, 1, tzinfo=UTC)
    assert of_sitting(required, performed_at=at) == [("not-stated", "no-pass", "/weights/A/due_on")]
    dated = make.weight("A", "20", due_on=date(2026, 3, 31))
    assert of_sitting(required, dated) == [("not-stated", "no-pass", "/performed_at")]


OUTSIDE = ("weight-outside-class", "warning", "/weights/A")


@pytest.mark.parametrize(
    ("mass", "certified", "found"),
    [  # 20 g of class F2: mpe 0.8 mg. Within the class while |m - 20 g| <= 0.8 mg - U.
        ("20.0006", ("0.0002", "2"), []),
        ("19.9994", ("0.0002", "2"), []),
        ("20.0006001", ("0.0002", "2"), [OUTSIDE]),
        ("19.9993", ("0.0002", "2"), [OUTSIDE]),
        # U = 0.3 mg at k = 3 is 0.2 mg at k = 2.
        ("20.0006", ("0.0003", "3"), []),
        # U of 0.8/3 mg = 0.2666... is the most a certificate may have.
        ("20", ("0.000266666", "2"), []),
        ("20", ("0.000266667", "2"), [("certificate-too-coarse", "warning", "/weights/A")]),
    ],
)
def test_class_and_certificate_are_held_against_each_other(
    of_sitting, make, mass, certified, found
):
    expanded, k = certified
    weight = make.certified("A", "20", mass, expanded, coverage_factor=k, weight_class="OIML F2")
    assert of_sitting(weight=weight) == found


def test_a_profile_may_require_weights_of_their_class(of_sitting, make):
    required = Validity(weights_in_class="void")
    off = make.certified("A", "20", "20.001", "0.0001", weight_class="OIML F2")
    assert of_sitting(required, off) == [("weight-outside-class", "void", "/weights/A")]
    without = make.certified("A", "20", "20", "0.0001")
    assert of_sitting(required, without) == [("not-stated", "void", "/weights/A/weight_class")]
    assert of_sitting(required, make.weight("A", "20")) == [], "a class weight is of its class"


@pytest.mark.parametrize(
    ("count", "found"), [(5, []), (4, [("too-few-points", "no-pass", "/points")])]
)
def test_too_few(count, found):
    required = AtLeast(Decimal(5), "no-pass")
    assert told(count_findings(count, required, "points", "/points")) == found
    assert told(count_findings(count, None, "points", "/points")) == []


@pytest.mark.parametrize(("day", "expected"), [(15, []), (16, []), (17, ["warning"])])
def test_a_certificate_from_after_the_check_is_told(make, day, expected):
    weight = make.weight("A", "20", calibrated_on=date(2026, 3, day))
    here = make.circumstances([weight], performed_at=datetime(2026, 3, 16, 8, tzinfo=UTC))
    found = told(sitting_findings(here, ["A"], make.terms()))
    assert [s for code, s, _ in found if code == "calibrated-after-check"] == expected
