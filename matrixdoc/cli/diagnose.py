"""``matrixdoc diagnose``: symptoms in, causes and checks out."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from matrixdoc.case.case import Case
from matrixdoc.case.report import case_from_report
from matrixdoc.cli.correct import corrected_case
from matrixdoc.cli.inputs import NothingSeenError, laid_over, load, read_symptoms, talk
from matrixdoc.cli.text import heading, labelled, minutes, safe, share, wrapped
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.results import Cause, Diagnosis, ExplainedFinding, RankedCheck

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
    count = len(case.findings)
    pieces = [heading(f"{wiring.title}: {count} finding{'' if count == 1 else 's'}")]
    pieces.extend(wrapped(f"Contradiction: {words}", 0, 2) for words in answer.contradictions)
    pieces.append("\nLIKELY CAUSES")
    pieces.extend(_cause_text(cause) for cause in answer.causes[:top])
    more = len(answer.causes) - top
    if more > 0:
        rest = sum(cause.probability for cause in answer.causes[top:])
        pieces.append(f"      {more} more, together {share(rest)}  (--top {len(answer.causes)} shows all)")
    pieces.append("")
    pieces.append(_shares_text(answer))
    if checks:
        pieces.append("\nNEXT CHECKS, the one that gets the repair finished soonest first")
        pieces.extend(_check_text(check, answer) for check in checks)
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
        strongest = sorted(reasons, key=lambda reason: -abs(reason.bits))[:_SHOWN_REASONS]
        lines.extend(
            labelled(label, f"{reason.words} ({reason.bits:+.1f} bits)", 14, 9) for reason in strongest
        )
        more = len(reasons) - _SHOWN_REASONS
        if more > 0:
            lines.append(labelled("", f"and {more} more findings", 14, 9))
    if cause.repair:
        lines.append(labelled("repair", cause.repair, 14, 9))
    return "\n".join(lines)


def _shares_text(answer: Diagnosis) -> str:
    words = f"Outside the model {share(answer.outside_model)}; nothing wrong {share(answer.healthy)}; "
    words += f"left out by the search at most {share(answer.discarded_mass)}."
    return wrapped(words)


def _check_text(ranked: RankedCheck, answer: Diagnosis) -> str:
    check = ranked.check
    power = "power on" if check.situation.power and check.kind != "act" else "power off and unplugged"
    lines = [wrapped(f"{ranked.rank:>2}. {minutes(ranked.minutes):>8}  {check.title}", 0, 14)]
    lines.extend(labelled("CAUTION", caution, 14, 9) for caution in check.cautions)
    lines.append(labelled("set up", "; ".join([power, *check.set_up]), 14, 9))
    by_words: dict[str, list[int]] = {}
    for expected in ranked.expected:
        if expected.share >= 0.5 and expected.cause <= len(answer.causes):
            by_words.setdefault(expected.words, []).append(expected.cause)
    for words, causes in by_words.items():
        lines.append(labelled("expect", f"{words}: cause {', '.join(map(str, causes))}", 14, 9))
    why = ranked.reason or f"tells {ranked.information_bits:.2f} bits"
    lines.append(labelled("why", why, 14, 9))
    lines.append(labelled("key", check.key, 14, 9))
    return "\n".join(lines)


def _findings_text(findings: Sequence[ExplainedFinding]) -> str:
    """How well the leading cause explains what was seen: the ill-explained ones one by one."""
    if not findings:
        return ""
    lines = ["\nFINDINGS, as the leading cause explains them"]
    ill = [finding for finding in findings if finding.probability < 0.5]
    told = (f"- {one.words}: {one.verdict} ({share(one.probability)})" for one in ill[:10])
    lines.extend(wrapped(words, 2, 4) for words in told)
    if len(ill) > 10:
        lines.append(f"  - and {len(ill) - 10} more that it does not explain")
    well = len(findings) - len(ill)
    lines.append(f"  {well} of {len(findings)} explained" + (" (--json lists each)" if well else ""))
    return "\n".join(lines)
