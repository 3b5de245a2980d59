"""The second evaluation, with what blank runs found out: beside the first, and told in full."""

import pytest


def blank(*changes: int, **more):
    """Runs of an empty pan at 105 °C that end so many mg off."""
    runs = [
        {
            "initial": "0.000 g",
            "final": f"{change / 1000:.3f} g",
            "duration": "15 min",
            "chamber_temperature": "105 Cel",
        }
        for change in changes
    ]
    return {"check": "blank-run", "pan": "empty", "sample_mass": "12 g", "runs": runs, **more}


def test_nothing_to_feed(ask, span, loss):
    assert ask(span(), loss())["as_fed"] is None


def test_a_bound_of_what_heat_does(ask, loss):
    """One run changed by 3 mg, and a step may hide in it: 4 mg (its page), u = 4 mg/√3."""
    plain = ask(loss("9.994 g", heating=True))
    answer = ask(loss("9.994 g", heating=True), blank(-3))
    assert answer["answers"][0] == plain["answers"][0]
    fed = answer["as_fed"]
    (feeding,) = fed["feedings"]
    assert (feeding["from"], feeding["to"]) == (1, 0)
    assert feeding["fields"] == {"hot_zero_drift": "0.004 g"}
    assert feeding["refused"] is None
    assert "instrument.hot_zero_drift = 0.004 g, from check 2 (blank-run)" in feeding["message"]
    (again,) = fed["answers"]
    assert again["index"] == 0
    (criterion,) = again["answer"]["criteria"]
    (row,) = (r for r in criterion["budget"] if r["source"] == "hot zero drift")
    assert row["standard_uncertainty"] == pytest.approx(0.004 / 3**0.5)
    (effect,) = feeding["effects"]
    before = plain["answers"][0]["criteria"][0]
    assert effect == {
        "criterion": "loss_error",
        "unit": "%",
        "expanded_uncertainty": before["expanded_uncertainty"],
        "expanded_uncertainty_fed": criterion["expanded_uncertainty"],
        "verdict": before["verdict"],
        "verdict_fed": criterion["verdict"],
    }
    assert effect["expanded_uncertainty_fed"] > effect["expanded_uncertainty"]
    # E = 0.05008 %: outside either way, and no longer surely so.
    assert (effect["verdict"], effect["verdict_fed"]) == ("conditional-fail", "conditional-fail")
    codes = {f["code"] for f in answer["answers"][0]["findings"]}
    assert "heat-not-in-uncertainty" in codes
    assert "heat-not-in-uncertainty" not in {f["code"] for f in again["answer"]["findings"]}


def test_a_correction_moves_the_loss(ask, loss):
    """Four runs that all fell by 6 mg: the hot loss that ends 6 mg low is right, corrected."""
    answer = ask(blank(-6, -6, -6, -6), loss("9.994 g", heating=True))
    assert answer["verdict"] == "conditional-fail"
    fed = answer["as_fed"]
    assert set(fed["feedings"][0]["fields"]) == {"hot_zero_correction"}
    assert (fed["verdict"], fed["usable"]) == ("pass", True)
    (again,) = fed["answers"]
    # 10.000 g in place of 9.994 g: 100·2/12 - 100·2/12.00006.
    (criterion,) = again["answer"]["criteria"]
    assert criterion["value"] == pytest.approx(100 * 2 / 12 - 100 * (1 - 10.00006 / 12.00006))


def test_what_is_stated_stays(ask, common, loss):
    common["instrument"]["hot_zero_drift"] = "1 mg"
    assert ask(blank(-3), loss(heating=True))["as_fed"] is None
    # A correction beside a stated bound would count the same shift twice.
    assert ask(blank(-6, -6, -6, -6), loss(heating=True))["as_fed"] is None


def placings(*shown: int, **more):
    """A20 put on again and again, so many mg off."""
    each = [{"zero": "0.000 g", "indication": f"{20 + off / 1000:.3f} g"} for off in shown]
    return {"check": "repeatability", "load": ["A20"], "placings": each, **more}


