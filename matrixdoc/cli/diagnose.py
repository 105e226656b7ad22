"""``matrixdoc diagnose``: symptoms in, causes and checks out."""

from __future__ import annotations

import argparse
import re
from collections.abc import Mapping, Sequence

from matrixdoc.case.case import Case
from matrixdoc.case.report import case_from_report
from matrixdoc.case.wording import outcome_words
from matrixdoc.checks.situation import Look, Situation
from matrixdoc.cli.correct import corrected_case
from matrixdoc.cli.inputs import NothingSeenError, laid_over, load, read_symptoms, talk
from matrixdoc.cli.text import counted, heading, labelled, minutes, safe, share, wrapped
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.results import (
    Cause,
    Diagnosis,
    ExpectedOutcome,
    ExplainedFinding,
    RankedCheck,
    Reason,
)

SAFETY = (
    "Switched off is not unplugged. Unplug for ohms, diode tests and soldering; let capacitors "
    "discharge and measure that they have. Fit only fuses of the marked type and rating. Mains "
    "wiring is work for qualified people, under your local code. This is advice: it never says "
    "that a circuit is safe to touch."
)
_SHOWN_MEMBERS = 6
_SHOWN_REASONS = 3


def diagnose(arguments: argparse.Namespace) -> int:
    """Print the diagnosis of a report; cautions come first, before anything is computed.

    Raises:
        MatrixdocError: an input is wrong, or there is no symptom at all.
    """
    wiring = load(arguments.machine)
    report = read_symptoms(arguments, wiring)
    if not report.steps:
        raise NothingSeenError(
            'no symptom: give a report file, or --saw "press C3R5 reads nothing" (diagnose --help tells more)'
        )
    settings = laid_over(report.settings, arguments, wiring)
    case = case_from_report(wiring, report, settings=settings)
    case = corrected_case(case, arguments.machine, arguments.correct)
    wiring = case.wiring
    cautions = case.cautions()
    if arguments.json:
        for caution in cautions:
            talk(f"CAUTION: {safe(caution)}")
    elif cautions:
        print(cautions_text(cautions), flush=True)
    if cautions and not case.findings and not arguments.json:
        print(_danger_text(wiring))
        return 0
    answer = case.diagnose()
    checks = case.checks(arguments.top)
    if arguments.json:
        from matrixdoc.cli.convert import diagnose_result

        result = diagnose_result(wiring, settings, answer, checks, arguments.top, case.unproven(), cautions)
        print(result.model_dump_json(indent=2, by_alias=True))
        return 0
    print(diagnosis_text(wiring, case, answer, checks, arguments.top))
    return 0


def cautions_text(cautions: Sequence[str]) -> str:
    """Urgent words, set apart so that nobody reads past them."""
    bar = "!" * 80
    return "\n".join([bar, *(wrapped(caution, 2) for caution in cautions), bar, ""])


def diagnosis_text(
    wiring: Wiring, case: Case, answer: Diagnosis, checks: Sequence[RankedCheck], top: int
) -> str:
    """The whole answer as text of 80 columns."""
    pieces = [heading(f"{wiring.title}: {counted(len(case.findings), 'look')} reported")]
    pieces.extend(wrapped(f"Contradiction: {words}", 0, 2) for words in answer.contradictions)
    pieces.append("\nLIKELY CAUSES")
    pieces.extend(_cause_text(cause) for cause in answer.causes[:top])
    more = len(answer.causes) - top
    if more > 0:
        told = counted(more, "more cause", "more causes")
        rest = sum(cause.probability for cause in answer.causes[top:])
        if sum(cause.probability for cause in answer.causes) <= 1.0 + 1e-6:
            # With several faults at once the causes add up to more than the whole.
            told += f", {'together ' if more > 1 else ''}{share(rest)}"
        pieces.append(f"    {told}  (--top {len(answer.causes)} shows all)")
    pieces.append("")
    pieces.append(_shares_text(answer))
    if checks:
        pieces.append("\nNEXT CHECKS, the one that gets the repair finished soonest first")
        reported = {
            (one.situation, one.look): outcome_words(wiring, one.look, one.outcome, one.situation.held)
            for one in case.findings
        }
        shown = min(top, len(answer.causes))
        pieces.extend(
            _check_text(check, shown, reported, _whole_words(case, check, reported)) for check in checks
        )
        keys = "A key names its check in a report or a sentence: 'decline KEY' says that you cannot do it."
        pieces.append(wrapped(keys))
    pieces.append(_findings_text(answer.findings))
    if unproven := case.unproven():
        pieces.append("\nREPAIRS NOT YET PROVEN")
        pieces.extend(wrapped(f"- {words}", 2, 4) for words in unproven)
    if len(left := case.left()) > 2 + len(case.unproven()):
        pieces.append("\nLEFT FROM THE LAST LOOK")
        pieces.extend(wrapped(f"- {words}", 2, 4) for words in left[1 : len(left) - len(case.unproven())])
    pieces.append("\n" + wrapped(SAFETY))
    return "\n".join(piece for piece in pieces if piece)


