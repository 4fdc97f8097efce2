"""What was wrong, and how sure that is: a section of the report, and one sentence."""

from __future__ import annotations

from bench.diagnosis.answer import Diagnosis
from bench.diagnosis.output.page import (
    POSSIBLE,
    PROBABLE,
    doubtful,
    finding_text,
    first_line,
    mended_text,
    not_looked_at,
    odds_text,
    setting_text,
    suspect_text,
    titles,
)
from bench.session.compare.diagnosis import diagnosis_to_show
from bench.session.record.record import SessionRecord
from bench.words.sentences import capitalised


def cause_lines(session: SessionRecord) -> tuple[str, ...]:
    """A sentence for each cause; none where too little was read."""
    diagnosis = diagnosis_to_show(session)
    return cause_sentences(diagnosis) if diagnosis else ()


def cause_sentences(diagnosis: Diagnosis) -> tuple[str, ...]:
    """The likely causes with their evidence, other possible causes, settings, and what was not looked at."""
    lines = []
    likely = [s for s in diagnosis.suspects if s.probability >= PROBABLE]
    for s in likely:
        speaks = "; ".join(finding_text(f) for f in s.speaks_for[:2])
        lines.append(f"{capitalised(suspect_text(s))}: {odds_text(s.probability)}. Mended by: {mended_text(s)}.")
        lines += [f"It shows in {speaks}."] if speaks else []
        lines += [f"Reads alike: {titles(s.like)}."] if s.like else []
    if not likely:
        lines.append(f"{capitalised(first_line(diagnosis) or 'these readings do not tell what is wrong')}.")
    other = [s for s in diagnosis.suspects if POSSIBLE <= s.probability < PROBABLE]
    if other and likely:
        lines.append(
            "Possible too: " + "; ".join(f"{suspect_text(s)}, {round(100 * s.probability)} %" for s in other) + "."
        )
    out = [setting_text(s, run=False) for s in diagnosis.settings if s.run == "as found" and s.out]
    lines += [f"Out of adjustment as found, by all readings together: {'; '.join(out)}."] if out else []
    lines += not_looked_at(diagnosis)
    lines += doubtful(diagnosis)
    return tuple(lines)