def test_repeatability_of_the_sitting(ask, common, span, loss):
    del common["instrument"]["repeatability"]
    del common["instrument"]["repeatability_observations"]
    # Deviations in mg -1, 1 five times each: s = √(10/9) = 1.0541 mg, handed on rounded up.
    answer = ask(span("50.002 g"), placings(*[-1, 1] * 5), loss())
    assert answer["answers"][0] == ask(span("50.002 g"))["answers"][0]
    fed = answer["as_fed"]
    assert {(one["from"], one["to"]) for one in fed["feedings"]} == {(1, 0), (1, 2)}
    for feeding in fed["feedings"]:
        assert feeding["fields"] == {
            "repeatability": "1.06 mg",
            "repeatability_observations": 10,
        }
    before, after = (
        next(c for c in a["criteria"] if c["key"] == "span_error[0]")
        for a in (answer["answers"][0], fed["answers"][0]["answer"])
    )
    rows = {row["source"]: row["contribution"] for row in after["budget"]}
    assert rows["repeatability"] == pytest.approx(1.06e-3)
    added = (before["standard_uncertainty"] ** 2 + rows["repeatability"] ** 2) ** 0.5
    assert after["standard_uncertainty"] == pytest.approx(added)
    codes = {f["code"] for f in fed["answers"][0]["answer"]["findings"]}
    assert "repeatability-not-stated" not in codes


def test_eccentricity_of_the_sitting(ask, common, loss):
    """2 mg at 20 g: of the built-up 12 g of the loss u = 12 g·2 mg/(2·20 g·√3) = 0.346 mg."""
    del common["instrument"]["eccentricity"]
    shown = {"centre": "20.000 g", "front": "20.002 g", "back": "19.999 g"}
    placings = [
        {"position": position, "zero": "0.000 g", "indication": indication}
        for position, indication in shown.items()
    ]
    pan = {"check": "eccentricity", "load": ["A20"], "placings": placings}
    fed = ask(pan, loss())["as_fed"]
    (feeding,) = fed["feedings"]
    assert feeding["fields"] == {"eccentricity": {"difference": "2 mg", "load": "20 g"}}
    (again,) = fed["answers"]
    (row,) = (
        r for r in again["answer"]["criteria"][0]["budget"] if r["source"] == "built-up loads"
    )
    # The sensitivity of the loss to I0 is 100·I1/I0², I0 = 12 g and I1 = 10 g.
    assert row["contribution"] == pytest.approx(100 * 10 / 144 * 12 * 0.002 / 40 / 3**0.5)


def test_two_figures_of_one_sitting(ask, common, loss):
    """Each is told with what it alone does; the answers have both."""
    del common["instrument"]["repeatability"]
    del common["instrument"]["repeatability_observations"]
    fed = ask(placings(*[-1, 1] * 5), blank(-3), loss(heating=True))["as_fed"]
    alone = [
        (set(one["fields"]), one["effects"][0]["expanded_uncertainty_fed"])
        for one in fed["feedings"]
        if one["to"] == 2
    ]
    assert [names for names, _ in alone] == [
        {"repeatability", "repeatability_observations"},
        {"hot_zero_drift"},
    ]
    (whole,) = (one["answer"] for one in fed["answers"] if one["index"] == 2)
    assert whole["criteria"][0]["expanded_uncertainty"] > max(u for _, u in alone)


def test_void_runs_feed_nothing(ask, loss):
    assert ask(blank(-3, warm_up="5 min"), loss(heating=True))["as_fed"] is None


def test_the_first_that_found_it_out_is_taken(ask, loss):
    fed = ask(blank(-3), blank(-5), loss(heating=True))["as_fed"]
    given = {(one["from"], one["to"]): one["fields"] for one in fed["feedings"]}
    assert given[0, 2] == {"hot_zero_drift": "0.004 g"}
    assert (1, 2) not in given
    assert given[1, 0] == {"hot_zero_drift": "0.006 g"}


def test_what_cannot_be_taken_is_told(ask, loss):
    """A correction of 11 g leaves no dry loss: nothing is left on the pan."""
    dry = loss(heating=True, basis="dry")
    runs = blank(11_000, 11_000, 11_000, 11_000)
    fed = ask(runs, dry)["as_fed"]
    (feeding,) = fed["feedings"]
    assert feeding["refused"] is not None
    assert fed["answers"] == []


def test_blank_runs_bear_on_what_heat_can_have_done(ask, loss):
    def heat(answer, index):
        (failed,) = (f for f in answer["evidence"]["failed"] if f["index"] == index)
        return next(c for c in failed["causes"] if c["cause"] == "hot-zero-drift")

    hot = loss("9.990 g", heating=True)
    assert heat(ask(hot), 0)["state"] == "possible"
    assert heat(ask(blank(0, -1, 0, 0), hot), 1)["state"] == "contradicted"
    seen = heat(ask(blank(-9, -10, -10, -9), hot), 1)
    assert [bound["agrees"] for bound in seen["bounds"]] == [True]
    (failed,) = ask(hot)["evidence"]["failed"]
    (step,) = (s for s in failed["next"] if s["check"] == "blank-run")
    assert step["tells"] == ["hot-zero-drift"]