def _cause_text(cause: Cause) -> str:
    lines = [wrapped(f"{cause.rank:>2}. {share(cause.probability):>8}  {cause.title}", 0, 14)]
    if cause.caution:
        lines.append(labelled("CAUTION", cause.caution, 14, 9))
    others = cause.members[1:]
    if others:
        named = [
            " with ".join(f"{f.title or f.part} {f.mode}" for f in faults) + f" ({share(probability)})"
            for faults, probability in others[:_SHOWN_MEMBERS]
        ]
        more = len(others) - _SHOWN_MEMBERS
        lines.append(labelled("or", "; ".join(named) + (f"; and {more} more" if more > 0 else ""), 14, 9))
    for label, reasons in (("for", cause.for_), ("against", cause.against)):
        told = _reasons(reasons)
        lines.extend(labelled(label, words, 14, 9) for words in told[:_SHOWN_REASONS])
        if (more := len(told) - _SHOWN_REASONS) > 0:
            lines.append(labelled("", f"and {counted(more, 'more look', 'more looks')}", 14, 9))
    if cause.repair:
        lines.append(labelled("repair", cause.repair, 14, 9))
    return "\n".join(lines)


def _reasons(reasons: Sequence[Reason]) -> list[str]:
    """Looks for or against a cause, the strongest first; what was seen several times is told once."""
    bits: dict[str, list[float]] = {}
    for reason in reasons:
        bits.setdefault(reason.words, []).append(reason.bits)
    ordered = sorted(bits.items(), key=lambda item: -abs(sum(item[1])))
    return [
        f"{words}{f', {len(each)} times' if len(each) > 1 else ''} ({sum(each):+.1f} bits)"
        for words, each in ordered
    ]


def _shares_text(answer: Diagnosis) -> str:
    words = f"Outside the model {share(answer.outside_model)}; nothing wrong {share(answer.healthy)}; "
    words += f"left out by the search at most {share(answer.discarded_mass)}."
    return wrapped(words)


