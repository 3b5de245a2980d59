"""What a script does not use is not loaded: it would wait for it."""

import ast
import importlib
import json
import subprocess
import sys
from pathlib import Path

import pytest

import weighworthy

# What a script waits for longest.
HEAVY = {"requests", "urllib3", "openpyxl", "numpy", "scipy", "flask", "weighworthy_service"}

NOT_OF_A_CHECK = (
    *("tables", "many", "mapping_drafts", "workbook", "profiles", "profile_files", "certificates"),
    *("logbook", "records", "reports", "plans", "embedded"),
)


def loaded_by(code: str) -> set[str]:
    """Names of all modules of a fresh interpreter that has run this code."""
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport json, sys; print(json.dumps([*sys.modules]))"],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return set(json.loads(done.stdout))


def statically_known() -> dict[str, str]:
    """Names that editors and type checkers see, with the module that each comes from."""
    return {
        alias.name: node.module
        for node in ast.walk(ast.parse(Path(weighworthy.__file__).read_text("utf-8")))
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("weighworthy.")
        for alias in node.names
    }


def test_the_package_by_itself_loads_next_to_nothing() -> None:
    loaded = loaded_by("import weighworthy")
    assert not loaded & HEAVY
    assert {name for name in loaded if name.startswith("weighworthy.")} == {
        "weighworthy._version",
        "weighworthy.errors",
    }


@pytest.mark.parametrize("module", ["weighworthy.client", "weighworthy.cli_check"])
def test_a_check_loads_nothing_of_tables_profiles_and_books(module: str) -> None:
    loaded = loaded_by(f"import {module}; from weighworthy import Client")
    assert "requests" in loaded
    assert not loaded & {f"weighworthy.{name}" for name in NOT_OF_A_CHECK}


def test_every_name_is_what_its_module_has() -> None:
    known = statically_known()
    assert known.keys() == {*weighworthy.__all__}
    for name, module in known.items():
        assert getattr(weighworthy, name) is getattr(importlib.import_module(module), name)
    assert {*weighworthy.__all__} <= {*dir(weighworthy)}


def test_modules_of_names_are_there_after_the_package() -> None:
    """As they were while the package loaded all of them at once."""
    code = "import weighworthy; assert weighworthy.tables.TableSummary is weighworthy.TableSummary"
    assert "weighworthy.tables" in loaded_by(code)


def test_what_is_not_there_is_said_as_python_does() -> None:
    with pytest.raises(AttributeError, match="module 'weighworthy' has no attribute 'span'"):
        _ = weighworthy.span
    with pytest.raises(ImportError, match="cannot import name 'span' from 'weighworthy'"):
        from weighworthy import span  # noqa: F401
