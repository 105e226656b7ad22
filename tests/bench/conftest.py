"""Keys are sent without Textual's long pauses: each test waits for what it needs by ``settle``."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def _short_pauses(monkeypatch):
    # The pilot sleeps two times 20 ms after every key, which was three quarters of these tests' time.
    monkeypatch.setattr("textual._wait.SLEEP_GRANULARITY", 0.005, raising=False)
