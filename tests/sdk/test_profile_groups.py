"""How past checks are put into groups, and their answers added up; answers typed by hand."""

import json
from typing import Any

import pytest

from weighworthy import profile_groups
from weighworthy.errors import DeadlineExceeded, ProtocolError, TimedOut
from weighworthy.profile_groups import FIRST, compare_past

SETTINGS = {"settings": [{"change": "equal", "percent": -25.5}], "rules_not_reached": {}}


class Service:
    """Answers every group alike: each first check changes, the others stay."""

    def __init__(self, *fails: Exception) -> None:
        self.asked: list[dict[str, Any]] = []
        self.fails = list(fails)
        self.now, self.seconds_each = 0.0, 0.0

    def __call__(self, request: dict[str, Any]) -> tuple[bytes, str]:
        self.asked.append(request)
        n = len(request["requests"])
        if request.get("part") == "settings":
            return json.dumps({**SETTINGS, "verdicts": None}).encode(), "R-1"
        self.now += n * self.seconds_each
        if self.fails:
            raise self.fails.pop(0)
        verdicts = {
            "requests": n,
            "changed": 1,
            "unchanged": n - 1,
            "refused": 0,
            "counts": {"pass -> fail": 1},
            "unchanged_counts": {"fail": 1, "pass": n - 2},
            "changes": [{"index": 0}],
            "findings": [
                {
                    "code": "weak-ratio",
                    "severity": "warning",
                    "change": "gone",
                    "requests": n,
                    "indexes": list(range(min(n, 20))),
                }
            ],
            "refusals": [],
            "weights_not_met": {"before": [], "after": ["A5", f"B{n}"]},
        }
        return json.dumps({**SETTINGS, "verdicts": verdicts}).encode(), "R-2"

    @property
    def groups(self) -> list[int]:
        return [len(a["requests"]) for a in self.asked if a.get("part") == "verdicts"]


def past(count: int, size: int = 1000) -> list[dict[str, Any]]:
    """Checks of a little more than ``size`` bytes each, of three balances."""
    return [
        {"instrument": {"id": f"MA-{i % 3}"}, "method": "M", "x": "x" * size} for i in range(count)
    ]


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch) -> Service:
    service = Service()
    monkeypatch.setattr(profile_groups.time, "monotonic", lambda: service.now)
    return service


def test_few_go_in_one_call(service: Service) -> None:
    request = {"before": {}, "after": {}}
    compare_past(service, request, past(10), lambda *_: None)
    assert service.asked == [{**request, "requests": past(10)}]


def test_many_are_added_up_as_one_answer(service: Service) -> None:
    told: list[tuple[int, int]] = []
    request = {"before": {"profile": "a@1"}, "after": {}, "performed_on": None, "loads": ["1 g"]}
    found = compare_past(service, request, past(100), lambda *done: told.append(done))
    settings, *groups = service.asked
    # What limits are compared for: three balances and a method.
    assert settings == {
        **request,
        "part": "settings",
        "requests": [
            {"instrument": {"id": "MA-0"}},
            {"method": "M"},
            {"instrument": {"id": "MA-1"}},
            {"instrument": {"id": "MA-2"}},
        ],
    }
    sides = {"before": {"profile": "a@1"}, "after": {}, "performed_on": None}
    assert all({**group, **sides, "part": "verdicts"} == group for group in groups)
    assert all("loads" not in group for group in groups)
    assert [one for group in groups for one in group["requests"]] == past(100)
    number = len(groups)
    starts = [sum(service.groups[:i]) for i in range(number)]
    assert number > 1
    assert told == [(start, 100) for start in [*starts[1:], 100]]
    whole = json.loads(found.raw)
    assert whole["settings"] == SETTINGS["settings"]
    assert whole["verdicts"] == {
        "requests": 100,
        "changed": number,
        "unchanged": 100 - number,
        "refused": 0,
        "counts": {"pass -> fail": number},
        "unchanged_counts": {"pass": 100 - 2 * number, "fail": number},
        "changes": [{"index": start} for start in starts],
        "findings": [
            {
                "code": "weak-ratio",
                "severity": "warning",
                "change": "gone",
                "requests": 100,
                "indexes": list(range(20)),
            }
        ],
        "refusals": [],
        "weights_not_met": {"before": [], "after": ["A5"]},
    }


def test_groups_grow_and_shrink_with_the_time_they_take(service: Service) -> None:
    service.seconds_each = 0.5
    compare_past(service, {}, past(40), lambda *_: None)
    # 32 KiB at about 1 kB each take 15 s; three seconds are six checks.
    assert service.groups == [31, 6, 3]
    service.asked.clear()
    service.seconds_each = 0.001
    compare_past(service, {}, past(1000), lambda *_: None)
    # Four times as large each time, up to 256 KiB.
    assert service.groups[0] == 31
    assert service.groups[1] > 100
    assert max(service.groups) <= 256


@pytest.mark.parametrize("late", [TimedOut, DeadlineExceeded])
def test_a_group_that_takes_too_long_is_asked_for_in_smaller_ones(
    monkeypatch: pytest.MonkeyPatch, late: type[Exception]
) -> None:
    service = Service(late("no answer"))
    found = compare_past(service, {}, past(60), lambda *_: None)
    assert service.groups[:2] == [31, 3]
    assert found.verdicts is not None
    assert found.verdicts["requests"] == 60


def test_a_single_check_that_takes_too_long_is_told() -> None:
    service = Service(*[TimedOut("no answer")] * 2)
    with pytest.raises(TimedOut):
        compare_past(service, {}, past(2, FIRST), lambda *_: None)
    assert service.groups == [1]


def test_answers_that_cannot_be_added_up_are_a_protocol_error(service: Service) -> None:
    def ask(request: dict[str, Any]) -> tuple[bytes, str]:
        body, request_id = service(request)
        return body.replace(b'"changed"', b'"altered"'), request_id

    with pytest.raises(ProtocolError, match="cannot be added up: KeyError"):
        compare_past(ask, {}, past(100), lambda *_: None)
