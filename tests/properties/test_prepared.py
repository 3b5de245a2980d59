"""A prepared check says of any readings, in brief and in full, what the check of them says."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from functools import partial

from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.answer import brief_of
from weighworthy_service.checks.answer_text import AnswerForm, answer_text
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.simulated_loss.evaluation import PreparedLoss, evaluate
from weighworthy_service.checks.simulated_loss.written import LossText
from weighworthy_service.checks.terms import LimitInForce, ProfileIdentity
from weighworthy_service.metrology.limits import Amount, Limit
from weighworthy_service.metrology.quantity import EXACT, in_quanta

LAW = settings(
    max_examples=150, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate]
)


WHO = ProfileIdentity("kestrel", "2026 %s", "sha256:0")
LABELS = {"sample": "100 %"}
# Readings of which the answer was written by a form.
BY_FORM: list[tuple[Decimal | None, ...]] = []


def with_readings(check, initial, final, displayed):
    return replace(
        check,
        initial=replace(check.initial, indication=initial),
        final=replace(check.final, indication=final),
        displayed_loss=displayed,
    )


def prepared_for(check, terms):
    """The check prepared, and what writes its answers by forms."""
    prepared = PreparedLoss(check, terms)
    return prepared, LossText(prepared, partial(AnswerForm, profile=WHO, version="1"))


def assert_same(made, check, terms, readings):
    prepared, writer = made
    whole = [None if reading is None else in_quanta(reading) for reading in readings]
    try:
        alone = evaluate(with_readings(check, *readings), terms)
    except SenseError:
        assert prepared.brief(*whole) is None
        assert writer.form(*readings) is None
        return
    assert prepared.evaluation(*readings) == alone
    assert prepared.brief(*whole) == brief_of(alone)
    if found := writer.form(*readings):
        form, numbers, verdict = found
        by_itself = answer_text(alone, profile=WHO, version="1", request_digest="x", labels=LABELS)
        assert form.filled(numbers, "x", LABELS) == by_itself
        assert verdict == alone.verdict
        BY_FORM.append(readings)


@LAW
@given(data=st.data())
def test_any_readings_in_any_order(sensible, data):
    check = data.draw(sensible.check("simulated-loss"))
    terms = data.draw(sensible.terms("simulated-loss"))
    made = prepared_for(check, terms)
    shown = st.none() | sensible.readings
    readings = st.tuples(shown, shown, st.none() | sensible.numbers())
    own = (check.initial.indication, check.final.indication, check.displayed_loss)
    for each in (own, *data.draw(st.lists(readings, max_size=4)), own):
        assert_same(made, check, terms, each)


@LAW
@given(data=st.data())
def test_readings_about_what_the_weights_show(sensible, data):
    """Where verdicts turn: both indications within a few steps of the reference masses."""
    check = data.draw(sensible.check("simulated-loss"))
    terms = data.draw(sensible.terms("simulated-loss"))
    here, steps = check.circumstances, st.integers(-9, 9)
    step = here.instrument.scale_interval
    made = prepared_for(check, terms)
    for off in data.draw(st.lists(st.tuples(steps, steps), min_size=1, max_size=4)):
        near = [
            here.mass(part.load) + Decimal(n) * step
            for part, n in zip((check.initial, check.final), off, strict=True)
        ]
        assert_same(made, check, terms, (*near, None))


@settings(LAW, max_examples=60)
@given(data=st.data())
def an_archive(sensible, data):
    """With a limit more often than not, or nothing would be written by forms."""
    check = data.draw(sensible.check("simulated-loss"))
    terms = data.draw(sensible.terms("simulated-loss"))
    here, draw = check.circumstances, data.draw(st.randoms(use_true_random=False))
    if draw.random() < 0.7:
        limit = LimitInForce(Limit(within=Amount(Decimal("0.5"), "%")), "/rules/0")
        terms = replace(terms, limits={"loss_error": limit}, start_window=None)
    step = here.instrument.scale_interval
    made = prepared_for(check, terms)
    start, end = (here.mass(part.load) for part in (check.initial, check.final))
    for _ in range(25):
        share = Decimal(draw.randint(900, 1100)).scaleb(-3)
        near = [
            EXACT.multiply(round(Fraction(mass) * Fraction(share) / Fraction(step)) + n, step)
            for mass, n in ((start, draw.randint(-2, 2)), (end, draw.randint(-2, 2)))
        ]
        assert_same(made, check, terms, (*near, displayed(near, here, check.basis, draw)))


def test_an_archive_of_one_balance(sensible):
    """Readings of loads that are never the same, whose uncertainties and verdicts differ little:
    what is told by bounds, and what was learnt from another, is what each check alone comes to."""
    BY_FORM.clear()
    an_archive(sensible)
    # Or it would hold of the long way alone.
    assert len(BY_FORM) > 30


def displayed(near, here, basis, draw):
    """A loss as a display would show it, a step off, or none."""
    interval = here.instrument.loss_interval
    start, end = map(Fraction, near)
    whole = start if basis == "wet" else end
    if interval is None or whole <= 0 or draw.random() < 0.3:
        return None
    steps = round(100 * (start - end) / whole / Fraction(interval)) + draw.choice([0, 0, 0, 1])
    return EXACT.multiply(interval, steps)
