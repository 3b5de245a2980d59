"""The profiles made of OIML R 76-1:2006, Table 6, at and around each of its break points.

Typed from a public transcription, compared with a national regulation (which prints 20 000 e for
the first band of class II; R 76 says 5 000 e). In service twice as much (the regulation; clause
3.5.2 from memory). By analogy only: R 76 does not cover moisture analysers. Classes III and IIII
have no profile; their bands are held in the test of limits in bands.
"""

from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.limits import Basis, NotResolvedError
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.web.app import create_app

# Class: (load in e, permissible error in e on initial verification). The upper end of a band
# belongs to it; 0.001 e more belongs to the next. None: beyond the class.
TABLE_6 = {
    "1": [
        ("1", "0.5"),
        ("49999.999", "0.5"),
        ("50000", "0.5"),
        ("50000.001", "1"),
        ("199999.999", "1"),
        ("200000", "1"),
        ("200000.001", "1.5"),
        ("1000000", "1.5"),
    ],
    "2": [
        ("1", "0.5"),
        ("4999.999", "0.5"),
        ("5000", "0.5"),
        ("5000.001", "1"),
        ("19999.999", "1"),
        ("20000", "1"),
        ("20000.001", "1.5"),
        ("99999.999", "1.5"),
        ("100000", "1.5"),
        ("100000.001", None),
    ],
}
LIMITED = [("span", "span_error"), ("span", "span_agreement"), ("linearity", "point_error")]
CASES = [
    (accuracy, use, load, error)
    for accuracy, rows in TABLE_6.items()
    for load, error in rows
    for use in ("initial", "in-service")
]


def limit(accuracy: str, use: str, check: str, criterion: str):
    profile = built_in().find(f"oiml-r76-class-{accuracy}-{use}", None)
    around = Circumstances(Instrument(Decimal("0.001")), weights={})
    return terms_for(profile, check, around).limits[criterion].limit


@pytest.mark.parametrize(("accuracy", "use", "load", "error"), CASES)
@pytest.mark.parametrize(("check", "criterion"), LIMITED)
@pytest.mark.parametrize("e", ["0.001", "0.01"])
def test_at_and_around_every_break_point(
    *, accuracy, use, load, error, check, criterion, e
) -> None:
    balance = Instrument(Decimal(e), verification_interval=Decimal(e), capacity=Decimal(10**9))
    found = limit(accuracy, use, check, criterion).at(
        Basis(balance, Decimal(load) * Decimal(e), "g")
    )
    if error is None:
        assert found is None
        return
    times = 2 if use == "in-service" else 1
    assert found is not None
    assert found.upper == -found.lower == Fraction(error) * times * Fraction(e)


@pytest.mark.parametrize("use", ["initial", "in-service"])
@pytest.mark.parametrize("accuracy", ["1", "2"])
def test_nothing_is_judged_without_e(accuracy, use) -> None:
    with pytest.raises(NotResolvedError) as caught:
        limit(accuracy, use, "span", "span_error").at(
            Basis(Instrument(Decimal("0.001")), Decimal(50), "g")
        )
    assert caught.value.field == "verification_interval"


def test_the_open_end_of_class_1_is_the_capacity() -> None:
    """Only loads above 200 000 e, here 200 g, need it stated."""
    balance = Instrument(Decimal("0.001"), verification_interval=Decimal("0.001"))
    found = limit("1", "initial", "span", "span_error")
    assert found.at(Basis(balance, Decimal(200), "g")).upper == Fraction(1, 1000)
    with pytest.raises(NotResolvedError) as caught:
        found.at(Basis(balance, Decimal("200.001"), "g"))
    assert caught.value.field == "capacity"


# Class, use, e, nominal load in g, error read in g, verdict: the ends of ± 5 mg, ± 10 mg, ± 3 mg.
READ = [
    ("2", "initial", "10 mg", "50", "50.005", "pass"),
    ("2", "initial", "10 mg", "50", "50.006", "fail"),
    ("2", "in-service", "10 mg", "50", "50.010", "pass"),
    ("2", "in-service", "10 mg", "50", "50.011", "fail"),
    ("2", "initial", "10 mg", "100", "100.010", "pass"),
    ("2", "initial", "10 mg", "100", "99.989", "fail"),
    ("2", "in-service", "1 mg", "50", "50.003", "pass"),
    ("2", "in-service", "1 mg", "50", "50.004", "fail"),
    ("1", "initial", "1 mg", "100", "100.001", "pass"),
    ("1", "initial", "1 mg", "100", "100.002", "fail"),
]


@pytest.mark.parametrize(("accuracy", "use", "e", "nominal", "shown", "verdict"), READ)
def test_verdicts_over_http(*, accuracy, use, e, nominal, shown, verdict) -> None:
    request = {
        "profile": f"oiml-r76-class-{accuracy}-{use}@1",
        "instrument": {"scale_interval": "1 mg", "verification_interval": e},
        "weights": {"W": {"nominal": f"{nominal} g", "weight_class": "OIML E2"}},
        "rounds": [{"stage": "as-found", "load": ["W"], "zero": "0 g", "indication": f"{shown} g"}],
    }
    answer = create_app().test_client().post("/v1/checks/span", json=request).get_json()
    assert answer["verdict"] == verdict
    assert "OIML R 76-1:2006, Table 6" in answer["criteria"][0]["limit_source"]


@pytest.mark.parametrize("use", ["initial", "in-service"])
@pytest.mark.parametrize("accuracy", ["1", "2"])
def test_it_says_what_it_is_not(accuracy, use) -> None:
    profile = built_in().find(f"oiml-r76-class-{accuracy}-{use}", None)
    assert "does not cover moisture analysers" in profile.document["description"]
    around = Circumstances(Instrument(Decimal("0.001")), weights={})
    assert terms_for(profile, "simulated-loss", around).limits == {}
