"""The answer to the question of a job: fit for noise reduction, circuits right, which tape, what a tape shows."""

from __future__ import annotations

from collections.abc import Sequence

from bench.measure.reading import Reading
from bench.measure.verdict import VerdictWord
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.ranking import best_words, ranking
from bench.words.readings import reading_name, reading_text, target_text
from bench.words.sentences import capitalised, listed, true_minus

LIKELY_PERCENT = 66.0
"""Probability from which a time constant is called likely."""
MOST_REASONS = 3
"""Maximum number of readings that are named; the tables of the report have them all."""

_FED: tuple[str, ...] = ("record_replay_level", "response", "mistracking")
"""Quantities, from record to replay, that show whether a decoder is fed correctly."""

_CIRCUITS = {
    "encoding_error": "the encoder",
    "decoding_error": "the decoder",
    "record_replay_level": "record-to-replay level",
}


def answer_to(question: str, latest: Sequence[ReadingRecord]) -> str:
    """The answer; "" where the job asks nothing.

    Args:
        question: as `Procedure.answers` names it.
        latest: the readings of the last attempt at each step.
    """
    judged = [r for r in latest if r.judged and r.verdict is not None and not r.verdict.says_nothing]
    match question:
        case "fit-for-noise-reduction":
            return _fit(judged)
        case "noise-reduction-circuits":
            return _circuits(judged)
        case "which-tape":
            best = best_words(ranking(latest))
            return f"{best}." if best else "Which tape fits best is not known, because fewer than two were measured."
        case "foreign-tape":
            return _foreign(latest)
    return ""


def _foreign(latest: Sequence[ReadingRecord]) -> str:
    """What a tape from elsewhere shows, and what is not known about it."""
    parts = [_figure(r) for r in latest if r.stage == "found-clean" and r.reading.quantity != "treble_fall"]
    parts += [_equalisation(r.measured) for r in latest if r.reading.quantity == "treble_fall" and r.measured]
    tones = [r for r in latest if r.reading.quantity == "tape_level" and r.measured is not None]
    parts += [_figure(r) for r in tones] or ["level: not known, because no tone of known flux was read"]
    parts += [_figure(r) for r in latest if r.reading.quantity == "heard_error"]
    return f"This tape, replayed here: {'; '.join(parts)}."


def _figure(r: ReadingRecord) -> str:
    side = f", {r.lot}" if r.lot else ""
    by = f", by {r.reading.method}" if r.reading.quantity == "speed_error" else ""
    return f"{reading_name(r.reading)}{side}: {reading_text(r.reading)}{by}"


def _equalisation(fall: Reading | None) -> str:
    method = fall.method if fall is not None else None
    if method is None or method.other_percent is None or method.other_us is None or method.played_us is None:
        return "equalisation: not known"
    other = method.other_percent
    us, percent = (method.other_us, other) if other > 50 else (method.played_us, 100 - other)
    word = "likely" if percent >= LIKELY_PERCENT else "hardly likelier than not"
    return f"{us:g} µs is {word} ({percent:.0f} %), not known"


def _fit(judged: Sequence[ReadingRecord]) -> str:
    fed = [r for r in judged if r.source == "record-replay" and r.reading.quantity in _FED]
    asked = "Fit for noise reduction with this tape"
    if not fed:
        return f"{asked}: not known, because nothing was measured from record to replay."
    word = _worst(fed)
    if word == "in":
        return f"{asked}: yes, level and response from record to replay are in."
    said = {"out": "no", "too close to call": "too close to call", "no reading": "not known"}[word]
    return f"{asked}: {said}, because {_reasons(fed, word)}."


def _circuits(judged: Sequence[ReadingRecord]) -> str:
    """What is right, then what is not, with the reading that shows it."""
    found = {name: [r for r in judged if r.reading.quantity == q] for q, name in _CIRCUITS.items()}
    words = {name: _worst(readings) for name, readings in found.items() if readings}
    if not words:
        return "Whether encoder and decoder are right is not known, because neither was measured."
    parts = []
    right = [name for name, word in words.items() if word == "in"]
    if right:
        parts.append(f"{listed(right)} {'is' if len(right) == 1 else 'are'} right")
    for word, state in (
        ("out", "is not right"),
        ("too close to call", "is too close to call"),
        ("no reading", "is not known"),
    ):
        parts += [f"{n} {state}, because {_reasons(found[n], w)}" for n, w in words.items() if w == word]
    parts += [f"{name} was not measured" for name in found if name not in words]
    return f"{capitalised('; '.join(parts))}."


def _worst(records: Sequence[ReadingRecord]) -> VerdictWord:
    words = {r.verdict.word for r in records if r.verdict is not None}
    order: tuple[VerdictWord, ...] = ("out", "no reading", "too close to call")
    return next((word for word in order if word in words), "in")


def _reasons(records: Sequence[ReadingRecord], word: VerdictWord) -> str:
    """The readings with this verdict: for each quantity and channel, the one farthest from its target."""
    worst: dict[tuple[str, str], ReadingRecord] = {}
    for r in records:
        if r.verdict is None or r.verdict.word != word:
            continue
        key = (r.reading.quantity, r.reading.channel)
        if key not in worst or abs(r.off or 0.0) > abs(worst[key].off or 0.0):
            worst[key] = r
    named = list(worst.values())[:MOST_REASONS]
    more = len(worst) - len(named)
    said = [_reason(r) for r in named] + ([f"{more} more"] if more else [])
    return listed(said)


def _reason(r: ReadingRecord) -> str:
    if r.measured is None:
        return f"{reading_name(r.reading)}: {reading_text(r.reading)}"
    reference = r.reading.reference if r.reading.quantity == "response" else None
    relative = true_minus(f" relative to {reference}") if reference else ""
    return f"{reading_name(r.reading)} is {reading_text(r.reading)}{relative}, target {target_text(r.verdict)}"
