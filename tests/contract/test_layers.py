"""The inner layers know nothing of the outer ones, not even by way of a package they lie in."""

import json
import subprocess
import sys
from copy import deepcopy
from pathlib import Path
from typing import Any

import grimp
import pytest

from weighworthy_service.checks.registry import KINDS

SERVICE = Path(__file__).parents[2] / "service"
CHECKS = "weighworthy_service.checks"
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
    loaded = loaded_by(modules_below("wire", "checks", "profiles", "plans", "evidence"))
    assert "marshmallow" in loaded
    assert not loaded & WEB


def test_import_of_the_client_loads_no_service() -> None:
    loaded = loaded_by(["weighworthy"])
    assert not loaded & (WEB | FORMS | {"weighworthy_service", "scipy", "numpy"})


@pytest.mark.parametrize(
    "package", ["", "metrology", "checks", "wire", "profiles", "plans", "evidence", "web"]
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


@pytest.fixture(scope="module")
def imports() -> Any:
    return grimp.build_graph("weighworthy_service")


def out_of_order(graph: Any) -> set[tuple[str, str]]:
    """Which folder of a kind is imported from below, or imports another or what is above it."""
    children = {name.rpartition(".")[2] for name in graph.find_children(CHECKS)}
    kinds = {name for name in children if f"{CHECKS}.{name}.evaluation" in graph.modules}
    above = ({"registry"}, {"kind"})
    below = grimp.Layer(*children.difference(kinds, *above), independent=False)
    layers = (*above, kinds, below)
    found = graph.find_illegal_dependencies_for_layers(layers=layers, containers={CHECKS})
    return {(one.importer, one.imported) for one in found}


def test_kinds_stand_between_the_registry_and_what_all_share(imports: Any) -> None:
    assert not out_of_order(imports)


@pytest.mark.parametrize(
    ("importer", "imported"),
    [
        ("creep.check", "span.check"),
        ("span.check", "creep.check"),
        ("judging", "creep.check"),
        ("creep.check", "kind"),
        ("creep.check", "registry"),
    ],
)
def test_a_new_kind_is_held_to_it_without_an_entry(
    importer: str, imported: str, imports: Any
) -> None:
    """With the invented folder `creep`, whose evaluation makes it a kind."""
    graph = deepcopy(imports)
    for name in ("creep", "creep.check", "creep.evaluation"):
        graph.add_module(f"{CHECKS}.{name}")
    assert not out_of_order(graph)
    graph.add_import(importer=f"{CHECKS}.{importer}", imported=f"{CHECKS}.{imported}")
    folders = tuple(f"{CHECKS}.{name.partition('.')[0]}" for name in (importer, imported))
    assert out_of_order(graph) == {folders}
