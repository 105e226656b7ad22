"""Every row of the trade's lamp signatures that one fault of machine 1 can produce, there and back."""

from __future__ import annotations

import pytest

from matrixdoc.definition.library import load_machine
from tests.signatures.lamp_rows import ROWS
from tests.signatures.technician import judge

WIRING = load_machine("lantern_quay")


@pytest.mark.parametrize("trial", [t for row in ROWS for t in row.trials(WIRING)], ids=str)
def test_row(case, trial):
    judge(trial, trial.report(case))
