"""The result of a diagnosis: causes with probabilities and reasons, settings, and what no reading could show."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bench.diagnosis.causes.cause import RATIO, Cause
from bench.diagnosis.causes.table import known_causes
from bench.diagnosis.machine import Machine
from bench.diagnosis.next_test import NextTest, Possible, doubt_bits, mend_first, next_test, stage_now
from bench.diagnosis.options import STRANGE, cleared
from bench.diagnosis.readings.adjustable import out_of_adjustment
from bench.diagnosis.readings.buried import with_buried
from bench.diagnosis.readings.finding import Finding
from bench.diagnosis.readings.lines import attribute_lines
from bench.diagnosis.readings.looks import COMPLAINT, likelihood_ratios
from bench.diagnosis.readings.references import with_references
from bench.diagnosis.readings.wiring import LEVELS, Sign, find_signs
from bench.diagnosis.repeated import merge_repeats
from bench.diagnosis.rows import DataRow, Rows, Unused, data_row, part_rows
from bench.diagnosis.settings import Setting, settings_of
from bench.diagnosis.tones import switch_db
from bench.diagnosis.weighing import NOTHING, Weighed, Weighing, weigh

SURE_SIGN = 0.9
USUAL_PART = 0.5
"""If fewer open-reel machines than this have the part, its causes are not listed among those not looked at."""
MISTAKE_OR_FAULT = 0.5
"""Probability that a reading which no cause explains shows a fault that is not in the list; else it is a mistake, and
certainly so if the same was read at another stage as well, where it was as expected."""
ALIKE = 0.1
"""A similar cause is listed if its probability is at least this share of the first one's."""
KIND_TOLD = 0.75
"""The kind of a cause is named if it has more than this share of the probability of the cause."""


@dataclass(frozen=True, slots=True)
class Severity:
    """How bad it is, with expanded uncertainty (k = 2)."""

    value: float
    unit: str
    uncertainty: float


@dataclass(frozen=True, slots=True)
class Suspect:
    """A cause, and how likely it is."""

    name: str
    title: str
    channel: str
    probability: float
    severity: Severity | None
    speaks_for: tuple[Finding, ...]
    speaks_against: tuple[Finding, ...]
    like: tuple[str, ...]
    mended_by: str
    kind: str = ""
    left: str = ""
    gone: bool = False
    """Whether the cleaning and demagnetising that were done have put it right."""
    given_back: tuple[tuple[Finding, float], ...] = ()
    """Responses before cleaning, with the dB that cleaning gave back."""
    curve: tuple[tuple[Finding, float], ...] = ()
    """The response that shows it best, with the prediction of this cause at each frequency, dB."""


@dataclass(frozen=True, slots=True)
class CauseSet:
    """Causes that are present together."""

    causes: tuple[str, ...]
    probability: float


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """The outcome."""

    suspects: tuple[Suspect, ...]
    sets: tuple[CauseSet, ...]
    nothing: float
    not_in_list: float
    settings: tuple[Setting, ...]
    not_looked_at: tuple[str, ...]
    """Causes that these readings cannot show."""
    unused: tuple[Unused, ...]
    unknown_answers: tuple[str, ...]
    contradictions: tuple[str, ...]
    outliers: tuple[Finding, ...]
    """Readings that fit neither the others nor any cause, and therefore count less."""
    readings: int
    next_test: NextTest | None = None
    doubt_bits: float = 0.0
    """Uncertainty about what has to be repaired, bits (entropy)."""
    out_of_adjustment: tuple[Finding, ...] = ()
    """Readings out of tolerance that trimmers set, the furthest out first."""


