"""Words for front ends: what ``checks.wording`` says, under the room that front ends use."""

from matrixdoc.checks.wording import (
    device_words,
    finding_words,
    look_words,
    net_words,
    outcome_words,
    part_words,
    short_words,
    situation_words,
)

__all__ = [
    "device_words",
    "finding_words",
    "look_words",
    "net_words",
    "outcome_words",
    "part_words",
    "short_words",
    "situation_words",
]
