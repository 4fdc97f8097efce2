"""How a session came out: which judged steps are in, named."""

from __future__ import annotations

from dataclasses import dataclass

from bench.measure.verdict import VerdictWord
from bench.procedure.state.dependencies import to_check_again
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Skipped
from bench.procedure.state.outcome import last_attempts
from bench.procedure.state.progress import not_needed
from bench.session.record.record import SessionRecord
from bench.words.sentences import all_are, counted, listed


@dataclass(frozen=True, slots=True)
class Conclusion:
    """The first thing a report says."""

    word: VerdictWord
    """Its shape and colour."""
    headline: str
    sentences: tuple[str, ...]
    """Each names its steps."""


def conclusion_of(session: SessionRecord) -> Conclusion:
    """Judge a whole session by the last attempt at each judged step."""
    titles = session.titles
    judged = [r for r in last_attempts(session.readings) if r.judged and r.verdict is not None]
    words: dict[str, list[str]] = {"out": [], "too close to call": [], "no reading": []}
    for record in judged:
        word = record.verdict.word if record.verdict else "in"
        title = titles.get(record.step, record.step)
        if word != "in" and title not in words[word]:
            words[word].append(title)
    measured = {r.step for r in judged}
    skipped = {e.step for e in of_kind(session.events, Skipped)}
    over = not_needed(session.events)
    judged_steps = [s for s in session.steps if s.judged and s.id not in measured and s.id not in over]
    again = to_check_again(session.events)
    left_out = [s.title for s in judged_steps if s.id in skipped]
    missing = [s.title for s in judged_steps if s.id not in skipped]

    sentences = []
    if words["out"]:
        are = "is" if len(words["out"]) == 1 else "are"
        sentences.append(f"{counted(len(words['out']), 'step')} {are} out: {listed(words['out'])}.")
    if words["too close to call"]:
        sentences.append(f"Too close to call: {listed(words['too close to call'])}.")
    if words["no reading"]:
        sentences.append(f"No reading: {listed(words['no reading'])}.")
    if left_out:
        sentences.append(f"Skipped: {listed(left_out)}.")
    if missing:
        sentences.append(f"Not measured{'' if session.done else ' yet'}: {listed(missing)}.")
    if again:
        sentences.append(f"To be checked again, for something was adjusted since: {listed([*again])}.")
    wrong = bool(sentences)
    if not session.done:
        last = session.steps_done[-1] if session.steps_done else ""
        after = f" after “{titles.get(last, last)}”" if last else " before its first step"
        sentences.insert(0, f"Broken off{after}; it can be resumed.")
    if judged and not wrong:
        so_far = "" if session.done else " so far"
        at = f" at {counted(len(measured), 'step')}"
        sentences.append(f"{all_are(len(judged), 'judged reading', at)} in{so_far}.")

    if words["out"]:
        return Conclusion("out", "Out" if session.done else "Not finished, and out", tuple(sentences))
    if not session.done:
        return Conclusion("no reading", "Not finished", tuple(sentences))
    if wrong:
        return Conclusion("too close to call", "Not all in", tuple(sentences))
    if not judged:
        return Conclusion("no reading", "Nothing judged", ("This procedure judges nothing at its end.",))
    return Conclusion("in", "All in", tuple(sentences))
