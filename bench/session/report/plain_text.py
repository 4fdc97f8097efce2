"""The report as plain text, for a terminal, an e-mail, or a reader who cannot use the page."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from bench.procedure.state.ranking import RANKED, ranking_lines
from bench.session.record.record import SessionRecord
from bench.session.report.document import Document, document_of
from bench.session.report.other_readings import Attempt
from bench.session.report.tables import STAGE_ORDER, Cell, ResponseTable
from bench.words.names import CHANNELS, short_stage
from bench.words.sentences import in_columns, inert

WIDTH = 80
_LEGEND = (
    "Verdicts: in, value and uncertainty wholly inside the tolerance; out, wholly outside; too close to call, "
    "between the two. The verdicts on readings as found do not count in the result. "
    "Uncertainties are expanded (k = 2). Targets and limits are common practice without a source where no source is "
    "named."
)


def report_text(session: SessionRecord) -> str:
    """The whole report in lines of 80 characters; a name that is longer is not broken."""
    document = document_of(session)
    lines: list[str] = [f"{document.heading.upper()}: {document.machine}", document.procedure, document.when, ""]
    lines += [f"{document.conclusion.headline.upper()}", *_wrapped(document.summary)]
    lines += _wrapped(f"! {sentence}" for sentence in document.attention)
    if document.read_only:
        lines += _wrapped([document.read_only + "."])
    if document.owner_summary:
        lines += _headed("What it was, and what it is now", _wrapped([document.owner_summary]))
    if document.causes:
        lines += _headed("What was wrong, and how sure that is", _wrapped(document.causes))
    if document.debrief:
        lines += _headed("Debrief of this exercise", _wrapped(document.debrief))
    if document.ranked:
        lines += _headed("The tapes, ranked", _wrapped([*ranking_lines(document.ranked), RANKED]))
    for work, gave_back in (("cleaning", document.cleaning), ("the line-up", document.line_up)):
        lines += _headed(f"What {work} gave back", _wrapped([gave_back])) if gave_back else []
    if document.earlier_tapes:
        lines += _headed("Tapes from before", _wrapped([document.earlier_tapes]))
    lines += _headed("The job", [f"{term}: {text}" for term, text in document.facts])
    if document.figures:
        lines += _headed("Verdicts, as found and as left" if document.adjusted else "Verdicts", _figures(document))
    for table in document.responses:
        lines += _headed(table.title, _response(table))
    lines += ["", *_wrapped(f"{note}." for note in document.references)] if document.references else []
    if document.flutter:
        lines += _headed("Flutter by its parts", _wrapped(document.flutter))
    if document.earlier:
        lines += _headed("Read on the way, and read again or turned since", _earlier(document.earlier))
    lines += _headed("Skipped, overridden, accepted out", _exceptions(document))
    noted = [f"{time} {asked} {text}" for time, asked, text in document.noted]
    noted += [f"trimmer {text}" for text in document.trimmers]
    if noted:
        lines += _headed("Noted at the bench", _wrapped(noted))
    if document.cautions:
        lines += _headed("Cautions given", _wrapped(f"{hazard}: {say}" for hazard, say in document.cautions))
    if document.evidence:
        lines += _headed("Sound behind the readings, to be measured again", _wrapped(document.evidence))
    signed = [f"{s.who} accepts {s.accepts}, {s.when}" for s in document.signed]
    lines += _headed("Signed", _wrapped(signed or ["Not signed off."]))
    lines += ["", *_wrapped([_LEGEND]), f"Written by {document.program} from session {document.session}."]
    lines += [f"Procedure, sha256: {document.procedure_sha256 or 'not known'}"]
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


def _earlier(earlier: Iterable[Attempt]) -> list[str]:
    lines: list[str] = []
    for attempt in earlier:
        lines += _wrapped([f"{attempt.step}:"]) + _wrapped(attempt.readings, "  ")
    return lines


def _exceptions(document: Document) -> list[str]:
    if not document.exceptions:
        return ["Nothing was skipped or overridden, and nothing was accepted that is not in."]
    return _wrapped(f"{kind}{', ' + step if step else ''}: {text}" for kind, step, text in document.exceptions)


def _figures(document: Document) -> list[str]:
    lines: list[str] = []
    heads = [short_stage(document.stages[stage]) for stage in STAGE_ORDER]
    for thing in document.figures:
        lines += ["", f"{thing.name}, {thing.source}", *_wrapped([f"{thing.detail}; {thing.method}"], "  ")]
        for line in thing.lines:
            cells = [
                f"{head} {_cell(cell)}"
                for stage, head, cell in zip(STAGE_ORDER, heads, line.cells, strict=True)
                if cell.text != "–" or stage == "left"
            ]
            unit = "" if line.unit == "count" else f" ({line.unit})"
            lines += _wrapped([f"{line.channel}{unit}: {'; '.join(cells)}; target {line.target}"], "  ")
        lines += _wrapped(thing.reasons, "  ")
    return lines[1:]


def _cell(cell: Cell, missing: str = "not measured") -> str:
    if cell.text == "–":
        return missing
    note = f" ({cell.note})" if cell.note else ""
    return f"{cell.text} {cell.verdict}".strip() + note


def _response(table: ResponseTable) -> list[str]:
    lines = _wrapped([f"{table.detail}; {table.method}"])
    first = {limits.stages[0]: limits.row for limits in table.limits}
    for n, channel in enumerate(table.channels):
        columns = [[CHANNELS[channel], *(row.label for row in table.rows)]]
        for stage in table.stages:
            columns += [["limits", *first[stage]]] if stage in first else []
            cells = [row.points[n].cells[STAGE_ORDER.index(stage)] for row in table.rows]
            columns.append([short_stage(table.names[stage]), *(_cell(c, "–") for c in cells)])
        lines += ["", *in_columns([*zip(*columns, strict=True)])]
    return lines + _wrapped(f"{reason}." for reason in table.reasons)
