"""What workers post to the bench; they do nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from textual.message import Message

if TYPE_CHECKING:
    from textual.screen import Screen

    from matrixdoc.bench.opening import Offers, Opened
    from matrixdoc.checks.situation import Check, Outcome
    from matrixdoc.diagnosis.results import Diagnosis, RankedCheck


class Opening(Message):
    """A case was opened; None when the person has to choose."""

    def __init__(self, opened: Opened | None) -> None:
        self.opened = opened
        super().__init__()


class Found(Message):
    """Cases and machines were listed."""

    def __init__(self, offers: Offers) -> None:
        self.offers = offers
        super().__init__()


class Diagnosed(Message):
    """Causes for a case with this many entries."""

    def __init__(self, entries: int, diagnosis: Diagnosis) -> None:
        self.entries = entries
        self.diagnosis = diagnosis
        super().__init__()


class Checked(Message):
    """Checks for a case with this many entries."""

    def __init__(self, entries: int, ranked: Sequence[RankedCheck]) -> None:
        self.entries = entries
        self.ranked = tuple(ranked)
        super().__init__()


class Predicted(Message):
    """What suspects, and a sound machine, would show at an open check."""

    def __init__(self, check: Check, outcomes: Sequence[Outcome], healthy: Outcome | None) -> None:
        self.check = check
        self.outcomes = tuple(outcomes)
        self.healthy = healthy
        super().__init__()


class DialogReady(Message):
    """A window has its focus: it can take keys."""

    def __init__(self, dialog: Screen[Any]) -> None:
        self.dialog = dialog
        super().__init__()


class Failed(Message):
    """A worker could not do its work; ``opening`` if there is no case yet."""

    def __init__(self, heading: str, text: str, *, opening: bool = False) -> None:
        self.heading = heading
        self.text = text
        self.opening = opening
        super().__init__()
