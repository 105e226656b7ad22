"""The table of what was compared, at the end of a run."""

from __future__ import annotations

import pytest

from tests.proof.compare import HEADER, LAMP_HEADER, seed


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    rows: dict[str, list[str]] = {}
    for outcome in ("passed", "failed"):
        for report in terminalreporter.stats.get(outcome, []):
            for name, row in getattr(report, "user_properties", ()):
                if name.startswith("proof "):
                    rows.setdefault(name.removeprefix("proof "), []).append(str(row))
    if rows:
        terminalreporter.section(f"proof of the circuit, seed {seed()} (PROOF_SEED=<number> or fresh)")
    for name, found in rows.items():
        terminalreporter.line(f"{name}:")
        if "volts" in name:
            terminalreporter.line(LAMP_HEADER if "lamps" in name else HEADER)
        for row in found:
            terminalreporter.line(row)