def diagnose(
    machine: Machine,
    findings: Sequence[Finding],
    answers: Mapping[str, str] | None = None,
    possible: Possible | None = None,
) -> Diagnosis:
    """Find what is wrong from readings and from what a person saw.

    Args:
        machine: the machine.
        findings: the readings.
        answers: what a person saw, by question.
        possible: tells whether a test can be made here; None if all can.
    """
    by_sign, plain = find_signs(with_references(findings, machine), machine)
    plain = with_buried(plain)
    lines = attribute_lines(plain, machine)
    levels = {(f.stage, f.source) for f in plain if f.quantity in LEVELS and f.value is not None}
    plain = [f for f in plain if f.quantity != "balance" or (f.stage, f.source) not in levels]
    placed = [data_row(f, machine) for f in plain if f.quantity not in _ELSEWHERE]
    data_rows = [p for p in placed if isinstance(p, DataRow)]
    data_rows, contradictions = merge_repeats(data_rows)
    data_rows += part_rows(plain, lines.peaks, lines.finding)
    unused = tuple(p for p in placed if isinstance(p, Unused))
    causes = tuple(c for c in known_causes(machine.heads) if c.name != "idler" or "idler" in machine.parts)
    looks = [c for c in causes if c.name not in (answers or {})]
    by_answer, unknown = likelihood_ratios(answers or {}, causes)
    if not data_rows:
        return _signs_alone(by_sign, causes, unused, tuple(unknown), len(findings))
    rows = Rows(data_rows, machine)
    weighing = weigh(rows, causes, by_answer)
    suspects = _suspects(weighing, causes, machine)
    certain = 1.0
    for sign in by_sign:
        certain *= 1 - sign.probability
    suspects += [_suspect_of_sign(s) for s in by_sign]
    suspects.sort(key=lambda s: -s.probability)
    nothing = sum(s.probability for s in weighing.sets if not s.options) * certain
    strange = sum(s.probability for s in weighing.sets if any(o.cause is STRANGE for o in s.options))
    unexplained = nothing * _fault_by_outliers(weighing)
    return Diagnosis(
        suspects=tuple(suspects),
        sets=_sets(weighing, by_sign),
        nothing=nothing - unexplained,
        not_in_list=strange + unexplained,
        settings=settings_of(weighing),
        not_looked_at=_not_looked_at(weighing, causes, answers or {}),
        unused=unused,
        unknown_answers=tuple(unknown),
        contradictions=contradictions,
        outliers=tuple(rows.data_rows[n].finding for n in weighing.outliers),
        readings=len(findings) - len(unused),
        next_test=_repair_first(by_sign) or next_test(weighing, looks, machine, possible),
        doubt_bits=doubt_bits(weighing),
        out_of_adjustment=out_of_adjustment(plain),
    )


def _fault_by_outliers(weighing: Weighing) -> float:
    """Probability that the outliers show a fault that is not in the list."""
    findings = [p.finding for p in weighing.fitter.rows.data_rows]
    times = Counter(map(_same, findings))
    odd = Counter(_same(findings[n]) for n in weighing.outliers)
    return MISTAKE_OR_FAULT if any(odd[what] == times[what] for what in odd) else 0.0


def _same(f: Finding) -> tuple[object, ...]:
    """What a reading is of, at whatever stage."""
    return f.source, f.quantity, f.channel, f.frequency_hz, f.sent_db, f.method, f.driven


def _not_looked_at(weighing: Weighing, causes: Sequence[Cause], answers: Mapping[str, str]) -> tuple[str, ...]:
    """The causes that no reading shows and nobody looked for, without those that cleaning has put right anyway.

    What the owner hears is not an inspection.
    """
    looks = {question: answer for question, answer in answers.items() if not question.endswith(COMPLAINT)}
    seen = {o.cause.name for s in weighing.alone for o in s.options if o.shown} | {*likelihood_ratios(looks, causes)[0]}
    cassette, now = weighing.fitter.rows.machine.cassette, stage_now(weighing.fitter.rows)
    for cause in causes:
        if cleared(max(cause.variants, key=lambda v: v.share), now):
            seen.add(cause.name)
    return tuple(c.name for c in causes if c.name not in seen and (cassette or c.reels >= USUAL_PART))


def _repair_first(by_sign: Sequence[Sign]) -> NextTest | None:
    """The repair that an unmistakable sign requires before anything else."""
    sure = [s for s in by_sign if s.probability >= SURE_SIGN]
    return mend_first(sure[0].mended_by) if sure else None


_ELSEWHERE = ("flutter_component", "mono_sum", "polarity")
"""Quantities that are used, but not as rows of their own."""


def _signs_alone(
    by_sign: Sequence[Sign], causes: Sequence[Cause], unused: tuple[Unused, ...], unknown: tuple[str, ...], count: int
) -> Diagnosis:
    """The result if only signs were found, with no other reading to weigh."""
    none = math.prod(1 - s.probability for s in by_sign) * NOTHING
    return Diagnosis(
        tuple(_suspect_of_sign(s) for s in by_sign),
        tuple(CauseSet((s.name,), s.probability) for s in by_sign),
        none,
        0.0,
        (),
        tuple(c.name for c in causes),
        unused,
        unknown,
        (),
        (),
        count - len(unused),
        next_test=_repair_first(by_sign),
    )


