"""Tighten a limit for a whole invented organisation, and see first what it would have changed.

    python examples/roll_out.py [--write FOLDER]

The common limit of a simulated loss goes from 0.04 % to 0.03 % in a new revision of the base
profile, and the sites' profiles build on that one. For each site the new profile is reviewed and
compared with the old one, balance by balance, and a month of past checks is judged under both.
--write puts the new profiles into a folder. Exit code 1 when a new profile has an error.

Uses the service inside this process, or the one at WEIGHWORTHY_URL (key: WEIGHWORTHY_API_KEY).
"""

import json
import os
import sys
import tomllib
from collections import Counter
from pathlib import Path

from weighworthy import Client, Comparison, Review, load_profile, write_profile

HERE = Path(__file__).parent / "organisation"
OLD, NEW = {"within": "0.04 %"}, {"within": "0.03 %"}
REVISION, FROM = "2026-04", "2026-04-13"
# The profile each site is judged by; the valley has none of its own.
PROFILES = {"harbour": "harbour", "valley": "base", "ridge": "ridge"}

# A word always goes with its shape; colour is nowhere needed.
SHAPES = {
    "pass": "● pass",
    "conditional-pass": "◐ conditional pass",
    "conditional-fail": "◑ conditional fail",
    "fail": "■ fail",
    "void": "○ void",
    None: "– not judged",
}


def main(folder: Path | None) -> int:
    with (HERE / "site.toml").open("rb") as file:
        instruments = tomllib.load(file)["instruments"]
    with (HERE / "past_checks.ndjson").open(encoding="utf-8") as file:
        past = [json.loads(line) for line in file]
    print(f"Limit of a simulated loss in kmf-base: {OLD['within']} -> {NEW['within']}")
    differ, new_profiles = 0, {}
    with client() as service:
        for site, name in PROFILES.items():
            old = load_profile(HERE / f"tolerances/{name}.toml")
            new = new_profiles[name] = tightened(old)
            ids = [i for i, instrument in instruments.items() if instrument["site"] == site]
            checks = [check for check in past if check["instrument"] in ids]
            review = service.profiles.review(new, instruments=ids, loads=loads(site))
            print_review(f"{site}: {old['id']}@{old['revision']} -> {REVISION}", review)
            if not review.usable:
                return 1
            comparison = service.profiles.compare(old, new, instruments=ids, requests=checks)
            print_limits(comparison, review)
            print_verdicts(comparison, checks)
            differ += int(comparison.verdicts["changed"])
    print(f"\n{len(past)} past checks of all sites, {differ} would have come out differently.")
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        for name, new in new_profiles.items():
            write_profile(naming_parent(new), folder / f"{name}.toml")
        print(f"Written to {folder}: {', '.join(f'{name}.toml' for name in new_profiles)}")
    print("(Kestrel Mill Foods, its balances, limits and checks are invented.)")
    return 0


def client() -> Client:
    url, site = os.environ.get("WEIGHWORTHY_URL"), HERE / "site.toml"
    if url is None:
        return Client.embedded(defaults=site)
    return Client(url, api_key=os.environ.get("WEIGHWORTHY_API_KEY"), defaults=site)


def tightened(profile: dict) -> dict:
    """A new revision of the profile, with the new limit wherever the base has the old one."""
    new = {**profile, "revision": REVISION, "effective_from": FROM}
    if "extends" in profile:
        return {**new, "extends": tightened(profile["extends"])}
    return {**new, "rules": [with_new_limit(rule) for rule in profile["rules"]]}


def with_new_limit(rule: dict) -> dict:
    limits = rule.get("limits", {})
    if limits.get("loss_error") != OLD:
        return rule
    return {**rule, "limits": {**limits, "loss_error": NEW}}


def naming_parent(profile: dict) -> dict:
    """For a folder of profiles: the parent by name, because it has a file of its own there."""
    parent = profile.get("extends")
    return profile if parent is None else {**profile, "extends": f"{parent['id']}@{REVISION}"}


def loads(site: str) -> dict:
    """Each site has its own set of weights: H2, H10, …"""
    two, ten, twenty = (site[0].upper() + nominal for nominal in ("2", "10", "20"))
    return {
        "span": [[twenty]],
        "linearity": [[two], [ten], [twenty], [twenty, ten]],
        "simulated-loss": {"initial": [ten, two], "final": [ten]},
    }


def print_review(heading: str, review: Review) -> None:
    found = Counter(remark.severity for remark in (*review.errors, *review.remarks))
    word = "● usable" if review.usable else "■ NOT usable"
    print(f"\n{heading}   {word}: {found['error']} errors, {found['warning']} warnings")
    for remark in (*review.errors, *review.remarks):
        if remark.severity == "error":
            print(f"  {remark.place.pointer}: {remark.message}")


def print_limits(comparison: Comparison, review: Review) -> None:
    """What became of each balance's limit of a loss, and how it suits the balance."""
    changes = {
        row["instrument"]: row for row in comparison.settings if row["name"] == "limits.loss_error"
    }
    for row in review.judgement:
        if row["criterion"] != "loss_error":
            continue
        change = changes[row["instrument"]]
        by = f" by {change['by']}" if change["by"] else ""
        a_year = float(row["false_failures_a_year"]["at_least_one"])
        print(
            f"  {row['instrument']}  {change['change']}{by}: now {row['upper_limit']} %, "
            f"{row['tolerance_to_uncertainty']:.2g} times its uncertainty; "
            f"a false failure in a year: {a_year:.1%}"
        )


def print_verdicts(comparison: Comparison, checks: list[dict]) -> None:
    verdicts = comparison.verdicts
    print(f"  {verdicts['requests']} past checks, {verdicts['changed']} would differ")
    changes: dict[tuple, Counter] = {}
    for row in verdicts["changes"]:
        counter = changes.setdefault((row["before"], row["after"]), Counter())
        counter[checks[int(row["index"])]["instrument"]] += 1
    for (before, after), counter in changes.items():
        which = ", ".join(f"{name} {count}" for name, count in sorted(counter.items()))
        print(f"    {SHAPES[before]} -> {SHAPES[after]}: {counter.total()}   ({which})")
    for row in verdicts["refusals"]:
        print(f"    ✕ not judged: {checks[int(row['index'])]['instrument']} {row['errors']}")


if __name__ == "__main__":
    # A redirected Windows console would otherwise refuse the shapes.
    sys.stdout.reconfigure(encoding="utf-8")
    given = sys.argv[1:]
    if given and (given[0] != "--write" or len(given) != 2):
        sys.exit(f"not understood: {' '.join(given)}\n\n{__doc__}")
    sys.exit(main(Path(given[1]) if given else None))