def _check_text(
    ranked: RankedCheck, shown: int, reported: Mapping[tuple[Situation, Look], str], whole: str
) -> str:
    """One check; ``shown`` causes are listed, ``whole`` is what a machine with nothing wrong would show of
    a look that was reported already (empty for any other check).
    """
    check = ranked.check
    before = reported.get((check.situation, check.look)) if check.kind != "act" else None
    power = "power on" if check.situation.power and check.kind != "act" else "power off and unplugged"
    lines = [wrapped(f"{ranked.rank:>2}. {minutes(ranked.minutes):>8}  {check.title}", 0, 14)]
    lines.extend(labelled("CAUTION", caution, 14, 9) for caution in check.cautions)
    # What the title says already is not said again.
    steps = [step for step in check.set_up if not step.endswith(check.title)]
    lines.append(labelled("set up", "; ".join([power, *steps]), 14, 9))
    by_words: dict[str, list[ExpectedOutcome]] = {}
    for expected in ranked.expected:
        if expected.share >= 0.5 and expected.cause <= shown:
            by_words.setdefault(expected.words, []).append(expected)
    for words, causes in by_words.items():
        whole_causes = ", ".join(str(one.cause) for one in causes if not one.where)
        in_part = [f"{one.cause} {one.where}" for one in causes if one.where]
        numbers = f"cause {'; '.join(filter(None, (whole_causes, *in_part)))}"
        if before is not None:
            # The same look was reported: under these causes it was right, or it was a slip.
            slip = f"not as reported ({before}), if that report was a slip"
            numbers += f"; {'as reported' if words == before else slip}"
        lines.append(labelled("expect", f"{words}: {numbers}", 14, 9))
    if whole:
        lines.append(labelled("expect", whole, 14, 9))
    why = re.sub(r"(?<=\d)%", " %", ranked.reason) or f"tells {ranked.information_bits:.2f} bits"
    if len(by_words) < 2:
        # What it tells the shown causes from is not on the page.
        apart = (
            "tells the causes above from less likely ones" if by_words else "tells less likely causes apart"
        )
        why = re.sub(r"^tells \d+ groups of suspects apart", apart, why)
    lines.append(labelled("why", why, 14, 9))
    lines.append(labelled("key", check.key, 14, 9))
    return "\n".join(lines)


def _whole_words(case: Case, ranked: RankedCheck, reported: Mapping[tuple[Situation, Look], str]) -> str:
    """What a look that was reported already shows on a machine with nothing wrong, and what that proves."""
    check = ranked.check
    before = reported.get((check.situation, check.look))
    if check.kind == "act" or before is None:
        return ""
    whole = case.simulate((), check.situation, check.look)[0][0]
    words = outcome_words(case.wiring, check.look, whole, check.situation.held)
    if words == before:
        return ""
    proves = "the repair is proven" if case.unproven() else "nothing is wrong with it; the report was a slip"
    return f"{words}: {proves}"


DANGER_ONLY = (
    "Nothing else was reported, so no cause can be named yet. This does not mean that nothing is wrong.",
    "With the machine unplugged and its capacitors discharged (measure it), look first for:",
    "- coils with a dark or swollen wrapping, and a plunger that is stuck in",
    "- browned connectors, pins and header joints, above all of lighting, coils and supplies",
    "- dark places on boards: drive transistors, resistors, rectifier bridges, regulators",
    "- fuses: each out of its clip, by meter, and its rating against the marking",
    'Then say what you found, for example: --saw "coil 5 locked on", --saw "fuse F3 open".',
)
"""What is said of smoke or a burnt smell alone (common practice, no source)."""


def _danger_text(wiring: Wiring) -> str:
    pieces = [heading(f"{wiring.title}: danger reported, and no look")]
    pieces.extend(wrapped(words, 0, 2 if words.startswith("-") else 0) for words in DANGER_ONLY)
    return "\n".join([*pieces, "", wrapped(SAFETY)])


def _findings_text(findings: Sequence[ExplainedFinding]) -> str:
    """How well the leading cause explains what was seen: the ill-explained ones one by one."""
    if not findings:
        return ""
    ill = [finding for finding in findings if finding.probability < 0.5]
    well = len(findings) - len(ill)
    lines = ["\nWHAT WAS REPORTED, as the leading cause explains it"]
    told = (f"- {one.words}: {one.verdict} ({share(one.probability)})" for one in ill[:10])
    lines.extend(wrapped(words, 2, 4) for words in told)
    if len(ill) > 10:
        lines.append(f"  - and {len(ill) - 10} more that it does not explain")
    if ill:
        lines.append(f"  {well} of {counted(len(findings), 'look')} explained")
    else:
        every = {1: "the look is", 2: "both looks are"}.get(well, f"all {well} looks are")
        lines.append(f"  {every} explained (--json lists each)")
    return "\n".join(lines)
