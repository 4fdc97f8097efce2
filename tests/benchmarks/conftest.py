"""Prints the figures of the benchmarks, passed or failed, in one table at the end."""

from __future__ import annotations

import pytest


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    terminalreporter.section("figures")
    for outcome in ("passed", "failed"):
        for report in terminalreporter.stats.get(outcome, []):
            for name, told in report.sections if "tests/benchmarks" in report.nodeid else ():
                if "stdout" in name and told.strip():
                    terminalreporter.write_line(told.strip())
