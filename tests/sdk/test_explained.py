"""The reckoning by hand, as the client reads it and the command writes it."""

import pickle
from decimal import Decimal

import pytest

from weighworthy import Client, ProblemError, ProtocolError
from weighworthy.cli_explained import explained
from weighworthy.explained import ExplainedFigure, ExplanationStep
from weighworthy.results import read_answer

REQUEST = {
    "instrument": {"scale_interval": "1 mg", "repeatability": "0.6 mg"},
    "weights": {"W20": {"nominal": "20 g", "weight_class": "OIML F1"}},
    "rounds": [{"load": ["W20"], "zero": "0.000 g", "indication": "20.003 g"}],
}


@pytest.fixture(scope="module")
def answer():
    with Client.embedded() as client:
        return client.check_span(**REQUEST, explain=True)


def test_the_error_of_a_round(answer):
    step = next(s for s in answer.explanation if "/criteria/0/value" in s.gives)
    assert (step.formula, step.figures) == ("I - Z - m", "20.003 - 0.000 - 20")
    assert Decimal(step.result) == answer.criterion("span_error").value == Decimal("0.003")
    assert step.where[0] == ExplainedFigure("I", "20.003", "request /rounds/0/indication")
    assert (step.exact, step.digits, step.gives_digits, step.unit) == (None, None, 15, "g")


def test_without_asking_there_is_none_and_detail_short_is_refused():
    with Client.embedded() as client:
        assert client.check_span(**REQUEST).explanation == ()
        with pytest.raises(ProblemError, match="detail=short"):
            client.evaluate("span", REQUEST, detail="short", explain=True)


def test_it_is_kept_with_the_bytes(answer):
    assert pickle.loads(pickle.dumps(answer)).explanation == answer.explanation  # noqa: S301


def test_an_explanation_that_is_none_is_no_answer(answer):
    for broken in (b'"gives":"/criteria/0', b'"step":1.5'):
        member = broken.partition(b":")[0]
        raw = answer.raw.replace(member + b":", broken + b',"was":', 1)
        with pytest.raises(ProtocolError):
            read_answer(raw)


def test_how_a_step_is_written():
    step = ExplanationStep(
        step=8,
        what="share of a load",
        symbol="c",
        formula="a * (a - b)**2 / 3",
        figures="2 * (2 - 1)**2 / 3",
        result="0.666666666666667",
        exact="2/3",
        digits=15,
        unit="g",
        where=(ExplainedFigure("a", "2", "request /a"), ExplainedFigure("b", "1", "step 7")),
        source="invented",
        gives=(),
        gives_digits=15,
    )
    assert explained([step]).splitlines() == [
        "[8] share of a load   (invented)",
        "     c = a · (a - b)^2 / 3 = 2 · (2 - 1)^2 / 3 = 2/3 = 0.666666666666667 g",
        "       a: request /a; b: [7]",
    ]
