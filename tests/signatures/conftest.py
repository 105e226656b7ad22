"""One engine for all signature tests: what it has solved serves the next row."""

from __future__ import annotations

import pytest

from matrixdoc.case.case import Case
from matrixdoc.definition.library import load_machine


@pytest.fixture(scope="session")
def case() -> Case:
    """Machine 1, nothing reported yet."""
    return Case.start(load_machine("lantern_quay"))
