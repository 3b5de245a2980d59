"""The morning round of an invented laboratory: checks in, verdicts out.

    python examples/morning_checks.py [--gate] [CHECKS.json [SITE.toml]]

Uses the service inside this process, or the one at WEIGHWORTHY_URL (key: WEIGHWORTHY_API_KEY).
Exit code 0 when all checks were evaluated, 2 when one was refused; with --gate, for scripts that
lock balances, 1 when a verdict does not let its balance be used.
"""

import json
import os
import sys
from pathlib import Path

from weighworthy import Answer, Client, Criterion, ProblemError

HERE = Path(__file__).parent / "kestrel"

# A word always goes with its shape; colour is nowhere needed.
SHAPES = {
    "pass": "● pass",
    "conditional-pass": "◐ conditional pass",
    "conditional-fail": "◑ conditional fail",
    "fail": "■ fail",
    "void": "○ void",
    None: "– not judged",
}
STRIP = 41  # characters of the tolerance strip, which is 1.6 times as wide as the tolerance


def main(gate: bool, checks_file: Path, site_file: Path) -> int:
    checks = json.loads(checks_file.read_text("utf-8"))
    refused = unusable = 0
    with client(site_file) as service:
        for check in checks:
            heading = f"{check['instrument']}  {check['check']}, {check.get('occasion', 'routine')}"
            try:
                answer = service.evaluate(check["check"], check)
            except ProblemError as problem:
                print(f"\n{heading}\n  ✕ refused\n{problem}")
                refused += 1
                continue
            report(heading, check, answer)
            unusable += not answer.usable
    print(f"\n{len(checks)} checks: {unusable} do not let their balance be used, {refused} refused")
    print("\n" + CAUTIONS)
    return 2 if refused else int(gate and unusable > 0)


def client(site_file: Path) -> Client:
    url = os.environ.get("WEIGHWORTHY_URL")
    if url is None:
        return Client.embedded(defaults=site_file)
    return Client(url, api_key=os.environ.get("WEIGHWORTHY_API_KEY"), defaults=site_file)


def report(heading: str, check: dict, answer: Answer) -> None:
    use = {True: "use allowed", False: "use NOT allowed", None: "nothing said of use"}
    print(f"\n{heading}   {check['performed_at']}, {check['performed_by']}")
    line = f"  {SHAPES[answer.verdict]}: {use[answer.usable]}"
    if answer.verdict_as_found != answer.verdict:
        line += f"   (as found: {SHAPES[answer.verdict_as_found]})"
    if answer.verdict == "void" and answer.verdict_if_valid is not None:
        line += f"   (validly done it would be: {SHAPES[answer.verdict_if_valid]})"
    print(line)
    for criterion in answer.criteria:
        if criterion.verdict is not None:
            print(f"    {criterion.key:<25}{strip(criterion)}  {figures(criterion)}")
    for finding in answer.findings:
        if finding.severity != "note":
            print(f"    {finding.severity}: {finding.message}")


def strip(criterion: Criterion) -> str:
    """Limits as bars, the value as a dot, its expanded uncertainty as a double line."""
    lower, upper = criterion.lower_limit, criterion.upper_limit
    if lower is None or upper is None:
        return " " * STRIP
    middle, half = (lower + upper) / 2, (upper - lower) / 2

    def column(value) -> int:
        place = round((1 + float((value - middle) / half) / 1.6) * (STRIP - 1) / 2)
        return min(max(place, 0), STRIP - 1)

    cells = ["·"] * STRIP
    uncertainty = criterion.expanded_uncertainty
    for i in range(
        column(criterion.value - uncertainty), column(criterion.value + uncertainty) + 1
    ):
        cells[i] = "═"
    cells[column(lower)] = cells[column(upper)] = "│"
    cells[column(criterion.value)] = "◆"
    return "".join(cells)


def figures(criterion: Criterion) -> str:
    factor, unit = (1000, "mg") if criterion.unit == "g" else (1, "%")
    numbers = [
        f"{n * factor:.3f}".rstrip("0").rstrip(".")
        for n in (
            criterion.value,
            criterion.expanded_uncertainty,
            criterion.lower_limit,
            criterion.upper_limit,
        )
    ]
    value, uncertainty, lower, upper = numbers
    return f"{value} {unit} ± {uncertainty}, limits {lower} to {upper}: {criterion.verdict}"


CAUTIONS = """Chamber and pan are hot after a run: let them cool and use tweezers. A routine check
does not replace calibration; where weighing is regulated, local rules and the responsible person
decide. (Kestrel Mill Foods, its balances, weights and limits are invented.)"""


if __name__ == "__main__":
    # A redirected Windows console would otherwise refuse the shapes.
    sys.stdout.reconfigure(encoding="utf-8")
    given = [Path(argument) for argument in sys.argv[1:] if argument != "--gate"]
    files = [*given, *[HERE / "monday.json", HERE / "site.toml"][len(given) :]]
    sys.exit(main("--gate" in sys.argv, *files))
