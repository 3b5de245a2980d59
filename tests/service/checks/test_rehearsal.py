"""The check that a perfect balance would give."""

from decimal import Decimal

import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.simulated_loss.rehearsal import LossLoads
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.weights import ReferenceWeight

SPAN, LINEARITY, LOSS = (kind.rehearse for kind in KINDS[:3])


def weight(name: str, nominal: str, mass: str | None = None) -> ReferenceWeight:
    if mass is None:
        return ReferenceWeight(name, Decimal(nominal), weight_class="OIML F1")
    return ReferenceWeight(
        name,
        Decimal(nominal),
        conventional_mass=Decimal(mass),
        expanded_uncertainty=Decimal("0.0001"),
    )


def sitting(d: str = "0.001") -> Circumstances:
    weights = [
        weight("A2", "2", "2.0006"),
        weight("A10", "10"),
        weight("B10", "10"),
        weight("A50", "50", "49.9996"),
    ]
    return Circumstances(Instrument(Decimal(d)), {w.name: w for w in weights})


def test_a_span_check_before_and_after_an_adjustment() -> None:
    check = SPAN(sitting(), [("A50",)])[0].check
    stages = [r.stage for r in check.rounds]
    assert stages == ["as-found", "as-found", "adjustment", "as-left", "as-left"]
    # 49.9996 g in steps of 1 mg.
    assert {r.indication for r in check.rounds if r.stage != "adjustment"} == {Decimal("50.000")}
    assert {r.zero_after for r in check.rounds if r.stage != "adjustment"} == {Decimal(0)}


@pytest.mark.parametrize(
    ("d", "shown"), [("0.001", "2.001"), ("0.005", "2"), ("0.0001", "2.0006"), ("0.5", "2")]
)
def test_indications_are_in_steps_of_the_display(d: str, shown: str) -> None:
    (point,) = LINEARITY(sitting(d), [("A2",)])[0].check.points
    assert point.indication == Decimal(shown)
    assert point.indication % Decimal(d) == 0


def test_a_run_goes_up_and_down_over_each_nominal_load_once() -> None:
    check = LINEARITY(sitting(), [("A50",), ("A2",), ("A10",), ("B10",)])[-1].check
    told = [(p.load, p.direction) for p in check.points]
    assert told == [
        (("A2",), "up"),
        (("A10",), "up"),
        (("A50",), "up"),
        (("A10",), "down"),
        (("A2",), "down"),
    ]


def test_a_loss_is_judged_by_its_masses() -> None:
    loads = LossLoads(("A10", "A2"), ("A10",), "dry", heating=False)
    check = LOSS(sitting(), loads)[0].check
    assert (check.initial.indication, check.final.indication) == (Decimal("12.001"), Decimal(10))
    assert (check.basis, check.took_heat, check.displayed_loss) == ("dry", False, None)


def test_one_check_for_each_load_and_one_for_the_run() -> None:
    assert [r.load for r in SPAN(sitting(), [("A2",), ("A50",)])] == [
        ("A2",),
        ("A50",),
    ]
    whole = LINEARITY(sitting(), [("A2",), ("A50",)])
    assert [(r.load, len(r.check.points)) for r in whole] == [(("A2",), 1), (("A50",), 1), ((), 3)]
    assert len(LINEARITY(sitting(), [("A2",)])) == 1
    (one,) = LOSS(sitting(), LossLoads(("A2",), ("A2",)))
    assert one.load == ("A2",)


@pytest.mark.parametrize(
    ("rehearse", "loads"),
    [
        (SPAN, [("A7",)]),
        (LINEARITY, [("A2",), ("A2", "A2")]),
        (LOSS, LossLoads(("A2",), ("A9",))),
    ],
)
def test_loads_that_cannot_be(rehearse, loads) -> None:
    with pytest.raises(SenseError) as caught:
        rehearse(sitting(), loads)
    assert caught.value.flaws[0].code in ("weight-not-declared", "weight-twice")


def test_a_load_below_half_a_step_is_no_start_of_a_loss() -> None:
    with pytest.raises(SenseError) as caught:
        LOSS(sitting("5"), LossLoads(("A2",), ("A2",)))
    assert caught.value.flaws[0].path == ("initial", "indication")