def _suspect_of_sign(sign: Sign) -> Suspect:
    return Suspect(sign.name, sign.title, sign.channel, sign.probability, None, sign.seen_in, (), (), sign.mended_by)


def _sets(weighing: Weighing, by_sign: Sequence[Sign]) -> tuple[CauseSet, ...]:
    """Sets by the names of their causes; every set includes what unmistakable signs have shown."""
    sure = tuple(s.name for s in by_sign if s.probability >= 0.5)
    out: dict[tuple[str, ...], float] = {}
    for s in weighing.sets:
        names = (*sure, *sorted({o.cause.name for o in s.options}))
        unexplained = 0.0 if s.options else _fault_by_outliers(weighing)
        out[names] = out.get(names, 0.0) + (1 - unexplained) * s.probability
        if unexplained:
            other = (*sure, STRANGE.name)
            out[other] = out.get(other, 0.0) + unexplained * s.probability
    ranked = sorted(out.items(), key=lambda item: -item[1])
    return tuple(CauseSet(names, p) for names, p in ranked if p >= 0.001)


def _suspects(weighing: Weighing, causes: Sequence[Cause], machine: Machine) -> list[Suspect]:
    total: dict[str, float] = {}
    for s in weighing.sets:
        for name in {o.cause.name for o in s.options if o.cause is not STRANGE}:
            total[name] = total.get(name, 0.0) + s.probability
    known = {c.name: c for c in causes}
    now = stage_now(weighing.fitter.rows)
    out = []
    for name, probability in total.items():
        cause = known[name]
        channel, kind = _channel_and_kind(weighing.sets, name)
        best = next(s for s in weighing.sets if any(o.cause.name == name for o in s.options))
        beside = {o.cause.name for o in best.options} - {name}
        like = [c for c in cause.like if total.get(c, 0.0) >= ALIKE * probability and c not in beside]
        like += _rivals(weighing, {name} | beside, total) if 0.02 < probability < 0.97 else []
        gains = _gains(weighing, best, _without(weighing, beside), cause.shown_by)
        speaks_for = tuple(f for f, g in gains if g > 1.0)[:6]
        cleaned = cause.mended_by == "clean" and now != "before-cleaning"
        out.append(
            Suspect(
                name=name,
                title=cause.title,
                channel=channel,
                probability=min(probability, 1.0),
                severity=_severity(cause, name, best, machine),
                speaks_for=speaks_for,
                speaks_against=tuple(f for f, g in reversed(gains) if g < -1.0)[:4],
                like=tuple(dict.fromkeys(like)),
                mended_by=cause.mended_by,
                kind=kind,
                left=cause.left,
                gone=all(cleared(o.variant, now) for o in best.options if o.cause.name == name),
                given_back=_given_back(weighing, speaks_for) if cleaned else (),
                curve=_curve(weighing, best, speaks_for),
            )
        )
    return [replace(s, like=_alike(s, known[s.name], out)) for s in out]


def _alike(suspect: Suspect, cause: Cause, suspects: Sequence[Suspect]) -> tuple[str, ...]:
    """The similar causes: those known to be so, and those for which no other readings speak."""
    speaks = {s.name: {*s.speaks_for} for s in suspects}
    mine = speaks[suspect.name]
    apart = {name for name, theirs in speaks.items() if mine and theirs and not mine & theirs}
    return tuple(name for name in suspect.like if name in cause.like or name not in apart)


def _rivals(weighing: Weighing, best: set[str], total: Mapping[str, float]) -> list[str]:
    """Causes in likely sets that lack part of the best set."""
    out = []
    for s in weighing.sets[:6]:
        names = {o.cause.name for o in s.options}
        if not best <= names and s.probability > 0.05:
            out += [n for n in names - best if n != STRANGE.name and total.get(n, 0.0) > 0.05]
    return out


def _without(weighing: Weighing, beside: set[str]) -> Weighed:
    """The set with most of the causes that accompany a cause, and no other: it shows what the readings say for it."""
    named = [({o.cause.name for o in s.options}, s) for s in (*weighing.sets, *weighing.alone)]
    fit = [(len(names), s) for names, s in named if names <= beside]
    return max(fit, key=lambda both: both[0])[1]


