"""What is required of which instrument, by small profiles whose rules are read by eye."""

from decimal import Decimal

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.logbook.requirements import Requiring
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.profiles.document import Origin, Rule, Schedule, Step

DAY, WEEK = Schedule("day"), Schedule("week")
REPEAT = (Step("repeat"), Step("out-of-service"))


class Rules:
    """As much of a profile as is looked at."""

    def __init__(self, *rules):
        self.rules = tuple(
            Rule(Origin("kestrel", "1", f"/rules/{i}"), **rule) for i, rule in enumerate(rules)
        )


def balance(name="MA-01", site=None):
    return Instrument(Decimal("0.001"), name, site=site)


def required(profile, *methods, of=None):
    found = Requiring(profile).of(of or balance(), methods or (None,))
    return {one.check: [scheduled.place for scheduled in one.schedules] for one in found}


def test_the_last_rule_that_matches_counts_and_one_of_a_stage_does_not():
    profile = Rules(
        {"checks": ("span",), "schedule": DAY},
        {"checks": ("span",), "instruments": ("MA-0*",), "schedule": WEEK},
        {"checks": ("span",), "stages": ("as-found",), "schedule": DAY},
        {"checks": ("linearity",), "sites": ("mill",), "schedule": DAY},
    )
    assert required(profile) == {"span": ["kestrel@1 /rules/1/schedule"]}
    assert required(profile, of=balance("MB-01", "mill")) == {
        "span": ["kestrel@1 /rules/0/schedule"],
        "linearity": ["kestrel@1 /rules/3/schedule"],
    }


def test_each_method_asks_for_its_own_in_the_order_they_are_listed():
    profile = Rules(
        {"checks": ("span",), "schedule": DAY},
        {"checks": ("span",), "methods": ("flour*",), "schedule": WEEK},
    )
    both = ["kestrel@1 /rules/1/schedule", "kestrel@1 /rules/0/schedule"]
    assert required(profile, "flour-1", "bran", "flour-2", None) == {"span": both}
    assert required(profile, None, "flour-1") == {"span": both[::-1]}


def test_the_ladder_of_a_kind_that_no_schedule_asks_for_is_told():
    profile = Rules({"checks": ("span",), "schedule": DAY}, {"response": REPEAT})
    found = {one.check: one for one in Requiring(profile).of(balance())}
    required = {check: one.required for check, one in found.items()}
    assert required == {kind.slug: kind.slug == "span" for kind in KINDS}
    assert all(one.response == REPEAT for one in found.values())
    assert found["linearity"].response_place == "kestrel@1 /rules/1/response"


def test_thousands_of_instruments_dozens_of_methods_and_hundreds_of_rules():
    rules = [{"checks": ("span",), "methods": (f"m{i}*",), "schedule": DAY} for i in range(200)]
    requiring = Requiring(Rules(*rules))
    methods = (None, *(f"m{i}" for i in range(50)))
    for i in range(1000):
        (span,) = requiring.of(balance(f"B{i}"), methods)
    assert len(span.schedules) == 50
