"""Tighter or equal is only said where it is so on every balance and for every load."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.limits import Band, Basis, Limit, read_amount
from weighworthy_service.profiles.tightness import as_tight


def limit(**form) -> Limit:
    """A limit from its JSON form."""
    return Limit(
        **{side: read_amount(form[side]) for side in ("within", "lower", "upper") if side in form},
        smaller_of=tuple(limit(**part) for part in form.get("smaller_of", ())),
        larger_of=tuple(limit(**part) for part in form.get("larger_of", ())),
        bands=tuple(
            Band(
                read_amount(band["up_to"]),
                limit(**{key: value for key, value in band.items() if key != "up_to"}),
            )
            for band in form.get("bands", ())
        ),
        when_present=form.get("when_present", False),
    )


TIGHTER = [
    ({"within": "1 mg"}, {"within": "1 mg"}),
    ({"within": "1 mg"}, {"within": "0.002 g"}),
    ({"within": "2 d"}, {"within": "3 d"}),
    ({"within": "0.05 % of load"}, {"within": "0.10 % of load"}),
    ({"within": "1 mg"}, {"lower": "-1 mg", "upper": "2 mg"}),
    ({"within": "1 mg"}, {"upper": "1 mg"}),
    ({"lower": "-1 mg", "upper": "0 mg"}, {"within": "1 mg"}),
    ({"lower": "-1 mg", "upper": "-0.5 mg"}, {"lower": "-2 d", "upper": "1 d"}, False),
    ({"upper": "-1 mg"}, {"upper": "3 d"}),
    ({"smaller_of": [{"within": "1 mg"}, {"within": "2 d"}]}, {"within": "2 d"}),
    ({"smaller_of": [{"within": "1 mg"}, {"within": "2 d"}]}, {"within": "1 mg"}),
    ({"within": "2 d"}, {"larger_of": [{"within": "1 mg"}, {"within": "2 d"}]}),
    (
        {"larger_of": [{"within": "1 mg"}, {"within": "2 d"}]},
        {"larger_of": [{"within": "3 d"}, {"within": "1 mg"}]},
    ),
    (
        {"smaller_of": [{"within": "1 mg"}, {"within": "2 d"}]},
        {"smaller_of": [{"within": "2 d"}, {"within": "1 mg"}]},
    ),
    ({"bands": [{"up_to": "50 g", "within": "1 mg"}]}, {"within": "1 mg"}),
    (
        {"bands": [{"up_to": "5000 e", "within": "0.5 e"}]},
        {"bands": [{"up_to": "5000 e", "within": "0.5 e"}, {"up_to": "9000 e", "within": "1 e"}]},
    ),
    (
        {"bands": [{"up_to": "5 g", "within": "1 mg"}, {"up_to": "9 g", "within": "2 mg"}]},
        {"bands": [{"up_to": "4 g", "within": "1 mg"}, {"up_to": "10 g", "within": "2 mg"}]},
    ),
    ({"bands": [{"up_to": "5 g"}, {"up_to": "9 g", "within": "1 mg"}]}, {"within": "1 mg"}),
]
LOOSER = [
    ({"within": "2 mg"}, {"within": "1 mg"}),
    ({"within": "1 mg"}, {"within": "2 d"}),
    ({"within": "1 d"}, {"within": "2 e"}),
    ({"upper": "1 mg"}, {"within": "1 mg"}),
    ({"lower": "-2 mg", "upper": "1 mg"}, {"within": "1 mg"}),
    ({"larger_of": [{"within": "1 mg"}, {"within": "2 d"}]}, {"within": "2 d"}),
    ({"within": "2 d"}, {"smaller_of": [{"within": "1 mg"}, {"within": "2 d"}]}),
    ({"within": "1 mg"}, {"bands": [{"up_to": "50 g", "within": "1 mg"}]}),
    (
        {"bands": [{"up_to": "60 g", "within": "1 mg"}]},
        {"bands": [{"up_to": "50 g", "within": "1 mg"}]},
    ),
    (
        {"bands": [{"up_to": "40 g", "within": "2 mg"}]},
        {"bands": [{"up_to": "30 g", "within": "1 mg"}, {"up_to": "50 g", "within": "2 mg"}]},
    ),
    ({"within": "1 mg", "when_present": True}, {"within": "1 mg"}),
    (
        {"bands": [{"up_to": "50 g", "within": "1 mg"}]},
        {"bands": [{"up_to": "5 g"}, {"up_to": "50 g", "within": "1 mg"}]},
    ),
]


@pytest.mark.parametrize("case", TIGHTER)
def test_what_is_certainly_as_tight(case):
    own, theirs, *certain = case
    assert as_tight(limit(**own), limit(**theirs)) is (certain != [False])


@pytest.mark.parametrize(("own", "theirs"), LOOSER)
def test_what_is_looser_or_depends_on_the_balance(own, theirs):
    assert not as_tight(limit(**own), limit(**theirs))


@pytest.mark.parametrize(
    ("own", "theirs", "rounded"),
    [
        # Rounded to 0.1 %, up to 0.15 % is inside 0.1 %; rounded to 0.01 %, up to 0.105 %.
        ("0.1 %", "0.10 %", False),
        ("0.10 %", "0.1 %", True),
        ("0.05 %", "0.10 %", True),
        # Up to 0.15 % against up to 0.125 %.
        ("0.1 %", "0.12 %", False),
    ],
)
def test_fewer_digits_are_looser_where_values_are_rounded_to_them(own, theirs, rounded):
    pair = limit(within=own), limit(within=theirs)
    assert as_tight(*pair)
    assert as_tight(*pair, rounding=True) is rounded


numbers = st.integers(1, 4).map(str)
units = st.sampled_from(["mg", "g", "d", "e", "% of load", "% of capacity"])
amounts = st.builds("{} {}".format, numbers, units)
plain = st.one_of(
    st.builds(lambda a: {"within": a}, amounts),
    st.builds(lambda a: {"upper": a}, amounts),
    st.builds(lambda a, b: {"lower": f"-{a}", "upper": b}, amounts, amounts),
)
combined = st.one_of(
    plain,
    st.builds(lambda parts: {"smaller_of": parts}, st.lists(plain, min_size=2, max_size=3)),
    st.builds(lambda parts: {"larger_of": parts}, st.lists(plain, min_size=2, max_size=3)),
)


@st.composite
def banded(draw):
    unit = draw(st.sampled_from(["g", "d"]))
    ends = sorted(draw(st.sets(st.integers(1, 6), min_size=1, max_size=3)))
    return {"bands": [{"up_to": f"{end} {unit}", **draw(combined)} for end in ends]}


forms = st.one_of(combined, banded())
sizes = st.sampled_from(["0.0005", "0.001", "0.5", "1", "3"]).map(Decimal)


@settings(max_examples=400, deadline=None)
@given(forms, forms, st.tuples(sizes, sizes, sizes), st.sampled_from([1, 2, 3, 5, 7]))
def test_as_tight_means_within_on_any_balance(own, theirs, balance, load):
    """Held against the limits in numbers: an interval, or none, where a check is void."""
    tight, wide = limit(**own), limit(**theirs)
    if not as_tight(tight, wide):
        return
    d, e, capacity = balance
    basis = Basis(Instrument(d, verification_interval=e, capacity=capacity), Decimal(load), "g")
    inside, outside = tight.at(basis), wide.at(basis)
    if inside is None:
        return
    assert outside is not None
    low, high = Fraction(-(10**6)), Fraction(10**6)
    if _empty(inside):
        return
    assert (outside.lower if outside.lower is not None else low) <= (
        inside.lower if inside.lower is not None else low
    )
    assert (inside.upper if inside.upper is not None else high) <= (
        outside.upper if outside.upper is not None else high
    )


def _empty(interval) -> bool:
    return None not in (interval.lower, interval.upper) and interval.lower > interval.upper
