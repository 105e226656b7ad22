"""Findings in words at the bench: a normally closed switch reads at rest and opens when pressed."""

from __future__ import annotations

from matrixdoc.bench.marks import usual_resting
from matrixdoc.checks.situation import Finding
from matrixdoc.checks.wording import device_words, finding_words, short_words
from matrixdoc.definition.wiring import Wiring


def seen_words(wiring: Wiring, finding: Finding) -> str:
    """A finding as one line; what normally closed switches do is told as such."""
    situation, look, outcome = finding.situation, finding.look, finding.outcome
    if look.kind != "reads" or situation.altered or not isinstance(outcome, frozenset):
        return finding_words(wiring, finding)
    usual = usual_resting(wiring)
    if not situation.held:
        missing = usual - outcome
        if not missing:
            return finding_words(wiring, finding)
        silent = f"normally closed {short_words(missing)} does not read, where it should"
        more = outcome - usual
        return f"with nothing pressed: {silent}" + (f"; {short_words(more)} reads" if more else "")
    one = situation.held[0]
    if len(situation.held) != 1 or one not in usual:
        return finding_words(wiring, finding)
    stays = one in outcome
    more, missing = outcome - usual - {one}, usual - outcome - {one}
    words = "still reads, does not open" if stays else "opens"
    if more:
        words += f"; {short_words(more)} reads too"
    if missing:
        words += f"; normally closed {short_words(missing)} no longer reads"
    if not (stays or more or missing):
        words += ", as it should"
    return f"{device_words(wiring, one)}, normally closed, pressed: {words}"
