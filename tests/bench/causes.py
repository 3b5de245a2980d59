"""How often causes are named, sized and wrongly ruled out, on a simulated balance.

`python tests/bench/causes.py [seeds]` prints, for each fault that is put in: values that failed by
it; of these how many name it, leave it possible, leave it possible together with another, rule it
out; of those that have a size how many cover it; and how many causes are left of how many. Last,
sittings of balances in order, and how many of them had a failed value or one that disagreed.
"""

import sys
from collections import Counter
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType
from typing import Final

TESTS: Final = Path(__file__).parents[1]
_LINE: Final = "{:<26} {:>6} {:>6} {:>9} {:>10} {:>9} {:>12}  {}"

_COLUMNS: Final = (
    *("fault", "values", "named", "possible", "not-alone", "ruled out"),
    *("covered", "left of all"),
)


def loaded(path: Path) -> ModuleType:
    spec = spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    sys.modules[path.stem] = module
    spec.loader.exec_module(module)
    return module


def main(seeds: int) -> None:
    physics = loaded(TESTS / "simulated_balance.py")
    simulated = loaded(TESTS / "service/sittings/test_simulated.py")
    kestrel = loaded(TESTS / "service/sittings/conftest.py")
    judged = simulated.judging(kestrel.base(), physics)
    print(_LINE.format(*_COLUMNS))
    total: Counter[str] = Counter()
    for number, (fault, (faults, (name, about, size), index)) in enumerate(
        simulated.FAULTS.items()
    ):
        count: Counter[str] = Counter()
        for seed in range(seeds):
            found = judged(100_000 * (number + 1) + seed, **faults)
            for row in simulated.rows(found, name, about, index):
                count["values"] += 1
                count["named"] += row is not None
                if row is not None:
                    count[row.state] += 1
                    if size is not None:
                        count["sized"] += 1
                        count["covered"] += row.needed[0] <= size <= row.needed[1]
            for failed in found.failed:
                count["left"] += sum(c.state == "possible" for c in failed.causes)
                count["causes"] += len(failed.causes)
        total.update(count)
        print(told(fault, count), flush=True)
    print(told("all", total))
    off: Counter[str] = Counter()
    for seed in range(10 * seeds):
        found = judged(seed, separate=bool(seed % 2), heating=bool(seed % 3))
        off["failed"] += bool(found.failed)
        off["disagree"] += any(not one.agrees for one in found.compared)
    print(f"in order: {10 * seeds} sittings, {off['failed']} failed, {off['disagree']} disagreed")


def told(what: str, count: Counter[str]) -> str:
    covered = f"{count['covered']}/{count['sized']}" if count["sized"] else "–"
    left = f"{count['left']}/{count['causes']}"
    states = [count[name] for name in ("possible", "not-alone", "contradicted")]
    return _LINE.format(what, count["values"], count["named"], *states, covered, left)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
