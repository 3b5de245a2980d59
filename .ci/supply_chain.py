"""What is installed beside our own code: settled to the byte, known by name, held to what we allow.

`python .ci/supply_chain.py lock` writes the versions anew that CI and the container install, with
the digests of their files; `sbom [FILE]` the parts list (CycloneDX 1.6) of a fresh environment of
the service; `licences` the table of `service/deploy/licences.md`; `audit` asks the advisory service
of the package index for known vulnerabilities, and says so where it gets no answer.
"""

import argparse
import json
import re
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from importlib.metadata import Distribution, distribution
from pathlib import Path
from typing import Final

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT: Final = Path(__file__).parents[1]
# The one truth; the other two are parts of it.
LOCK: Final = ROOT / ".ci/lock.txt"
IN_CONTAINER: Final = ROOT / "service/deploy/container/lock.txt"
TO_BUILD: Final = ROOT / "service/deploy/container/build.txt"
LICENCES: Final = ROOT / "service/deploy/licences.md"
PROJECT: Final = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
# What somebody who runs the service may install; the rest is for those who change it.
TO_RUN: Final = tuple(PROJECT["project"]["optional-dependencies"].keys() - {"dev", "supply"})
SPEC: Final = "1.6"

# Licences under which a part may be of the service, by their SPDX identifiers.
ALLOWED: Final = frozenset(
    {"0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "MIT", "MIT-CMU"}
    | {"MIT-0", "MPL-2.0", "PSF-2.0", "Zlib", "BSD (clauses not stated)"}
)
# As packages write it that state no identifier.
_WORDS: Final = {
    "3-Clause BSD License": "BSD-3-Clause",
    "Apache Software License": "Apache-2.0",
    "BSD License": "BSD (clauses not stated)",
    "GNU General Public License v2 or later (GPLv2+)": "GPL-2.0-or-later",
    "GNU Lesser General Public License v2 or later (LGPLv2+)": "LGPL-2.0-or-later",
    "MIT License": "MIT",
    "Mozilla Public License 1.1 (MPL 1.1)": "MPL-1.1",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "PSFL": "PSF-2.0",
    "Python Software Foundation License": "PSF-2.0",
}
# Parts that are under another one, each with the reason why that is all the same.
EXCEPTIONS: Final = {
    "pyphen": "three to choose from, as its classifiers have it; imported unchanged, for PDF only",
}


def pins(lock: Path) -> dict[str, set[str]]:
    """What a lock holds: by name, each version with its marker and the digests of its files."""
    found: dict[str, set[str]] = {}
    for entry in lock.read_text("utf-8").replace("\\\n", " ").splitlines():
        if entry and not entry.startswith("#"):
            name = canonicalize_name(Requirement(entry.partition(" --hash=")[0]).name)
            found.setdefault(name, set()).add(" ".join(entry.split()))
    return found


def versions(lock: Path) -> Iterator[Requirement]:
    """The requirements of a lock without the digests, as a file of constraints takes them."""
    for entries in pins(lock).values():
        for entry in sorted(entries):
            yield Requirement(entry.partition(" --hash=")[0])


def needed(extras: tuple[str, ...]) -> dict[str, Distribution]:
    """What this environment has for these extras of ours, without ourselves."""
    found: dict[str, Distribution] = {}
    asked = [("weighworthy", frozenset(extras))]
    seen: set[tuple[str, frozenset[str]]] = set()
    while asked:
        name, wanted = this = asked.pop()
        if this in seen:
            continue
        seen.add(this)
        found[name] = distribution(name)
        for text in found[name].requires or ():
            one = Requirement(text)
            here = [one.marker is None or one.marker.evaluate({"extra": e}) for e in (*wanted, "")]
            if any(here):
                asked.append((canonicalize_name(one.name), frozenset(one.extras)))
    del found["weighworthy"]
    return found


def licence(part: Distribution) -> str:
    """What a package says of its licence, in identifiers where it can be put so."""
    stated = part.metadata.get("License-Expression")
    if stated:
        return stated
    text = part.metadata.get("License") or ""
    classes = part.metadata.get_all("Classifier") or []
    listed = [one.rpartition(" :: ")[2] for one in classes if one.startswith("License :: ")]
    if text in ALLOWED | _WORDS.keys() or not listed:
        listed = [text]
    return " OR ".join(_WORDS.get(one, one) for one in listed)


def is_allowed(expression: str) -> bool:
    """Whether one of the alternatives has nothing that is not allowed. What has parentheses is not
    understood here, and so is not."""
    every = (re.split(" AND ", one) for one in expression.split(" OR "))
    return any(ALLOWED.issuperset(parts) for parts in every)


def licence_table() -> str:
    """The page of licences."""
    lines = [
        "# Licences of what comes with the service\n",
        "As the packages state them, of all that `weighworthy["
        + ",".join(sorted(TO_RUN))
        + "]` installs;",
        "written by `python .ci/supply_chain.py licences`, which also has the list of what is",
        "allowed. Packages can hold parts under other licences; their own files tell.\n",
        "| package | licence | |",
        "|---|---|---|",
    ]
    for name, part in sorted(needed(TO_RUN).items()):
        lines.append(f"| {name} | {licence(part)} | {EXCEPTIONS.get(name, '')} |")
    return "\n".join(lines) + "\n"


def _tool(name: str, *arguments: str | Path) -> None:
    program = Path(sys.executable).with_name(name)
    subprocess.run([program, *arguments], check=True, cwd=ROOT)


def lock() -> None:
    """Write the three locks anew."""
    again = ("--custom-compile-command", "python .ci/supply_chain.py lock")
    usual = ("--universal", "--python-version", "3.11", "--generate-hashes", "--no-annotate")
    compiled = ("pip", "compile", "--quiet", "--strip-extras", *usual, *again)
    with tempfile.TemporaryDirectory() as folder:
        build = Path(folder) / "build.in"
        stated = PROJECT["build-system"]
        # The second for editable installation.
        build.write_text("\n".join([*stated["requires"], "editables"]), "utf-8")
        extras = ("--extra", "service", "--extra", "dev")
        _tool("uv", *compiled, "--upgrade", *extras, "pyproject.toml", build, "-o", LOCK)
        part = (*compiled, "--constraints", LOCK)
        _tool("uv", *part, "--extra", "service", "pyproject.toml", "-o", IN_CONTAINER)
        _tool("uv", *part, build, "-o", TO_BUILD)


def sbom(out: Path) -> int:
    """Write the parts list of a fresh environment, valid against the published schema; how many
    parts it has."""
    with tempfile.TemporaryDirectory() as folder:
        fresh = Path(folder) / "fresh"
        _tool("uv", "venv", "--quiet", fresh)
        install = ("pip", "install", "--quiet", "--no-deps", "--python", fresh)
        _tool("uv", *install, "--require-hashes", "-r", IN_CONTAINER)
        _tool("uv", *install, "--build-constraints", TO_BUILD, ".")
        as_file = ("--sv", SPEC, "--output-reproducible", "--of", "JSON", "-o", out)
        _tool("cyclonedx-py", "environment", *as_file, "--pyproject", "pyproject.toml", fresh)
    names = [one["name"] for one in json.loads(out.read_text("utf-8"))["components"]]
    others = {canonicalize_name(one) for one in names} - pins(IN_CONTAINER).keys()
    if others - {"weighworthy"}:
        raise SystemExit(f"more is installed than is locked: {', '.join(sorted(others))}")
    return len(names)


def audit(report: Path) -> str:
    """What an audit has to say, from its report.

    Raises:
        SystemExit: there is a known vulnerability.
    """
    try:
        parts = json.loads(report.read_text("utf-8"))["dependencies"]
    except (OSError, ValueError):
        return "not run: audit (the advisory service could not be reached)"
    bad = [
        f"{part['name']} {part['version']}: {', '.join(one['id'] for one in part['vulns'])}"
        for part in parts
        if part.get("vulns")
    ]
    if bad:
        raise SystemExit("known vulnerabilities:\n" + "\n".join(bad))
    # The tool calls it no known vulnerability where nothing is known of a package at all.
    unknown = [part["name"] for part in parts if "skip_reason" in part]
    told = f"audit: no known vulnerability in {len(parts) - len(unknown)} packages"
    if unknown:
        why = f"the advisory service knows nothing of {len(unknown)} of {len(parts)} packages"
        told = (
            f"{told}\nnot run: audit ({why})"
            if len(unknown) < len(parts)
            else (f"not run: audit ({why})")
        )
    return told


def _audit() -> str:
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        asked = (
            "--require-hashes",
            "--disable-pip",
            "--timeout",
            "10",
            "--progress-spinner",
            "off",
        )
        program = Path(sys.executable).with_name("pip-audit")
        command = [program, *asked, "-r", IN_CONTAINER, "-f", "json", "-o", report]
        done = subprocess.run(command, check=False, capture_output=True, text=True, cwd=ROOT)
        if not report.exists() and not re.search("connect|timed out|HTTP", done.stderr, re.I):
            raise SystemExit(f"the audit failed: {done.stderr}")
        return audit(report)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    steps = parser.add_subparsers(dest="step", required=True)
    for name in ("lock", "versions", "licences", "audit"):
        steps.add_parser(name)
    steps.add_parser("sbom").add_argument("out", nargs="?", type=Path, default="sbom.cdx.json")
    asked = parser.parse_args()
    if asked.step == "lock":
        lock()
    elif asked.step == "versions":
        print("\n".join(map(str, versions(LOCK))))
    elif asked.step == "licences":
        LICENCES.write_text(licence_table(), "utf-8")
    elif asked.step == "audit":
        print(_audit())
    else:
        print(f"{asked.out}: {sbom(asked.out)} parts, CycloneDX {SPEC}, valid")


if __name__ == "__main__":
    main()
