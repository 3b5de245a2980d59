"""How plans are told to people: a table, and the reasons below it."""

from collections.abc import Iterator, Mapping
from decimal import ROUND_HALF_EVEN, Context, Decimal
from typing import Any

from weighworthy.cli_words import amount, limits, share, table
from weighworthy.plans import Plan

Row = Mapping[str, Any]
_FIGURES = Context(prec=4, rounding=ROUND_HALF_EVEN)
_RATIO = Context(prec=3, rounding=ROUND_HALF_EVEN)


def loss_told(plan: Plan) -> Iterator[str]:
    """Options by rank, then those that fall short, then what was left out."""
    tolerance, window = plan["tolerance"], plan["start_window"]
    wanted = plan["wanted_loss"]
    target, allowance = _short(window["target"], "g"), _short(window["allowance"], "g")
    facts = [
        limits(tolerance["lower_limit"], tolerance["upper_limit"], "%"),
        tolerance["decision_rule"],
        f"start {target} ± {allowance}",
        "any loss" if wanted is None else f"wanted loss {_short(wanted, '%')}",
    ]
    yield f"Simulated loss: {', '.join(facts)}\n"
    rows = [*plan["options"], *plan["misses"]]
    if rows:
        headings = (
            "rank", "put on", "lift off", "loss", "U", "ratio", "good fails", "at limit passes",
            "zero change from",
        )  # fmt: skip
        yield table(headings, map(_loss_row, rows))
    for option in plan["options"]:
        yield f"\n{option['rank']}. {' '.join(option['because'])}"
    for miss in plan["misses"]:
        yield f"\n– {_load(miss['put_on'])}, lift off {_load(miss['lift_off'])}, falls short: "
        yield from (f"  {why}" for why in miss["short_of"])
    yield ""
    yield from plan.because
    search = plan["search"]
    yield (
        f"\nLooked at {search['combinations']} combinations of {search['weights']} weights, "
        f"reckoned {search['evaluated']} budgets and the chances of {search['judged']}. Left out:"
    )
    yield from (f"  {one}" for one in search["left_out"])


def _loss_row(option: Row) -> tuple[str, ...]:
    shows = next(line for line in option["reveals"] if line["fault"] == "zero-change")
    rejection, at_limit = option["false_rejection"], option["false_acceptance_at_limit"]
    return (
        "–" if option["rank"] is None else str(option["rank"]),
        _load(option["put_on"]),
        _load(option["lift_off"]),
        _short(option["expected_loss"], "%"),
        amount(option["expanded_uncertainty"], "%"),
        _ratio(option["tolerance_to_uncertainty"]),
        "–" if rejection is None else share(rejection["all_sets"]),
        "–" if at_limit is None else share(at_limit["all_sets"]),
        _short(shows["smallest"], "g"),
    )


def tolerance_told(plan: Plan) -> Iterator[str]:
    """A row for each criterion and load, then why, then the classes of weights."""
    ratio, rejection = _ratio(plan["ratio"]), share(plan["false_rejection_at_most"])
    yield (
        f"Tightest honest tolerances: at least {ratio} times U, good balances rejected at most "
        f"{rejection}, weights at most {share(plan['weights_share'])} of it\n"
    )
    headings = (
        "criterion", "weights", "tolerance", "limited by", "U", "good fails", "wanted",
        "weights to buy",
    )  # fmt: skip
    yield table(headings, map(_tolerance_row, plan["tolerances"]))
    for row in plan["tolerances"]:
        yield f"\n{row['criterion']} {_load(row['put_on'])}".rstrip()
        yield from (f"  {line}" for line in (*row["because"], row["buy_because"]))
        unit = row["unit"]
        classes = [f"{c['weight_class']} {_short(c['within'], unit)}" for c in row["classes"]]
        if classes:
            yield f"  by class: {', '.join(classes)}"
        yield from (f"  never counts: {why}" for why in row["void_by"])
    yield ""
    yield from plan.because


