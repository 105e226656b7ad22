"""A fault tree as one self-contained page, and as a graph description for drawing programs."""

from __future__ import annotations

from html import escape

from matrixdoc.diagnosis.tree_drawing import minutes_words, percent, sheet_svg, sheets_of
from matrixdoc.diagnosis.tree_words import NOTE, FaultTree, PlanStep

STYLE = """
@page { size: A4 landscape; margin: 10mm; }
body { font-family: sans-serif; font-size: 10.5pt; color: black; background: white; max-width: 277mm;
  margin: 6mm auto; }
h1 { font-size: 15pt; margin: 0 0 2mm 0; } h2 { font-size: 12pt; margin: 4mm 0 1mm 0; }
p, ul { margin: 1mm 0; }
.warn { border: 2px solid black; padding: 1mm 2mm; margin: 2mm 0; }
.sheet svg { width: 100%; height: auto; display: block; }
table { border-collapse: collapse; width: 100%; font-size: 9pt; }
th, td { border: 1px solid black; padding: 1mm 1.5mm; vertical-align: top; text-align: left; }
td:first-child { text-align: right; font-weight: bold; }
tr { break-inside: avoid; }
td ul { margin: 0; padding-left: 4mm; }
@media print { body { margin: 0; } .sheet { break-inside: avoid; } .steps { break-before: page; } }
"""

LEGEND = (
    "From left to right; thin border: a check; thick border with round corners: a repair, which ends the "
    "job where it works; dashed: not drawn any further; dotted: drawn already. Top right in a box: the share "
    "of cases that come to it. In italics above a box: what was seen to come there, with its probability. "
    "The table of steps has the full words, the set-up and the cautions."
)


def headline(tree: FaultTree) -> str:
    """What the tree costs, in one sentence."""
    return (
        f"Expected {tree.minutes:.1f} minutes to the end of the repair, following the tree "
        f"(panels and power included); drawn to {tree.depth} steps deep, branches below "
        f"{percent(tree.mass)} left out."
    )


def tree_page(tree: FaultTree, safety: str) -> str:
    """The page: heading, drawing on sheets, table of steps. It needs nothing from outside."""
    title = f"Fault tree: {tree.machine}"
    parts = [
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">',
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>",
        f"<h1>{escape(title)}</h1>",
        "<p>Seen:</p><ul>",
        *(f"<li>{escape(words)}</li>" for words in tree.seen[:8]),
        f"<li>and {len(tree.seen) - 8} more</li>" if len(tree.seen) > 8 else "",
        "</ul>",
        f"<p><b>{escape(headline(tree))}</b> {escape(complaint_words(tree))}</p>",
        f'<p class="warn">{escape(safety)}</p>',
        f"<p>{escape(LEGEND)}</p><p>{escape(NOTE)}</p>",
    ]
    sheets = sheets_of(tree)
    for sheet in sheets:
        where = "the beginning" if sheet.number == 1 else f"from step {sheet.root.step} on"
        words = f"Sheet {sheet.number} of {len(sheets)}: {where}"
        parts.append(f'<section class="sheet"><h2>{words}</h2>{sheet_svg(sheet, words)}</section>')
    parts.append('<section class="steps"><h2>Steps</h2><table><thead><tr><th>step</th><th>do</th>')
    parts.append("<th>what is seen, and then</th><th>likely by then</th></tr></thead><tbody>")
    parts.extend(_row(step) for step in tree.steps)
    parts.append("</tbody></table></section></body></html>")
    return "\n".join(part for part in parts if part) + "\n"


def complaint_words(tree: FaultTree) -> str:
    """Which complaint the tree is about, where there are several."""
    if tree.complaints == 1:
        return ""
    return f"This is complaint {tree.complaint} of {tree.complaints} in the report; each has its own tree."


def target_words(target: int) -> str:
    """Where a branch goes."""
    return f"step {target}" if target else "done: write down what it was"


def _row(step: PlanStep) -> str:
    do = [f"<b>{escape(step.title)}</b>"]
    if step.kind == "do":
        power = "power on" if step.power else "unplugged"
        do.append(f"{minutes_words(step.minutes)}, {power}; {percent(step.probability)} of cases come here")
        do.extend(f"<b>Caution:</b> {escape(words)}" for words in step.cautions)
        do.append(escape("; ".join(step.set_up)))
        seen = "".join(
            f"<li>{escape(' / '.join(b.words))} ({percent(b.probability)}): {target_words(b.target)}</li>"
            for b in step.branches
        )
        then = f"<ul>{seen}</ul>"
    elif step.kind == "cut":
        do.append(f"{percent(step.probability)} of cases come here")
        then = f"and on from there, not drawn: about {minutes_words(step.finish)} more in all"
    else:
        do.append(f"{percent(step.probability)} of cases come here")
        then = ""
    likely = "".join(f"<li>{escape(words)} ({percent(share)})</li>" for words, share in step.suspects)
    cells = [str(step.number), "<br>".join(line for line in do if line), then, f"<ul>{likely}</ul>"]
    return "<tr>" + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>"


def tree_dot(tree: FaultTree) -> str:
    """The tree in the DOT language of graph drawing programs."""
    lines = [
        "digraph fault_tree {",
        "  rankdir=LR; node [shape=box, fontsize=10]; edge [fontsize=9];",
        f"  label={_quoted(f'{tree.machine}: {headline(tree)}')};",
        '  done [shape=ellipse, label="done"];'
        if any(not b.target for s in tree.steps for b in s.branches)
        else "",
    ]
    for step in tree.steps:
        style = {"do": "solid", "done": "solid"}.get(step.kind, "dashed")
        told = (
            minutes_words(step.minutes) if step.kind == "do" else f"about {minutes_words(step.finish)} more"
        )
        label = f"{step.number}. {step.title}\n{told}, {percent(step.probability)} come here"
        lines.append(f"  s{step.number} [label={_quoted(label)}, style={style}];")
        for branch in step.branches:
            target = f"s{branch.target}" if branch.target else "done"
            seen = f"{' / '.join(branch.words)}\n{percent(branch.probability)}"
            lines.append(f"  s{step.number} -> {target} [label={_quoted(seen)}];")
    return "\n".join(line for line in [*lines, "}"] if line) + "\n"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'
