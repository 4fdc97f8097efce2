"""What was wrong, and how sure that is: a section of the report, and one sentence."""

from __future__ import annotations

from bench.diagnosis.answer import Diagnosis
from bench.diagnosis.output.page import (
    POSSIBLE,
    PROBABLE,
    alike,
    doubtful,
    finding_text,
    first_line,
    given_back_text,
    mended_text,
    not_looked_at,
    one_or_other,
    setting_text,
    suspect_text,
    titles,
)
from bench.diagnosis.settings import Setting
from bench.session.compare.diagnosis import diagnosis_to_show
from bench.session.record.record import SessionRecord
from bench.words.sentences import capitalised

MOST_SETTINGS = 3
"""Maximum number of trimmers that the sentence at the top names; the section has them all."""


def causes_of(session: SessionRecord) -> tuple[str, tuple[str, ...]]:
    """A sentence with the likeliest cause, "" if none is; and one for each cause, none if too little was read."""
    diagnosis = diagnosis_to_show(session)
    if not diagnosis:
        return "", ()
    likely = bool(diagnosis.suspects) and diagnosis.suspects[0].probability >= PROBABLE
    said = f"What was wrong: {first_line(diagnosis)}." if likely else ""
    out = sorted(_out_as_found(diagnosis), key=lambda s: -abs(s.value) / s.uncertainty)
    if said and out and not session.adjusted:
        said += f" Still out of adjustment: {'; '.join(setting_text(s, run=False) for s in out[:MOST_SETTINGS])}."
    return said, cause_sentences(diagnosis)


def _out_as_found(diagnosis: Diagnosis) -> list[Setting]:
    """The trimmers that were out before any was turned."""
    return [s for s in diagnosis.settings if s.run == "as found" and s.out]


def cause_sentences(diagnosis: Diagnosis) -> tuple[str, ...]:
    """The likely causes with their evidence, other possible causes, settings, and what was not looked at."""
    lines = []
    likely = [s for s in diagnosis.suspects if s.probability >= PROBABLE]
    named: set[str] = set()
    for s in likely:
        if s.name in named:
            continue
        together = alike(diagnosis, s)
        named |= {one.name for one in together}
        mended = " or ".join(dict.fromkeys(map(mended_text, together)))
        lines.append(f"{capitalised(one_or_other(diagnosis, s))}. Mended by: {mended}.")
        speaks, given_back = "; ".join(finding_text(f) for f in s.speaks_for[:2]), given_back_text(s)
        if given_back:
            lines.append(f"Cleaning gave back {given_back}.")
        elif speaks:
            lines.append(f"It shows in {speaks}.")
        like = [name for name in s.like if name not in named]
        lines += [f"Reads alike: {titles(like)}."] if like else []
    if not likely:
        lines.append(f"{capitalised(first_line(diagnosis) or 'these readings do not tell what is wrong')}.")
    other = [s for s in diagnosis.suspects if POSSIBLE <= s.probability < PROBABLE and s.name not in named]
    if other and likely:
        lines.append(
            "Possible too: " + "; ".join(f"{suspect_text(s)}, {round(100 * s.probability)} %" for s in other) + "."
        )
    out = [setting_text(s, run=False) for s in _out_as_found(diagnosis)]
    if out:
        before = "Out of adjustment before any trimmer was turned, estimated from all readings of this session"
        lines.append(f"{before}: {'; '.join(out)}.")
    lines += not_looked_at(diagnosis)
    lines += doubtful(diagnosis)
    return tuple(lines)
