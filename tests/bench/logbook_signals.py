"""How often signals across balances are false alarms, and how often they are seen.

    python tests/bench/logbook_signals.py [years]

Simulated years of the invented mill, with nothing wrong and with one thing wrong at a time. Errors
come from the requests, as in the tests beside the code. Prints shares of years, never asserts.
"""

import importlib.util
import sys
from collections import Counter
from decimal import Decimal
from pathlib import Path

from weighworthy_service.logbook.signals.equal_readings import equal_readings
from weighworthy_service.logbook.signals.void_share import void_shares
from weighworthy_service.logbook.signals.weights_shift import weights_shifts
from weighworthy_service.metrology.instrument import Instrument

ROOT = Path(__file__).parents[2]
NOTHING_WRONG = {"new_weights_error": 0.0, "copier": None, "void_balance": None}
PLANS = {
    "nothing wrong": NOTHING_WRONG,
    "nothing wrong, 8 balances": {**NOTHING_WRONG, "balances": 8},
    "nothing wrong, wandering twice as far": {**NOTHING_WRONG, "wander": 4e-6},
    "nothing wrong, no wandering": {**NOTHING_WRONG, "wander": 0.0, "drift": 0.0},
    "new weights 1 mg off": {**NOTHING_WRONG, "new_weights_error": 1.0},
    "new weights 2 mg off": {**NOTHING_WRONG, "new_weights_error": 2.0},
    "one person copies 4 of 5": {**NOTHING_WRONG, "copier": "K. Strand"},
    "8 % void on one balance": {**NOTHING_WRONG, "void_balance": "MA-42"},
}


def main(years: int) -> None:
    sys.path.insert(0, str(ROOT / "examples/logbook"))
    from mill_days import one_year
    from mill_year import Plan, names

    as_entry = _entry_maker()
    for what, changed in PLANS.items():
        seen: Counter[str] = Counter()
        plan = Plan(**changed)
        for seed in range(years):
            logs = {}
            for name in names(plan):
                year = one_year(plan, name, seed)
                logs[name] = [as_entry(one, year.seen.get(one["id"])) for one in year.entries]
            scatter = Decimal(str(plan.scatter)) / 1000
            balances = {
                name: Instrument(Decimal("0.001"), name, repeatability=scatter) for name in logs
            }
            words = {(f.kind.check, f.word) for f in weights_shifts(logs, balances)}
            seen.update(f"{check}: {word}" for check, word in words if word in _CLAIMS)
            seen["void share"] += any(f.stands_out for f in void_shares(logs))
            seen["equal readings"] += any(f.stands_out for f in equal_readings(logs, balances))
        print(f"{what} ({plan.balances} balances, {years} years)")
        for name, times in sorted(seen.items()):
            print(f"    {name:40} {times / years:6.1%}")


_CLAIMS = ("the-weights", "not-alike", "one-balance")


def _entry_maker():
    path = ROOT / "tests/service/logbook/signals/conftest.py"
    spec = importlib.util.spec_from_file_location("signals_conftest", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module._entry


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
