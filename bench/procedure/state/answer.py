"""The answer to the question of a job, such as: is this deck fit for noise reduction, or which tape fits best?"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from bench.figures import as_given
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

ONE_SIDED_DB = 2.0
"""If one channel of every tape is worse than the other by more than this, the machine is at fault there. A choice."""

_CERTIFIED = ("record_replay_level", "response")
"""Quantities that a check tape is used for."""

_OF_TRANSPORT = ("speed_error", "speed_drift", "wow_and_flutter", "flutter_component")

_INTERFACE = ("full_scale_output", "full_scale_input", "clock_error", "noise")
"""Figures of an interface that its sheet keeps, in this order; its response and linearity are summed up."""

_NOT_YES = {"out": "no", "too close to call": "too close to call", "no reading": "not known"}
"""The answer to a question that a verdict other than `in` gives."""

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
            return _which(latest, judged)
        case "foreign-tape":
            return _foreign(latest)
        case "check-tape":
            return _check_tape(judged)
        case "interface":
            return _interface(latest)
        case "after-repair":
            return _after_repair(judged)
    return ""


def _which(latest: Sequence[ReadingRecord], judged: Sequence[ReadingRecord]) -> str:
    """The best tape; where none is in, that first, and the channel in which the machine itself seems at fault."""
    ranked = ranking(latest)
    if not ranked:
        return "Which tape fits best is not known, because fewer than two were measured."
    out = {r.lot for r in judged if r.verdict is not None and r.verdict.word == "out"}
    if any(tape.lot not in out for tape in ranked):
        return f"{best_words(ranked)}."
    said = f"No tape is in on this machine as it is. {best_words(ranked)}."
    side = _worse_side(judged)
    if side:
        said += (
            f" All are worse in the {side} channel, by more than {ONE_SIDED_DB:g} dB, so the fault is in the machine: "
            "clean it, demagnetise it and line it up, then measure the tapes again."
        )
    return said


def _worse_side(judged: Sequence[ReadingRecord]) -> str:
    """The channel in which every tape is heard worse with noise reduction; "" if there is none."""
    heard: dict[str, dict[str, float]] = {}
    for r in judged:
        if r.reading.quantity == "heard_error" and r.off is not None and r.lot:
            heard.setdefault(r.lot, {})[r.reading.channel] = abs(r.off)
    if not heard or any(not {"left", "right"} <= db.keys() for db in heard.values()):
        return ""
    apart = [db["left"] - db["right"] for db in heard.values()]
    if min(apart) > ONE_SIDED_DB:
        return "left"
    return "right" if max(apart) < -ONE_SIDED_DB else ""


def _foreign(latest: Sequence[ReadingRecord]) -> str:
    """What a tape from elsewhere shows, and what is not known about it."""
    found = [r for r in latest if r.stage == "found-clean"]
    parts = [_figure(r) for r in found if r.reading.quantity not in ("treble_fall", "azimuth_delay", "polarity")]
    parts += [_azimuth(r, latest) for r in found if r.reading.quantity == "azimuth_delay"]
    inverted = listed(list(dict.fromkeys(r.lot or "the tape" for r in found if r.reading.quantity == "polarity")))
    parts += [f"one channel inverted on {inverted}"] if inverted else []
    parts += [_equalisation(r.measured) for r in latest if r.reading.quantity == "treble_fall" and r.measured]
    tones = [r for r in latest if r.reading.quantity == "tape_level" and r.measured is not None]
    parts += [_figure(r) for r in tones] or ["level: not known, because no tone of known flux was read"]
    parts += [_figure(r) for r in latest if r.reading.quantity == "heard_error"]
    return f"This tape, replayed here: {'; '.join(parts)}."


def _figure(r: ReadingRecord) -> str:
    side = f", {r.lot}" if r.lot else ""
    by = f", by {r.reading.method}" if r.reading.quantity == "speed_error" else ""
    return f"{reading_name(r.reading)}{side}: {reading_text(r.reading)}{by}"


def _azimuth(found: ReadingRecord, latest: Sequence[ReadingRecord]) -> str:
    """Azimuth of a side as found and, where it was set to this tape, as it was for the transfer."""
    text = _figure(found)
    back = found.measured.value if found.measured is not None else None
    # The reading after the screw was turned back has the delay as found for its target.
    for r in latest:
        is_set = r.stage == "left" and r.verdict is not None and r.verdict.target != back
        if is_set and (r.reading.quantity, r.lot) == (found.reading.quantity, found.lot):
            text += f" as found, {reading_text(r.reading)} as set for the transfer"
    return text


def _check_tape(judged: Sequence[ReadingRecord]) -> str:
    """Whether a check tape can be used, and what is recorded on it."""
    asked = "Fit for daily checks on this machine"
    certified = [r for r in judged if r.source == "record-replay" and r.reading.quantity in _CERTIFIED]
    if not certified:
        return f"{asked}: not known, because nothing was recorded on it."
    proof = [r for r in judged if r.source == "reference tape"]
    word = _worst([*proof, *certified])
    levels = [_figure(r) for r in certified if r.reading.quantity == "record_replay_level"]
    worst = max(
        (r for r in certified if r.reading.quantity == "response"), key=lambda r: abs(r.off or 0.0), default=None
    )
    figures = "; ".join([*levels, *([f"largest error of response: {_figure(worst)}"] if worst else [])])
    if word == "in":
        unproved = "" if proof else ", if replay is right: the reference tape was not played"
        return f"{asked}: yes{unproved}. {capitalised(figures)}."
    return f"{asked}: {_NOT_YES[word]}, because {_reasons([*proof, *certified], word)}. {capitalised(figures)}."


def _after_repair(judged: Sequence[ReadingRecord]) -> str:
    """Which parts of a line-up are due."""
    parts = {
        "transport": [r for r in judged if r.reading.quantity in _OF_TRANSPORT],
        "replay": [r for r in judged if r.source == "reference tape" and r.reading.quantity not in _OF_TRANSPORT],
        "recording": [r for r in judged if r.source == "record-replay" and r.reading.quantity in _FED],
    }
    words = {part: _worst(records) for part, records in parts.items() if records}
    if not words:
        return "What the repair moved is not known, because nothing was measured."
    due = [f"{part}, because {_reasons(parts[part], 'out')}" for part, word in words.items() if word == "out"]
    said = f"Due for work: {'; '.join(due)}." if due else "No part of a line-up is due by what was read."
    return f"{said} What the repair itself moved shows in a comparison with a session from before it."


def _interface(latest: Sequence[ReadingRecord]) -> str:
    """The calibration in short."""
    kept = [r for quantity in _INTERFACE for r in latest if r.reading.quantity == quantity]
    parts = [_figure(r) for r in kept]
    for quantity in ("response", "linearity"):
        errors = [abs(r.off) for r in latest if r.reading.quantity == quantity and r.off is not None]
        if errors:
            parts.append(f"{quantity} within {as_given(ceil(100 * max(errors)) / 100)} dB")
    return f"This interface: {'; '.join(parts)}." if parts else "Nothing of this interface was measured."


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
    return f"{asked}: {_NOT_YES[word]}, because {_reasons(fed, word)}."


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
    """The readings with this verdict: for each quantity and channel, the one farthest out."""
    worst: dict[tuple[str, str], ReadingRecord] = {}
    for r in records:
        if r.verdict is None or r.verdict.word != word:
            continue
        key = (r.reading.quantity, r.reading.channel)
        if key not in worst or _in_tolerances(r) > _in_tolerances(worst[key]):
            worst[key] = r
    named = list(worst.values())[:MOST_REASONS]
    more = len(worst) - len(named)
    said = [_reason(r) for r in named] + ([f"{more} more"] if more else [])
    return listed(said)


def _in_tolerances(r: ReadingRecord) -> float:
    tolerance = r.verdict.tolerance if r.verdict is not None else None
    return abs(r.off or 0.0) / (tolerance or 1.0)


def _reason(r: ReadingRecord) -> str:
    if r.measured is None:
        return f"{reading_name(r.reading)}: {reading_text(r.reading)}"
    reference = r.reading.reference if r.reading.quantity == "response" else None
    relative = true_minus(f" relative to {reference}") if reference else ""
    return f"{reading_name(r.reading)} is {reading_text(r.reading)}{relative}, target {target_text(r.verdict)}"