def _channel_and_kind(sets: Sequence[Weighed], name: str) -> tuple[str, str]:
    """The most likely channel and kind of a cause; no kind if the readings do not tell it."""
    channel: dict[str, float] = {}
    kind: dict[str, float] = {}
    for s in sets:
        for o in s.options:
            if o.cause.name == name:
                channel[o.variant.channel] = channel.get(o.variant.channel, 0.0) + s.probability
                kind[o.variant.kind] = kind.get(o.variant.kind, 0.0) + s.probability
    likely = max(kind, key=lambda k: kind[k])
    return max(channel, key=lambda c: channel[c]), likely if kind[likely] > KIND_TOLD * sum(kind.values()) else ""


def _gains(weighing: Weighing, best: Weighed, without: Weighed, shown_by: str) -> list[tuple[Finding, float]]:
    """How much better each reading is explained with a cause than without, best first.

    Readings of the kind that shows the cause directly come before all others.
    """
    rows = weighing.fitter.rows
    precision = weighing.fitter.whiten.T @ weighing.fitter.whiten
    size = np.maximum(np.sqrt(1 / np.diag(precision)), 0.1)

    def misfit(s: Weighed) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.asarray(((rows.values - s.read) / size) ** 2)

    gain = misfit(without) - misfit(best)
    direct = [p.kind == shown_by and shown_by != "" for p in rows.data_rows]
    order = sorted(range(len(gain)), key=lambda n: (not direct[n], -gain[n]))
    return [(rows.data_rows[n].finding, float(gain[n])) for n in order]


def _given_back(weighing: Weighing, speaks_for: Sequence[Finding]) -> tuple[tuple[Finding, float], ...]:
    """The responses before cleaning that support a cause, with the dB that cleaning gave back, the most first."""
    found = [p.finding for p in weighing.fitter.rows.data_rows if p.finding.stage not in ("before-cleaning", "as-left")]
    after = {_same(f): f.value for f in reversed(found) if f.quantity == "response" and f.value is not None}
    before = [f for f in speaks_for if f.stage == "before-cleaning" and f.value is not None]
    gained = ((f, after[_same(f)] - (f.value or 0.0)) for f in before if _same(f) in after)
    return tuple(sorted(gained, key=lambda both: -both[1]))


def _curve(weighing: Weighing, best: Weighed, speaks_for: Sequence[Finding]) -> tuple[tuple[Finding, float], ...]:
    """Measured and predicted response, at the stage, source and channel of the first response that supports it."""
    shows = next((f for f in speaks_for if f.quantity == "response"), None)
    if shows is None:
        return ()
    read = zip((p.finding for p in weighing.fitter.rows.data_rows), best.read, strict=True)
    same = ("quantity", "stage", "source", "channel", "sent_db")
    points = [
        (f, float(db)) for f, db in read if not f.buried and all(getattr(f, a) == getattr(shows, a) for a in same)
    ]
    return tuple(sorted(points, key=lambda point: point[0].frequency_hz or 0.0))


def _severity(cause: Cause, name: str, best: Weighed, machine: Machine) -> Severity | None:
    """The severity in the worse channel."""
    at, found, scale = best.settings, [], 1.0
    for option in best.options:
        moves = option.variant.moves
        if option.cause.name == name:
            found = [at + n for n, m in enumerate(moves) if m.figure == moves[0].figure]
            scale = _scale(cause, moves[0].figure, machine) if moves else 1.0
        at += len(moves)
    if not found:
        return None
    most = max(found, key=lambda n: float(best.x[n]))
    amount, deviation = math.exp(float(best.x[most])), math.sqrt(max(float(best.spread[most, most]), 0.0))
    if cause.unit == RATIO:
        return Severity(math.exp(amount), cause.unit, 2 * math.exp(amount) * amount * min(deviation, 1.0))
    return Severity(scale * amount, cause.unit, 2 * scale * amount * min(deviation, 1.0))


def _scale(cause: Cause, figure: str, machine: Machine) -> float:
    """Factor from the amount in the model to the unit of the severity."""
    if figure in ("equalisation_switch", "reference_equalisation"):
        return abs(switch_db(machine))
    return {"µm": machine.film_scale, "mm": float((machine.width_mm / 0.6) ** 0.7)}.get(cause.unit, 1.0)
