"""OIML R 76-1:2006, Table 6: maximum permissible errors on initial verification, in e.

Compared with a public transcription and a national regulation; in service twice as much
(regulation; clause 3.5.2 from memory). By analogy only: R 76 does not cover moisture analysers.
None of it is in the built-in profile; it is what limits in bands are made for.
"""

from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.checks.span.check import Round, SpanCheck
from weighworthy_service.checks.span.evaluation import evaluate
from weighworthy_service.checks.terms import Validity, WeightShare
from weighworthy_service.metrology.limits import Band, Basis, Interval, Limit, read_amount

# Class: upper ends in e of ± 0.5 e, ± 1 e, ± 1.5 e. Class I has no upper end; its last band is
# given one far beyond any balance here.
OPEN = 900_000_000_000
TABLE_6 = {
    "I": (50_000, 200_000, OPEN),
    "II": (5_000, 20_000, 100_000),
    "III": (500, 2_000, 10_000),
    "IIII": (50, 200, 1_000),
}
ERRORS = ("0.5", "1", "1.5")
IN_SERVICE = ("1", "2", "3")


def _limit(ends: tuple[int, ...], errors: tuple[str, ...]) -> Limit:
    return Limit(
        bands=tuple(
            Band(read_amount(f"{end} e"), Limit(within=read_amount(f"{error} e")))
            for end, error in zip(ends, errors, strict=True)
        )
    )


def _mpe(make, limit: Limit, load: Decimal, e: str) -> Fraction | None:
    basis = Basis(make.instrument(e, verification_interval=e), load, "g")
    interval = limit.at(basis)
    if interval is None:
        return None
    assert interval.lower == -interval.upper
    return interval.upper


@pytest.mark.parametrize("errors", [ERRORS, IN_SERVICE], ids=["initial", "in-service"])
@pytest.mark.parametrize("accuracy", TABLE_6)
@pytest.mark.parametrize("e", ["0.001", "0.01", "1"])
def test_at_and_around_every_break_point(make, accuracy: str, errors, e: str) -> None:
    """The upper end belongs to the lower band; 0.001 e more belongs to the next."""
    ends = TABLE_6[accuracy]
    limit = _limit(ends, errors)
    unit = Decimal(e)
    steps = [*errors, None]
    for position, end in enumerate(ends):
        if end == OPEN:
            continue
        here, beyond = steps[position], steps[position + 1]
        for load, error in (
            (end - Decimal("0.001"), here),
            (Decimal(end), here),
            (end + Decimal("0.001"), beyond),
            (Decimal(end + 1), beyond),
        ):
            expected = None if error is None else Fraction(error) * Fraction(unit)
            assert _mpe(make, limit, load * unit, e) == expected
    assert _mpe(make, limit, Decimal(0), e) == Fraction(errors[0]) * Fraction(unit)


# Class, e in mg, load in g, mpe in mg, in service? Computed from the table.
VECTORS = [
    ("II", "10", "50", "5", False),
    ("II", "10", "50.01", "10", False),
    ("II", "10", "200", "10", False),
    ("II", "10", "200.01", "15", False),
    ("I", "1", "50", "0.5", False),
    ("I", "1", "50.001", "1", False),
    ("II", "1", "5", "0.5", False),
    ("II", "1", "5.001", "1", False),
    ("II", "1", "20.001", "1.5", False),
    ("II", "1", "20.001", "3", True),
]


@pytest.mark.parametrize(("accuracy", "e", "load", "mpe", "in_service"), VECTORS)
def test_vectors(*, make, accuracy, e, load, mpe, in_service) -> None:
    """A published transcription prints 20 000 e for class II's first band; R 76 says 5 000 e."""
    limit = _limit(TABLE_6[accuracy], IN_SERVICE if in_service else ERRORS)
    e_in_g = str(Decimal(e) / 1000)
    assert _mpe(make, limit, Decimal(load), e_in_g) == Fraction(mpe) / 1000


