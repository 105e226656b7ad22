"""What all tests share: a user folder of their own, the shipped machines, the ngspice rule."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# The same examples on every machine: a failure that comes and goes helps nobody. Times are not
# judged, since a shared machine may pause anywhere.
settings.register_profile(
    "steady", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("steady")

NGSPICE_LEFT_OUT = "the ngspice program is not installed: LEFT OUT (Debian: apt-get install ngspice)"


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Leave out what needs ngspice where it is missing; under CI=true that is a failure."""
    if item.get_closest_marker("ngspice") is None or shutil.which("ngspice"):
        return
    if os.environ.get("CI", "").lower() == "true":
        pytest.fail("ngspice is missing, and CI=true does not let its tests be left out", pytrace=False)
    pytest.skip(NGSPICE_LEFT_OUT)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say loudly at the end what was left out."""
    left_out = [
        report
        for report in terminalreporter.stats.get("skipped", [])
        if NGSPICE_LEFT_OUT in str(report.longrepr)
    ]
    if left_out:
        terminalreporter.section("LEFT OUT", sep="!", bold=True)
        terminalreporter.line(f"{len(left_out)} tests against ngspice: {NGSPICE_LEFT_OUT}")


@pytest.fixture(autouse=True)
def own_user_folder(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Cases and machines of the person who runs the tests are neither read nor written."""
    folder = tmp_path_factory.mktemp("user_data")
    monkeypatch.setenv("XDG_DATA_HOME", str(folder))
    return folder
