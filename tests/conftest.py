"""What a run says at its end beyond what pytest counts."""

import pytest


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
