"""One engine for each machine for all signature tests: what it has solved serves the next test."""

from __future__ import annotations

import pytest

from matrixdoc.case.case import Case
from tests.signatures.technician import started


@pytest.fixture(scope="session")
def case() -> Case:
    """Machine 1, nothing reported yet."""
    return started("lantern_quay")
