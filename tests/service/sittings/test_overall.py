"""The one verdict of a sitting. The span limit is ±5 mg at 50 g, that of the loss ±0.04 %."""

COLD = {"warm_up": "5 min"}  # the profile voids below 40 min


def codes(answer):
    return [finding["code"] for finding in answer["findings"]]


def test_the_worst_of_all_valid(ask, span, loss, linearity):
    # 10.004 of 12.000: 16.6333 % for 16.66658 %, which is -0.033 %: conditional pass of four-way.
    answer = ask(span(), linearity(), loss("10.004 g"))
    assert [a["verdict"] for a in answer["answers"]] == ["pass", "pass", "conditional-pass"]
    assert (answer["verdict"], answer["usable"]) == ("conditional-pass", True)
    (reason,) = answer["because"]
    assert (reason["index"], reason["check"], reason["criterion"]) == (
        2,
        "simulated-loss",
        "loss_error",
    )
    assert "-0.03325" in reason["sentence"]


def test_a_pass_names_the_least_room_of_each(ask, span, loss):
    answer = ask(span(), loss())
    assert answer["verdict"] == "pass"
    assert [reason["index"] for reason in answer["because"]] == [0, 1]


def test_void_hides_no_fail_of_another(ask, span, loss):
    answer = ask(span(**COLD), loss("10.020 g"))
    assert [a["verdict"] for a in answer["answers"]] == ["void", "fail"]
    assert (answer["verdict"], answer["usable"]) == ("fail", False)
    assert codes(answer) == ["check-void"]
    assert {r["finding"] for r in answer["because"]} == {"warm-up-short", None}


def test_void_that_would_have_failed(ask, span, loss):
    answer = ask(span("50.020 g", **COLD), loss())
    assert [a["verdict"] for a in answer["answers"]] == ["void", "pass"]
    assert (answer["verdict"], answer["verdict_if_valid"]) == ("void", "fail")
    assert answer["usable"] is False
    assert any(r["criterion"] == "span_error[0]" for r in answer["because"])


def test_what_an_occasion_asks_for_and_is_missing(ask, common, span, loss):
    schedule = {"every": "day", "after": ["moved", "power-off"]}
    rules = [{"checks": ["span"], "schedule": schedule}, *common["profile"]["rules"]]
    profile = {**common["profile"], "rules": rules}
    answer = ask(loss(), profile=profile, occasion="moved")
    assert (answer["verdict"], answer["verdict_if_valid"]) == ("void", "pass")
    assert codes(answer) == ["required-check-missing"]
    assert answer["because"][-1]["check"] == "span"
    assert ask(loss("10.020 g"), profile=profile, occasion="moved")["verdict"] == "fail"
    routine = ask(loss(), profile=profile)
    assert (routine["verdict"], codes(routine)) == ("pass", ["scheduled-check-absent"])
    whole = ask(loss(), span(), profile=profile, occasion="moved")
    assert (whole["verdict"], codes(whole)) == ("pass", [])


def test_nothing_judged_is_no_pass(ask, loss, span):
    bare = {"id": "bare", "revision": "1", "title": "Invented", "rules": [{"validity": {}}]}
    answer = ask(loss(), profile=bare)
    assert (answer["verdict"], answer["usable"]) == (None, None)
    answer = ask(loss(profile=None), span())
    assert answer["verdict"] == "pass"
    # A profile sent along replaces by members (RFC 7396), so that it is taken out first.
    answer = ask(loss(), span(profile={"rules": bare["rules"]}))
    assert (answer["verdict"], codes(answer)) == ("pass", ["check-not-judged"])


def test_as_found_ends_at_the_adjustment(ask, span, loss, linearity):
    adjusted = span()
    found = {**adjusted["rounds"][0], "stage": "as-found", "indication": "50.020 g"}
    left = {**adjusted["rounds"][0], "stage": "as-left"}
    adjusted["rounds"] = [found, {"stage": "adjustment"}, left]
    answer = ask(adjusted, loss("10.020 g"))
    assert (answer["verdict_as_found"], answer["verdict"]) == ("fail", "fail")
    answer = ask(adjusted, loss())
    assert (answer["verdict_as_found"], answer["verdict_as_left"]) == ("fail", "pass")
    assert (answer["verdict"], answer["usable"]) == ("pass", True)
    late = {**loss(), "warm_up": "5 min"}
    assert ask(adjusted, late)["verdict_as_found"] == "fail"
    adjusted["rounds"][0]["indication"] = "50.000 g"
    # What is void after the adjustment says nothing against the state that was found.
    answer = ask(adjusted, late)
    assert (answer["verdict"], answer["verdict_as_found"]) == ("void", "pass")
    answer = ask(linearity(), {**adjusted, "rounds": adjusted["rounds"][2:]}, loss("10.020 g"))
    assert answer["verdict_as_found"] == "fail"


def test_what_can_only_be_one_and_is_stated_twice(ask, common, span, loss):
    heavy = {"A10": {"nominal": "10 g", "conventional_mass": "10.001 g"}}
    heavy["A10"]["expanded_uncertainty"] = "0.06 mg"
    told = {"weights": heavy, "instrument": {"repeatability": "50 mg"}}
    back = {"performed_at": "2026-03-16T07:00:00+01:00"}
    late = {"performed_at": "2026-03-16T09:00:00+01:00"}
    answer = ask(span(**late), loss(**told, **back))
    assert {f["code"]: f["field"] for f in answer["findings"]} == {
        "weight-stated-otherwise": "/checks/1/weights/A10",
        "balance-stated-otherwise": "/checks/1/instrument/repeatability",
        "order-disagrees": "/checks/1/performed_at",
    }
    assert ask(span(), loss())["findings"] == []
