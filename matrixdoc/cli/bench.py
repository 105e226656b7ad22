"""``matrixdoc bench``: open the screen."""

from __future__ import annotations

import argparse


def bench(arguments: argparse.Namespace) -> int:
    """Open the bench on a machine, with the findings of a report if one is given.

    Raises:
        MatrixdocError: the machine or the report is wrong.
    """
    from matrixdoc.bench.app import run

    return run(arguments.machine or None, arguments.report or None)
