"""A year of one balance of the invented mill, day by day: what happens, and what is written down.

Every balance has its own random numbers, so that one more balance changes nothing of the others.
"""

import random
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from mill_checks import VOID, Bench
from mill_diary import Diary, Year
from mill_physics import Balance
from mill_year import METHODS, PEOPLE, Plan, instrument, weight_sets

KINDS = ("span", "linearity", "simulated-loss")


def one_year(plan: Plan, name: str, seed: int) -> Year:
    """All of one balance, in order of time."""
    days = _Days(plan, name, seed)
    for day in plan.working_days:
        days.live(day)
    return days.diary.year


class _Days:
    def __init__(self, plan: Plan, name: str, seed: int) -> None:
        self.plan, self.name = plan, name
        self.diary = Diary(name, ZoneInfo(plan.time_zone), plan.first_day)
        self.chance = random.Random(f"{seed}/{name}")  # noqa: S311 - figures of an example
        self.number = int(name[-2:])
        self.balance = Balance(
            name,
            self.chance,
            scatter=plan.scatter,
            gain=self.chance.gauss(0, 1e-5),
            bow=self.chance.gauss(0, 0.5),
            drift=self.chance.gauss(0, 1) * plan.drift,
            wander=plan.wander,
            hot_zero=self.chance.gauss(0, 1) * plan.hot_zero,
        )
        first, self.next_set = weight_sets(plan, seed)
        self.bench = Bench(self.balance, instrument(name, plan), first, self.chance)
        self.months = set[int]()
        self.copied_from: dict[str, Any] | None = None
        self.since_pass: dict[str, list[str]] = {kind: [] for kind in KINDS}
        self.doubted: list[str] = []
        self.out = False

    def live(self, day: date) -> None:
        """Early: what happened overnight. Then the morning round, then samples, and a knock."""
        first_of_week = (
            day.isocalendar().week != self.diary.day.isocalendar().week or not self.months
        )
        self.diary.day = day
        self.balance.wait_until((day - self.plan.first_day).days)
        self.diary.person = PEOPLE[(day.isocalendar().week + self.number) % len(PEOPLE)]
        asked = self.overnight() | {"simulated-loss"}
        asked |= {"span"} if first_of_week else set()
        asked |= {"linearity"} if day.month not in self.months else set()
        self.months = {day.month}
        minute = 365.0 + self.number % 10 * 3
        if self.out:
            asked, minute = set(), self.repair(780)
        elif self.happens(self.plan.adjustments):
            # Somebody adjusts to be on the safe side, which destroys what the checks would say.
            self.adjust(minute)
            asked |= {"span"}
        for kind in KINDS:
            if kind in asked and not self.out:
                minute = self.see_through(kind, minute + 4)
        self.assess(minute + 30)
        self.samples(minute)

    def overnight(self) -> set[str]:
        """What happens before the first shift, and the checks it asks for."""
        if self.diary.day == self.plan.new_weights:
            self.bench.weights = self.next_set
            self.diary.write("weights-replaced", 345, note="the new set of certificates KMF 25")
        asked = set()
        if self.happens(self.plan.moves):
            self.balance.gain += self.chance.gauss(0, 4e-5)
            self.diary.write("move", 350, note="to another bench")
            asked |= set(KINDS)
        if self.happens(self.plan.power_offs):
            self.balance.gain += self.chance.gauss(0, 1e-5)
            self.diary.write("power-off", 352)
            asked |= {"span"}
        return asked

    def see_through(self, kind: str, minute: float) -> float:
        """A check and what follows from it; returns the minute at which that is over."""
        outcome = self.check(kind, minute)
        for _ in range(2):
            if outcome != "void":
                break
            minute += 6
            outcome = self.check(kind, minute)
        if outcome != "failed":
            return minute
        minute += 6
        if self.check(kind, minute) == "passed":
            return minute
        minute += 15
        if kind == "span":
            good = self.check(kind, minute, adjusting=True) == "passed"
        else:
            self.adjust(minute)
            good = self.check("span", minute + 5) == "passed"
            minute += 10
            good = self.check(kind, minute) == "passed" and good
        if not good:
            self.diary.write("out-of-service", minute + 5, note="waits for service")
            self.out = True
        return minute

    def repair(self, minute: float) -> float:
        """The service comes; all is checked after it."""
        self.balance.service()
        self.diary.tell("service", minute)
        self.diary.write("service", minute, note="cleaned, set level, adjusted")
        self.diary.write("back-in-service", minute + 5)
        self.out = False
        for kind in KINDS:
            minute = self.see_through(kind, minute + 10) if not self.out else minute
        return minute

    def adjust(self, minute: float) -> None:
        """By the built-in weight, without a reading before."""
        self.balance.adjust()
        self.diary.tell("adjusted", minute, gain=self.balance.gain)
        self.diary.write("adjustment", minute)

    def check(self, kind: str, minute: float, adjusting: bool = False) -> str:
        """Do a check and enter it; returns what the person saw."""
        there = kind == "simulated-loss" and self.name == self.plan.void_balance
        void = self.chance.random() < (self.plan.void_there if there else self.plan.void)
        causes = VOID if kind == "simulated-loss" else VOID[:-1]
        spoilt = self.chance.choice(causes) if void else None
        if kind == "span":
            request, outcome = self.bench.span(spoilt, adjusting)
        elif kind == "linearity":
            request, outcome = self.bench.linearity(spoilt)
        else:
            request, outcome = self.bench.loss(self.diary.day.isoweekday() == 3, spoilt)
            request, outcome = self.copied(request, outcome, minute)
        request |= {"performed_at": self.diary.at(minute), "performed_by": self.diary.person}
        number = self.diary.write("check", minute, request=request)
        self.diary.year.seen[number] = outcome
        if outcome == "failed":
            self.doubted += self.since_pass[kind]
        if outcome != "void":
            self.since_pass[kind] = []
        return outcome

    def copied(
        self, request: dict[str, Any], outcome: str, minute: float
    ) -> tuple[dict[str, Any], str]:
        """The figures of the last check instead, if that is how this person works."""
        plan, last = self.plan, self.copied_from
        if (
            last is not None
            and self.diary.person == plan.copier
            and self.diary.day >= plan.copies_from
            and self.chance.random() < plan.copies
        ):
            self.diary.tell("copied", minute, by=self.diary.person)
            return {**last, "weights": self.bench.declared(last["weights"])}, "passed"
        if outcome == "passed":
            self.copied_from = request
        return request, outcome

    def samples(self, minute: float) -> None:
        """Results of the day; a knock falls somewhere between them."""
        last = 1310.0
        knocked = self.chance.uniform(minute, last) if self.happens(self.plan.knocks) else None
        count = round(self.chance.expovariate(1 / self.plan.results_a_day)) if not self.out else 0
        for at in sorted(self.chance.uniform(minute + 20, last) for _ in range(count)):
            if knocked is not None and knocked <= at:
                self.knock(knocked)
                knocked = None
            self.sample(at)
        if knocked is not None:
            self.knock(knocked)

    def knock(self, minute: float) -> None:
        """Nobody sees it."""
        done = self.balance.knock(self.plan.knock_size, self.plan.knock_sticks)
        self.diary.tell("knock", minute, **done)

    def sample(self, minute: float) -> None:
        method = self.chance.choice(tuple(METHODS))
        usual, spread, lower, upper, mass = METHODS[method]
        start = 1000 * mass * self.chance.uniform(0.95, 1.05)
        true = self.chance.gauss(usual, spread)
        first, end = self.balance.run(start, start * (1 - true / 100), heated=True)
        number = f"R-{self.name}-{len(self.diary.year.results) + 1:05d}"
        self.diary.year.results.append(
            {
                "id": number,
                "instrument": self.name,
                "at": self.diary.at(minute),
                "loss": f"{100 * (1 - end / first):.2f} %",
                "initial_mass": f"{first} g",
                "method": method,
                "lower_limit": f"{lower} %",
                "upper_limit": f"{upper} %",
            }
        )
        self.diary.tell("result", minute, result=number, loss=true)
        for waiting in self.since_pass.values():
            waiting.append(number)

    def assess(self, minute: float) -> None:
        """Somebody decides about the results that a failure put in doubt, mostly soon after."""
        if self.doubted and self.chance.random() < self.plan.assessed:
            decided = {
                "results": self.doubted,
                "cause": "check failed",
                "outcome": self.chance.choice(("stands", "stands", "corrected")),
                "reason": "effect on the results held against their limits",
            }
            self.diary.write("assessment", minute, by="M. Okafor", assessment=decided)
            self.doubted = []

    def happens(self, a_year: float) -> bool:
        """Whether something of this yearly rate happens on a working day."""
        return self.chance.random() < a_year / 250
