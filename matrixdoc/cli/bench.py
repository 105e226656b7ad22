"""``matrixdoc bench``: open the screen."""

from __future__ import annotations

import argparse
import sys

from matrixdoc.cli.inputs import talk


def bench(arguments: argparse.Namespace) -> int:
    """Open the bench on a machine, with the findings of a report if one is given.

    Raises:
        MatrixdocError: the machine or the report is wrong.
    """
    if not sys.stdin.isatty() or not sys.stdout.isatty():
        talk("matrixdoc: the bench needs a terminal; matrixdoc --help lists what works without one")
        return 2
    from matrixdoc.bench.app import run_bench

    run_bench(arguments.machine, arguments.report)
    return 0
