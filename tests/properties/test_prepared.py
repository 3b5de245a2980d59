"""A prepared check says of any readings, in brief and in full, what the check of them says."""

from dataclasses import replace
from decimal import Decimal

from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.answer import brief_of
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.simulated_loss.evaluation import PreparedLoss, evaluate

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
    try:
        alone = evaluate(with_readings(check, *readings), terms)
    except SenseError:
        assert prepared.brief(*readings) is None
        return
    assert prepared.evaluation(*readings) == alone
    assert prepared.brief(*readings) == brief_of(alone)


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
