"""The report as plain text, for a terminal, a mail, or who cannot use the page."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from bench.procedure.state.ranking import RANKED, ranking_lines
from bench.session.record.record import SessionRecord
from bench.session.report.document import Content, content_of
from bench.session.report.tables import STAGE_ORDER, Cell, ResponseTable
from bench.words.names import CHANNELS, short_stage
from bench.words.sentences import inert

WIDTH = 80
_LEGEND = (
    "Verdicts: in, value and uncertainty wholly inside the tolerance; out, wholly outside; too close to call, "
    "between the two. Readings as found are told but not judged. Uncertainties are expanded (k = 2). "
    "Targets and limits are common practice without a source where no source is named."
)


def report_text(session: SessionRecord) -> str:
    """The whole report in lines made for 80 characters; a name too long for that is not broken."""
    content = content_of(session)
    lines: list[str] = [f"LINE-UP REPORT: {content.machine}", content.procedure, content.when, ""]
    lines += [f"{content.conclusion.headline.upper()}", *_wrapped(content.conclusion.sentences)]
    if content.read_only:
        lines += _wrapped([content.read_only + "."])
    if content.story:
        lines += _headed("What it was, and what it is now", _wrapped([content.story]))
    if content.debrief:
        lines += _headed("Debrief of this exercise", _wrapped(content.debrief))
    if content.ranked:
        lines += _headed("The tapes, ranked", _wrapped([*ranking_lines(content.ranked), RANKED]))
    lines += _headed("What cleaning gave back", _wrapped([content.cleaning]))
    lines += _headed("What alignment gave back", _wrapped([content.alignment]))
    lines += _headed("The job", [f"{term}: {text}" for term, text in content.facts])
    if content.figures:
        lines += _headed("Verdicts, as found and as left" if content.adjusted else "Verdicts", _figures(content))
    for table in content.responses:
        lines += _headed(table.title, _response(table))
    if content.flutter:
        lines += _headed("Flutter by its parts", _wrapped(content.flutter))
    lines += _headed("Skipped, overridden, accepted out", _exceptions(content))
    noted = [f"{time} {asked} {text}" for time, asked, text in content.noted]
    noted += [f"trimmer {text}" for text in content.trimmers]
    if noted:
        lines += _headed("Noted at the bench", _wrapped(noted))
    if content.cautions:
        lines += _headed("Cautions given", _wrapped(f"{hazard}: {say}" for hazard, say in content.cautions))
    if content.evidence:
        lines += _headed("Sound behind the readings, to be measured again", _wrapped(content.evidence))
    signed = [f"{s.who} accepts {s.accepts}, {s.when}" for s in content.signed]
    lines += _headed("Signed", _wrapped(signed or ["Not signed off."]))
    lines += ["", *_wrapped([_LEGEND]), f"Written by {content.program} from session {content.session}."]
    lines += [f"Procedure, sha256: {content.procedure_sha256 or 'not known'}"]
    return "\n".join(inert(line).rstrip() for line in lines) + "\n"


def _headed(title: str, body: Iterable[str]) -> list[str]:
    return ["", title, "-" * len(title), *body]


def _wrapped(paragraphs: Iterable[str], indent: str = "") -> list[str]:
    out: list[str] = []
    for paragraph in paragraphs:
        out += textwrap.wrap(
            paragraph, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_on_hyphens=False
        )
    return out


def _exceptions(content: Content) -> list[str]:
    if not content.exceptions:
        return ["Nothing was skipped or overridden, and nothing was accepted that is not in."]
    return _wrapped(f"{kind}{', ' + step if step else ''}: {text}" for kind, step, text in content.exceptions)


def _figures(content: Content) -> list[str]:
    lines: list[str] = []
    heads = [short_stage(content.stages[stage]) for stage in STAGE_ORDER]
    for thing in content.figures:
        lines += ["", f"{thing.name}, {thing.source}", *_wrapped([f"{thing.detail}; {thing.method}"], "  ")]
        for line in thing.lines:
            told = [
                f"{head} {_cell(cell)}"
                for stage, head, cell in zip(STAGE_ORDER, heads, line.cells, strict=True)
                if cell.text != "–" or stage == "left"
            ]
            unit = "" if line.unit == "count" else f" ({line.unit})"
            lines += _wrapped([f"{line.channel}{unit}: {'; '.join(told)}; target {line.target}"], "  ")
        lines += _wrapped(thing.reasons, "  ")
    return lines[1:]


def _cell(cell: Cell) -> str:
    if cell.text == "–":
        return "not measured"
    return f"{cell.text} {cell.verdict}".strip()


def _response(table: ResponseTable) -> list[str]:
    lines = _wrapped([f"{table.detail}; {table.method}"])
    for n, channel in enumerate(table.channels):
        rows = [["", "limits", *(short_stage(table.names[s]) for s in table.stages)]]
        for row in table.rows:
            cells = [row.points[n].cells[STAGE_ORDER.index(s)] for s in table.stages]
            rows.append([row.label, row.limits, *(f"{c.text} {c.verdict}".strip() for c in cells)])
        widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
        rows[0][0] = CHANNELS[channel]
        lines += [""]
        lines += ["  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)) for row in rows]
    return lines + _wrapped(f"{reason}." for reason in table.reasons)