@pytest.mark.parametrize(
    ("nominal", "conventional", "error", "verdict"),
    [
        # Class II, e = 10 mg: up to 50 g ± 5 mg, above it ± 10 mg. A 50 g weight of 50.000012 g is
        # still a load of 50 g and must not slip into the wider band.
        ("50", "50.000012", "0.005", "pass"),
        ("50", "50.000012", "0.006", "fail"),
        ("50.01", "50.01", "0.010", "pass"),
        ("50.01", "50.01", "0.011", "fail"),
        ("1000", "1000", "0.015", "pass"),
        ("1000.01", "1000.01", "0.000", "void"),
    ],
)
def test_the_nominal_load_chooses_the_band(make, nominal, conventional, error, verdict) -> None:
    w = make.weight("W", nominal, conventional_mass=conventional, expanded_uncertainty="0.00001")
    balance = make.instrument("0.001", verification_interval="0.01", repeatability="0.0001")
    around = make.circumstances(balance, [w])
    shown = Decimal(conventional) + Decimal(error)
    check = SpanCheck(around, (Round("as-found", ("W",), Decimal(0), shown),))
    answer = evaluate(check, make.terms({"span_error": _limit(TABLE_6["II"], ERRORS)}))
    assert answer.verdict == verdict
    beyond = "no-limit-for-load" in {finding.code for finding in answer.findings}
    assert beyond is (verdict == "void")


@pytest.mark.parametrize(
    ("nominal", "weight_class", "too_coarse"),
    # ± 5 mg at 50 g, a third is 1.67 mg: M1 (3 mg) is too coarse, F2 (1 mg) is not.
    [("50", "OIML M1", True), ("50", "OIML F2", False)],
)
def test_weights_at_most_a_third(make, nominal, weight_class, too_coarse) -> None:
    """3.7.1 (from memory): the error of the weights is at most a third of the limit."""
    around = make.circumstances(
        make.instrument("0.001", verification_interval="0.01"),
        [make.weight("W", nominal, weight_class)],
    )
    check = SpanCheck(around, (Round("as-found", ("W",), Decimal(0), Decimal(nominal)),))
    third = Validity(weights_at_most=WeightShare(1, 3, "void"))
    limits = {"span_error": _limit(TABLE_6["II"], ERRORS)}
    answer = evaluate(check, make.terms(limits, validity=third))
    assert ("weights-too-coarse" in {f.code for f in answer.findings}) is too_coarse
    assert answer.verdict == ("void" if too_coarse else "pass")


def test_an_interval_is_what_a_band_gives(make) -> None:
    basis = Basis(make.instrument("0.01", verification_interval="0.01"), Decimal(50), "g")
    found = _limit(TABLE_6["II"], ERRORS).at(basis)
    half_e = Fraction(5, 1000)
    assert found == Interval(-half_e, half_e)


@pytest.mark.parametrize(
    ("errors", "agreement", "verdict"),
    [
        (("0.002", "-0.003", "0.001"), "0.005", "pass"),
        (("0.003", "-0.003", "0.001"), "0.006", "fail"),  # each within ± 5 mg, together not
        (("0.006", "0.005", "0.005"), "0.001", "fail"),  # together, but one of them is not within
    ],
)
def test_several_weighings_of_one_load(make, errors, agreement, verdict) -> None:
    """3.6 (a national rule that transcribes it): largest minus smallest of several weighings of one
    load within the absolute mpe, and each within the mpe. Class II, e = 10 mg, 50 g: 5 mg.
    """
    w = make.weight("W", "50", conventional_mass="50", expanded_uncertainty="0.00001")
    balance = make.instrument("0.001", verification_interval="0.01", repeatability="0.0001")
    rounds = tuple(Round("as-found", ("W",), Decimal(0), 50 + Decimal(e)) for e in errors)
    bands = _limit(TABLE_6["II"], ERRORS)
    limits = {"span_error": bands, "span_agreement": bands}
    answer = evaluate(SpanCheck(make.circumstances(balance, [w]), rounds), make.terms(limits))
    (found,) = (c for c in answer.criteria if c.name == "span_agreement")
    assert found.value == Decimal(agreement)
    assert found.upper_limit == Fraction(5, 1000)
    assert answer.verdict == verdict
