"""What is installed beside our own code: the locks agree with what is asked for and with each
other, every licence is one that is allowed, the parts list is valid, and an audit that nobody
answered is no clean bill."""

import importlib.util
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]


def _loaded() -> Any:
    spec = importlib.util.spec_from_file_location("supply_chain", ROOT / ".ci/supply_chain.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


chain = _loaded()
PROJECT = chain.PROJECT
LOCKED = chain.pins(chain.LOCK)


def asked(*extras: str) -> list[Requirement]:
    """What the project asks for, with the extras of these extras."""
    of_extras = PROJECT["project"]["optional-dependencies"]
    found = [Requirement(one) for one in PROJECT["project"]["dependencies"]]
    for one in [Requirement(text) for extra in extras for text in of_extras[extra]]:
        found += asked(*one.extras) if one.name == "weighworthy" else [one]
    return found


# Locks


@pytest.mark.parametrize(
    ("lock", "wanted"),
    [
        (chain.LOCK, asked("service", "dev")),
        (chain.IN_CONTAINER, asked("service")),
        (chain.TO_BUILD, [Requirement(one) for one in PROJECT["build-system"]["requires"]]),
    ],
    ids=["all", "container", "build"],
)
def test_every_version_that_is_locked_is_one_that_is_asked_for(
    lock: Path, wanted: list[Requirement]
) -> None:
    """Where it fails: `python .ci/supply_chain.py lock`."""
    found: dict[str, list[Requirement]] = {}
    for text in (one for entries in chain.pins(lock).values() for one in entries):
        pin = Requirement(text.partition(" --hash=")[0])
        found.setdefault(canonicalize_name(pin.name), []).append(pin)
    for one in wanted:
        for pin in found[canonicalize_name(one.name)]:
            (version,) = [specifier.version for specifier in pin.specifier]
            assert one.specifier.contains(version), f"{one} is asked for, {pin} is locked"


def test_what_is_needed_here_is_locked_whole() -> None:
    """All that the installed packages ask for in their turn, too."""
    assert chain.needed(("service", "dev")).keys() - LOCKED.keys() == set()
    assert chain.needed(("service",)).keys() - chain.pins(chain.IN_CONTAINER).keys() == set()


@pytest.mark.parametrize("part", [chain.IN_CONTAINER, chain.TO_BUILD], ids=["container", "build"])
def test_the_parts_of_the_lock_are_of_it(part: Path) -> None:
    """The same versions, and files with the same digests."""
    here = {name: {_unmarked(one) for one in entries} for name, entries in LOCKED.items()}
    for name, entries in chain.pins(part).items():
        assert {_unmarked(one) for one in entries} <= here[name], name


def _unmarked(entry: str) -> tuple[str, ...]:
    # One lock can need for some platforms only what another needs for all.
    words = entry.split()
    return words[0], *(word for word in words if word.startswith("--hash="))


def test_every_file_that_is_installed_has_a_digest() -> None:
    entries = [one for found in LOCKED.values() for one in found]
    assert len(entries) > 100
    assert [one for one in entries if not re.search(r" --hash=sha256:[0-9a-f]{64}\b", one)] == []
    text = (ROOT / ".ci/run").read_text("utf-8")
    assert text.count("--require-hashes --no-deps") == 3
    assert "PIP_CONSTRAINT" in text


def test_constraints_are_requirements_without_digests() -> None:
    listed = [str(one) for one in chain.versions(chain.LOCK)]
    assert [one for one in listed if re.fullmatch(r"flask==3\.[0-9.]+", one)]
    assert [one for one in listed if re.fullmatch(r"numpy==[0-9.]+; python_full_version .+", one)]
    # pip takes neither digests nor extras there.
    assert [one for one in listed if "--hash" in one or "[" in one] == []
    assert len(listed) == sum(map(len, LOCKED.values()))


# Licences


def test_all_licences_are_allowed() -> None:
    needed = chain.needed(chain.TO_RUN)
    assert len(needed) > 40
    stated = {name: chain.licence(part) for name, part in needed.items()}
    refused = {name: said for name, said in stated.items() if not chain.is_allowed(said)}
    assert refused.keys() == chain.EXCEPTIONS.keys(), refused


@pytest.mark.parametrize(
    ("expression", "allowed"),
    [
        ("MIT", True),
        ("MIT AND Zlib", True),
        ("GPL-3.0-only OR MIT", True),
        ("MIT AND GPL-3.0-only", False),
        ("MIT AND (Zlib OR GPL-3.0-only)", False),
        ("GPL-3.0-only", False),
        ("Proprietary", False),
        ("", False),
    ],
)
def test_what_an_expression_allows(expression: str, allowed: bool) -> None:
    """Of AND all must be allowed, of OR one (SPDX 2.3, annex D)."""
    assert chain.is_allowed(expression) is allowed


def test_the_table_of_licences_has_all_that_is_installed() -> None:
    """Where it fails: `python .ci/supply_chain.py licences`. Other platforms need others."""
    kept = chain.LICENCES.read_text("utf-8").splitlines()
    assert [row for row in chain.licence_table().splitlines() if row not in kept] == []
    names = {row.split()[1] for row in kept if row.startswith("| ") and " package " not in row}
    assert names - LOCKED.keys() == set()


# Parts list


def test_the_parts_list_is_valid_and_has_every_part(tmp_path: Path) -> None:
    """Of the lock, which takes a second; `supply_chain.py sbom` makes it of a fresh environment."""
    out = tmp_path / "sbom.json"
    tool = Path(sys.executable).with_name("cyclonedx-py")
    options = ["--sv", chain.SPEC, "--of", "JSON", "--no-validate", "-o", out]
    subprocess.run([tool, "requirements", *options, chain.IN_CONTAINER], check=True, timeout=300)
    text = out.read_text("utf-8")
    validator = JsonStrictValidator(SchemaVersion.from_version(chain.SPEC))
    assert validator.validate_str(text) is None
    names = {canonicalize_name(one["name"]) for one in json.loads(text)["components"]}
    assert names == chain.pins(chain.IN_CONTAINER).keys()
    broken = text.replace('"type": "library"', '"type": "libary"', 1)
    assert validator.validate_str(broken) is not None


# Audit


def report(folder: Path, *parts: dict[str, Any]) -> Path:
    file = folder / "report.json"
    file.write_text(json.dumps({"dependencies": parts, "fixes": []}))
    return file


SOUND = {"name": "alpha", "version": "1.0", "vulns": []}
UNKNOWN = {"name": "beta", "skip_reason": "not found"}
BAD = {"name": "gamma", "version": "2.0", "vulns": [{"id": "KMF-1"}, {"id": "KMF-2"}]}


def test_an_audit_says_what_it_looked_at(tmp_path: Path) -> None:
    assert chain.audit(report(tmp_path, SOUND, SOUND)) == (
        "audit: no known vulnerability in 2 packages"
    )


def test_an_audit_that_nobody_answered_says_so(tmp_path: Path) -> None:
    assert chain.audit(tmp_path / "none").startswith("not run: audit")
    assert chain.audit(report(tmp_path, UNKNOWN)).startswith("not run: audit")
    both = chain.audit(report(tmp_path, SOUND, UNKNOWN)).splitlines()
    assert both[0].endswith("in 1 packages")
    assert both[1].startswith("not run: audit")
    assert "1 of 2" in both[1]


def test_a_known_vulnerability_is_a_failure(tmp_path: Path) -> None:
    with pytest.raises(SystemExit, match=r"gamma 2\.0: KMF-1, KMF-2"):
        chain.audit(report(tmp_path, SOUND, UNKNOWN, BAD))
