"""Every row of the trade's lamp signatures on every shipped machine that can produce it, there and back."""

from __future__ import annotations

import pytest

from tests.signatures.lamp_rows import ROWS
from tests.signatures.technician import judge, trials


@pytest.mark.parametrize("trial", trials(ROWS), ids=str)
def test_row(trial, record_property):
    record_property("rank of the true cause", judge(trial, trial.report()))
