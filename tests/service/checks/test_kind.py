"""What a kind of check says of itself in modules of its folder."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import BY_SLUG


@pytest.fixture
def kind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Kind:
    folder = tmp_path / "kind_with_parts"
    folder.mkdir()
    (folder / "__init__.py").touch()
    (folder / "card.py").write_text("TITLE = 'what the kind says'\n", "utf-8")
    (folder / "pages.py").write_text("import no_such_module_anywhere\n", "utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    for name in [name for name in sys.modules if name.startswith("kind_with_parts")]:
        monkeypatch.delitem(sys.modules, name)
    return replace(BY_SLUG["span"], package="kind_with_parts")


def test_a_part_is_a_module_of_the_folder(kind: Kind) -> None:
    part = kind.part("card")
    assert part is not None
    assert part.TITLE == "what the kind says"
    assert kind.part("card") is part


def test_a_kind_need_not_have_a_part(kind: Kind) -> None:
    assert kind.part("columns") is None
    assert kind.explain is None


def test_a_part_that_lacks_what_it_imports_is_not_absent(kind: Kind) -> None:
    with pytest.raises(ModuleNotFoundError, match="no_such_module_anywhere"):
        kind.part("pages")


def test_whoever_loads_all_parts_meets_their_faults(kind: Kind) -> None:
    with pytest.raises(ModuleNotFoundError, match="no_such_module_anywhere"):
        kind.load_parts()
