"""``matrixdoc schema``: print the JSON Schema of a file or of a result."""

from __future__ import annotations

import argparse
import json
from typing import Any


def schema(arguments: argparse.Namespace) -> int:
    """Print the schema of that name."""
    print(json.dumps(schema_of(arguments.name), indent=2, ensure_ascii=False))
    return 0


def schema_of(name: str) -> dict[str, Any]:
    """The JSON Schema called ``name``: ``machine``, ``report``, or a command with ``--json``.

    Raises:
        KeyError: there is none of that name.
    """
    if name == "machine":
        from matrixdoc.definition.schema import machine_schema

        return machine_schema()
    if name == "report":
        from matrixdoc.case.report_schema import report_schema

        return report_schema()
    from matrixdoc.cli.results import result_schema

    return result_schema(name)
