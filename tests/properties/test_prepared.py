"""A prepared check says of any readings, in brief and in full, what the check of them says."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.answer import brief_of
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.simulated_loss.evaluation import PreparedLoss, evaluate
from weighworthy_service.metrology.quantity import EXACT, in_quanta

LAW = settings(
    max_examples=150, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate]
)


def with_readings(check, initial, final, displayed):
    return replace(
        check,
        initial=replace(check.initial, indication=initial),
        final=replace(check.final, indication=final),
        displayed_loss=displayed,
    )


def assert_same(prepared, check, terms, readings):
    whole = [None if reading is None else in_quanta(reading) for reading in readings]
    try:
        alone = evaluate(with_readings(check, *readings), terms)
    except SenseError:
        assert prepared.brief(*whole) is None
        return
    assert prepared.evaluation(*readings) == alone
    assert prepared.brief(*whole) == brief_of(alone)


@LAW
@given(data=st.data())
def test_any_readings_in_any_order(sensible, data):
    check = data.draw(sensible.check("simulated-loss"))
    terms = data.draw(sensible.terms("simulated-loss"))
    prepared = PreparedLoss(check, terms)
    shown = st.none() | sensible.readings
    readings = st.tuples(shown, shown, st.none() | sensible.numbers())
    own = (check.initial.indication, check.final.indication, check.displayed_loss)
    for each in (own, *data.draw(st.lists(readings, max_size=4)), own):
        assert_same(prepared, check, terms, each)


@LAW
@given(data=st.data())
def test_readings_about_what_the_weights_show(sensible, data):
    """Where verdicts turn: both indications within a few steps of the reference masses."""
    check = data.draw(sensible.check("simulated-loss"))
    terms = data.draw(sensible.terms("simulated-loss"))
    here, steps = check.circumstances, st.integers(-9, 9)
    step = here.instrument.scale_interval
    prepared = PreparedLoss(check, terms)
    for off in data.draw(st.lists(st.tuples(steps, steps), min_size=1, max_size=4)):
        near = [
            here.mass(part.load) + Decimal(n) * step
            for part, n in zip((check.initial, check.final), off, strict=True)
        ]
        assert_same(prepared, check, terms, (*near, None))


@settings(LAW, max_examples=60)
@given(data=st.data())
def test_an_archive_of_one_balance(sensible, data):
    """Readings of loads that are never the same, whose uncertainties and verdicts differ little:
    what is told by bounds, and what was learnt from another, is what each check alone comes to."""
    check = data.draw(sensible.check("simulated-loss"))
    terms = data.draw(sensible.terms("simulated-loss"))
    here, draw = check.circumstances, data.draw(st.randoms(use_true_random=False))
    step = here.instrument.scale_interval
    prepared = PreparedLoss(check, terms)
    start, end = (here.mass(part.load) for part in (check.initial, check.final))
    for _ in range(25):
        share = Decimal(draw.randint(900, 1100)).scaleb(-3)
        near = [
            EXACT.multiply(round(Fraction(mass) * Fraction(share) / Fraction(step)) + n, step)
            for mass, n in ((start, draw.randint(-2, 2)), (end, draw.randint(-2, 2)))
        ]
        assert_same(prepared, check, terms, (*near, displayed(near, here, check.basis, draw)))


def displayed(near, here, basis, draw):
    """A loss as a display would show it, a step off, or none."""
    interval = here.instrument.loss_interval
    start, end = map(Fraction, near)
    whole = start if basis == "wet" else end
    if interval is None or whole <= 0 or draw.random() < 0.3:
        return None
    steps = round(100 * (start - end) / whole / Fraction(interval)) + draw.choice([0, 0, 0, 1])
    return EXACT.multiply(interval, steps)
