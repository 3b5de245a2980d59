"""The explanation of any sensible check under any terms, reckoned again by another evaluator."""

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.answer import answer
from weighworthy_service.checks.explaining.answer import jsonable
from weighworthy_service.checks.registry import BY_SLUG

LAW = settings(
    max_examples=12, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate]
)


@pytest.mark.parametrize("kind", BY_SLUG)
@LAW
@given(data=st.data())
def test_every_number_is_explained_to_the_last_digit(by_hand, sensible, kind, data):
    check, terms = data.draw(sensible.check(kind)), data.draw(sensible.terms(kind))
    evaluation = sensible.evaluate(kind, check, terms)
    said = answer(
        evaluation, profile=terms.profile, version="1", request_digest="sha256:0", labels={}
    )
    steps = BY_SLUG[kind].explain(check, terms, evaluation)
    explained = {**said, "explanation": jsonable(steps)}
    by_hand.check_answer(explained)
    by_hand.check_reasons(explained)