def _tolerance_row(row: Row) -> tuple[str, ...]:
    unit, wanted, rejection = row["unit"], row["wanted"], row["false_rejection"]
    honest = {True: "honest", False: "NOT honest", None: ""}[row["wanted_is_honest"]]
    return (
        row["criterion"],
        _load(row["put_on"]),
        "none" if row["within"] is None else f"±{_short(row['within'], unit)}",
        row["limited_by"] or "–",
        amount(row["expanded_uncertainty"], unit),
        "–" if rejection is None else share(rejection["all_sets"]),
        "–" if wanted is None else f"±{_short(wanted, unit)} {honest}",
        row["buy"] or "–",
    )


def sample_told(plan: Plan) -> Iterator[str]:
    """The three masses, then what stands behind the first."""
    found = plan["smallest_sample"]
    heated = "hot" if plan["heating"] else "cold"
    yield (
        f"Smallest sample: loss {_short(plan['loss'], '%')} ({plan['basis']} basis, {heated} run), "
        f"U of a result {_short(plan['target_uncertainty'], '%')}, of which the balance may take "
        f"{_short(plan['allowed_uncertainty'], '%')}\n"
    )
    rows = [("moisture result", _up(found["smallest_mass"]), found["source"])]
    rows += [(o["title"], _up(o["smallest_mass"]), o["source"]) for o in plan["other_minima"]]
    least = plan["weigh_at_least"]
    rows.append(("weigh at least", _up(least), "the largest of these"))
    yield table(("what", "mass", "by"), rows)
    for one in (found, *plan["other_minima"]):
        yield f"\n{one.get('title', 'Moisture result')}"
        yield from (f"  {line}" for line in one["because"])
    if plan["at_masses"]:
        yield ""
        yield table(
            ("sample", "U of the balance", "share of the target"),
            (
                (
                    _short(row["sample_mass"], "g"),
                    _short(row["expanded_uncertainty"], "%"),
                    share(row["share"]),
                )
                for row in plan["at_masses"]
            ),
        )
    yield ""
    yield from plan.because


def product_told(plan: Plan) -> Iterator[str]:
    """The limits, the weights, the reasons, and what no check sees."""
    state = "" if plan["attainable"] else ": NOT attainable"
    yield (
        f"Product at {_short(plan['typical'], '%')}, sample {_short(plan['sample_mass'], 'g')}: "
        f"the balance may take {_short(plan['allowed'], '%')}{state}\n"
    )
    headings = ("check", "criterion", "weights", "limit", "tightest", "U", "costs at most")
    yield table(headings, (_limit_row(plan, row) for row in plan["limits"]))
    if plan["attainable"]:
        worst, whole = plan["worst_error"], plan["worst_with_own_uncertainty"]
        yield (
            f"\nWorst case {_short(worst, '%')}, with the balance's own scatter "
            f"{_short(whole, '%')} of {_short(plan['allowed'], '%')}."
        )
    else:
        needed = plan["sample_mass_needed"]
        would = "no sample up to the capacity would do"
        if needed is not None:
            would = f"a sample of {_short(needed, 'g')} would do"
        yield f"\nThe tightest limits keep {_short(plan['smallest_allowed'], '%')}; {would}."
    yield "\nWhy:"
    yield from (f"  {line}" for line in plan.because)
    yield "\nWhat none of these checks sees:"
    yield from (f"  {line}" for line in plan["cannot_see"])


def _limit_row(plan: Plan, row: Row) -> tuple[str, ...]:
    unit, loads = row["unit"], plan["loads"][row["check"]]
    if isinstance(loads, Mapping):
        weights = f"{_load(loads['put_on'])}, lift off {_load(loads['lift_off'])}"
    elif loads and not isinstance(loads[0], str):
        weights = ", ".join(_load(point) for point in loads)
    else:
        weights = _load(loads)
    return (
        row["check"],
        row["criterion"],
        weights,
        "–" if row["within"] is None else f"±{_short(row['within'], unit)}",
        f"±{_short(row['tightest'], unit)}",
        amount(row["expanded_uncertainty"], unit),
        "–" if row["costs"] is None else _short(row["costs"], "%"),
    )


def _load(names: Any) -> str:
    return " + ".join(names) or "–"


def _short(value: Decimal | None, unit: str) -> str:
    return "–" if value is None else amount(_FIGURES.plus(value), unit)


def _up(mass: Decimal | None) -> str:
    return "none" if mass is None else _short(mass, "g")


def _ratio(value: Decimal | None) -> str:
    return amount(None if value is None else _RATIO.plus(value), "")
