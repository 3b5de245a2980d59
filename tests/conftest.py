"""What holds for every test, and what a run says at its end beyond what pytest counts."""

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import settings

# Machines are shared: how long an example takes says nothing about the code.
settings.register_profile("shared", deadline=None)
settings.load_profile("shared")


@pytest.fixture(scope="session")
def by_hand() -> ModuleType:
    """The evaluator of explanations, which shares no code with what writes them."""
    path = Path(__file__).parent / "by_hand.py"
    spec = importlib.util.spec_from_file_location("by_hand", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """How many requests were generated from the description of the interface."""
    made = {
        report.nodeid: count
        for reports in terminalreporter.stats.values()
        for report in reports
        for name, count in getattr(report, "user_properties", ())
        if name == "generated cases"
    }
    if made:
        each = ", ".join(f"{node.split('::')[-1]} {count:,}" for node, count in made.items())
        terminalreporter.write_line(f"generated requests: {sum(made.values()):,} ({each})")
