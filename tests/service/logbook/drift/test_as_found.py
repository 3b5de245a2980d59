"""Which numbers of an answer are errors as found; expected values read off the answers by eye."""

import pytest

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.logbook.drift.as_found import as_found


def points(*stated):
    return {
        "points": [
            {"load": load, "error": error, "direction": direction, "expanded_uncertainty": u}
            for load, error, direction, u in stated
        ]
    }


def test_span_takes_the_first_round_as_found_of_each_load(make) -> None:
    criteria = (
        make.round(None),
        make.round(0.003),
        make.round(0.002),
        {**make.round(0.009), "name": "zero_return"},
        make.round(0.001, load=50.0),
    )
    found = as_found(make.said(criteria=criteria))
    assert [(m.load, m.value) for m in found] == [(20.0, 0.003), (50.0, 0.001)]
    assert found[0].unit == "g"
    assert (found[0].lower_limit, found[0].upper_limit) == (-0.005, 0.005)
    assert found[0].expanded_uncertainty == 0.0016


def test_rounds_as_left_say_nothing_of_the_time_before(make) -> None:
    criteria = (make.round(0.003), make.round(0.0, stage="as-left", load=50.0))
    adjusted = make.said(criteria=criteria, adjusted=True)
    assert [m.value for m in as_found(adjusted)] == [0.003]
    # As found void, as left valid: what the void rounds read is no point.
    assert as_found(adjusted._replace(lets_use_as_found=None)) == ()


def test_an_error_without_a_limit_is_a_point_all_the_same(make) -> None:
    bare = make.round(0.003, lower_limit=None, upper_limit=None)
    unjudged = make.said(criteria=(bare,), verdict=None, usable=None, lets_use_as_found=None)
    assert [m.value for m in as_found(unjudged)] == [0.003]


def test_linearity_takes_the_mean_of_a_load_and_tells_its_directions(make) -> None:
    results = points(
        (10.0, 0.001, "up", 0.0016),
        (20.0, 0.002, "up", 0.0017),
        (10.0, 0.002, "down", 0.0018),
    )
    ten, twenty = as_found(make.said("linearity", results=results))
    # (1 + 2)/2 mg.
    assert (ten.load, ten.value, ten.directions) == (10.0, pytest.approx(0.0015), "up and down")
    assert ten.expanded_uncertainty == 0.0018
    assert (twenty.load, twenty.value, twenty.directions) == (20.0, 0.002, "up")
    assert ten.criterion == "point_error"


def test_a_mean_with_an_unknown_uncertainty_has_none(make) -> None:
    results = points((10.0, 0.001, None, 0.0016), (10.0, 0.001, None, None))
    (ten,) = as_found(make.said("linearity", results=results))
    assert ten.expanded_uncertainty is None
    assert ten.directions == ""


def test_simulated_loss_tells_what_it_expected(make) -> None:
    criterion = {"name": "loss_error", "unit": "%", "load": 12.0, "value": 0.0057}
    said = make.said("simulated-loss", criteria=(criterion,), results={"expected_loss": 16.6665})
    (loss,) = as_found(said)
    assert (loss.unit, loss.load, loss.value) == ("%", 12.0, 0.0057)
    assert loss.expected_loss == 16.6665
    assert loss.expanded_uncertainty is None


@pytest.mark.parametrize(
    ("slug", "expected"),
    [
        ("span", [(20.0, 0.003)]),
        # Means of the errors at 2, 10, 20 and 30 g up and down, and 50 g once.
        ("linearity", [(2.0, 0.0), (10.0, 0.0015), (20.0, 0.003), (30.0, 0.0035), (50.0, 0.004)]),
        ("simulated-loss", [(12.0, 0.00572129478394157)]),
    ],
)
def test_the_examples_give_errors(make, slug, expected) -> None:
    answer = BY_SLUG[slug].example["answer"]
    said = make.said(slug, criteria=tuple(answer["criteria"]), results=answer["results"])
    found = [(m.load, m.value) for m in as_found(said)]
    assert [load for load, _ in found] == [load for load, _ in expected]
    assert [v for _, v in found] == pytest.approx([v for _, v in expected], abs=1e-15)


@pytest.mark.parametrize(
    "nothing", [None, "0.003", True, float("nan"), float("inf"), 10**400, 1e13, [0.003]]
)
def test_what_is_no_number_is_no_error(make, nothing) -> None:
    assert as_found(make.said(criteria=(make.round(nothing),))) == ()
    in_points = {"points": [{"load": 10.0, "error": nothing}]}
    assert as_found(make.said("linearity", results=in_points)) == ()


@pytest.mark.parametrize("strange", [None, 7, "points", {}, [None, 3], [[]], [{"load": 1.0}]])
def test_trusted_answers_may_hold_anything(make, strange) -> None:
    assert as_found(make.said("linearity", results={"points": strange})) == ()


def test_a_criterion_without_a_unit_is_none(make) -> None:
    assert as_found(make.said(criteria=(make.round(0.001, unit=None),))) == ()
