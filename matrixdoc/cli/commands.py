"""The table of commands: one function each, imported when its command is chosen."""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Callable

Command = Callable[[argparse.Namespace], int]


def _late(module: str, function: str) -> Command:
    def run(arguments: argparse.Namespace) -> int:
        command: Command = getattr(importlib.import_module(f"matrixdoc.cli.{module}"), function)
        return command(arguments)

    return run


COMMANDS: dict[str | None, Command] = {
    None: _late("bench", "bench"),
    "bench": _late("bench", "bench"),
    "machines": _late("machines", "machines"),
    "validate": _late("machines", "validate"),
    "show": _late("show", "show"),
    "chart": _late("show", "chart"),
    "path": _late("path", "path"),
    "diagnose": _late("diagnose", "diagnose"),
    "tree": _late("tree", "tree"),
    "simulate": _late("simulate", "simulate"),
    "hold": _late("hold", "hold"),
    "spice": _late("deck", "spice"),
    "schema": _late("schema", "schema"),
}
