"""Warnings about definitions that can be used as they are."""

from __future__ import annotations

from matrixdoc.definition.lint import lint
from tests.definition.wirings import wire


def test_lint_warns_of_unfused_bridges_and_the_like():
    coil = "{title: x, resistance: 1 ohm, diode: none}"
    text = f"title: A\nsupplies: {{coil: {{winding_fuse: FUSE}}}}\ncoils: {{1: {coil}}}"
    bare = "\n".join(lint(wire(text.replace("FUSE", "none"))))
    assert "can start a fire" in bare
    assert "no fuse anywhere on the way to x" in bare
    assert "no diode is stated" in bare
    assert "1 ohm would draw up to 36 A" in bare
    fused = "\n".join(lint(wire(text.replace("FUSE", "8 A"))))
    assert "fire" not in fused
    assert "no fuse" not in fused


def test_lint_warns_of_names_and_orders():
    warnings = "\n".join(lint(wire("title: A\nmatrices: {switch: {chart: [[a, a], [b, c]]}}")))
    assert "2 switches are called 'a'" in warnings
    assert "wiring order" in warnings
    assert "assumed that a fuse" in warnings
