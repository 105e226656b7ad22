"""``--correct``: a correction of the chart, on the command line and in the middle of a case."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matrixdoc.case.case import Case
from matrixdoc.definition.errors import InputError, Problem, quoted

if TYPE_CHECKING:
    from matrixdoc.definition.corrections import StateChain, SwapCells

FORMS = (
    '"swap MATRIX CELL CELL", such as "swap switch C3R2 C2R3", or "chain MATRIX LINE 1 3 2"; '
    'a branch in parentheses: "chain MATRIX LINE 1 3 (5 6) 2"'
)
SWAP_WORDS, LEAST_CHAIN_WORDS = 4, 4


def read_correction(sentence: str) -> SwapCells | StateChain:
    """A correction from its sentence.

    Raises:
        InputError: the sentence is no correction.
    """
    from pydantic import ValidationError

    from matrixdoc.definition.corrections import correction_from

    words = sentence.split()
    record: dict[str, object] = {}
    if len(words) == SWAP_WORDS and words[0] == "swap":
        cells = [word.rsplit("/", 1)[-1] for word in words[2:]]
        record = {"kind": "swap cells", "matrix": words[1], "one": cells[0], "two": cells[1]}
    elif len(words) >= LEAST_CHAIN_WORDS and words[0] == "chain":
        record = {"kind": "state chain", "matrix": words[1], "line": words[2], "chain": " ".join(words[3:])}
    if not record:
        raise InputError((Problem("--correct", 0, 0, "", quoted(sentence), FORMS),))
    try:
        return correction_from(record)
    except ValidationError as error:
        wanted = dict.fromkeys(str(e.get("ctx", {}).get("error", e["msg"])) for e in error.errors())
        raise InputError((Problem("--correct", 0, 0, "", quoted(sentence), "; ".join(wanted)),)) from None


def corrected_case(case: Case, machine: str, sentences: Sequence[str]) -> Case:
    """The case replayed on the machine's definition with the corrections made; unchanged without any.

    Raises:
        InputError: a sentence is no correction, or does not fit the machine.
    """
    if not sentences:
        return case
    from matrixdoc.definition.corrections import corrected, moved
    from matrixdoc.definition.document import read_document
    from matrixdoc.definition.library import find_machine

    corrections = [read_correction(sentence) for sentence in sentences]
    wiring = corrected(read_document(find_machine(machine)), corrections)
    return case.on_corrected(wiring, moved(corrections), f"corrected: {'; '.join(sentences)}")
