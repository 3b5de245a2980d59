"""The inner layers know nothing of the outer ones, not even by way of a package they lie in."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from weighworthy_service.checks.registry import KINDS

SERVICE = Path(__file__).parents[2] / "service"
WEB = {"flask", "werkzeug", "gunicorn", "apispec"}
FORMS = {"marshmallow"}


def modules_below(*packages: str) -> list[str]:
    return sorted(
        ".".join(path.relative_to(SERVICE).with_suffix("").parts)
        for package in packages
        for path in (SERVICE / "weighworthy_service" / package).rglob("*.py")
        if path.name != "__init__.py"
    )


def loaded_by(modules: list[str]) -> set[str]:
    """Top-level names of everything that a fresh interpreter has loaded after the imports."""
    code = (
        "import importlib, json, sys\n"
        f"for name in {modules!r}: importlib.import_module(name)\n"
        "print(json.dumps(sorted({name.partition('.')[0] for name in sys.modules})))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    )
    return set(json.loads(done.stdout))


def test_metrology_and_evaluations_need_neither_forms_nor_web() -> None:
    evaluating = [
        name
        for name in modules_below("checks")
        if not name.endswith((".schema", ".request", ".kind", ".registry", ".card"))
    ]
    assert len([name for name in evaluating if name.endswith(".evaluation")]) >= 3
    loaded = loaded_by([*modules_below("metrology"), *evaluating])
    assert not loaded & (WEB | FORMS)


def test_forms_and_profiles_need_no_web() -> None:
    loaded = loaded_by(modules_below("wire", "checks", "profiles", "evidence"))
    assert "marshmallow" in loaded
    assert not loaded & WEB


def test_import_of_the_client_loads_no_service() -> None:
    loaded = loaded_by(["weighworthy"])
    assert not loaded & (WEB | FORMS | {"weighworthy_service", "scipy", "numpy"})


@pytest.mark.parametrize(
    "package", ["", "metrology", "checks", "wire", "profiles", "evidence", "web"]
)
def test_packages_say_nothing_by_themselves(package: str) -> None:
    assert (SERVICE / "weighworthy_service" / package / "__init__.py").read_text() == ""


def test_adding_a_kind_needs_its_folder_and_one_entry() -> None:
    """Outside its folder, the name of a kind's folder stands in the registry alone."""
    root = SERVICE / "weighworthy_service"
    kinds = [path.parent.name for path in root.glob("checks/*/evaluation.py")]
    assert sorted(kinds) == sorted(kind.package.rpartition(".")[2] for kind in KINDS)
    for kind in kinds:
        naming = {
            path.relative_to(root).as_posix()
            for path in root.rglob("*.py")
            if f"checks.{kind}" in path.read_text("utf-8") and path.parent.name != kind
        }
        assert naming == {"checks/registry.py"}
