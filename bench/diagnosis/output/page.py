"""Puts a diagnosis into words: probabilities, causes, settings, and the whole page as lines."""

from __future__ import annotations

from collections.abc import Iterable

from bench.diagnosis.answer import Diagnosis, Suspect
from bench.diagnosis.causes.table import CAUSES, WIRING
from bench.diagnosis.options import STRANGE
from bench.diagnosis.readings.finding import Finding
from bench.diagnosis.readings.records import AIMED, CIRCUITS
from bench.diagnosis.settings import Setting
from bench.figures import hertz, number
from bench.measure.catalogue import QUANTITIES

SIGNED = AIMED | {*CIRCUITS}
CERTAIN, LIKELY, PROBABLE, POSSIBLE = 0.97, 0.8, 0.5, 0.1
STAGES = {
    "before-cleaning": "before cleaning",
    "before-demagnetising": "cleaned, not demagnetised",
    "after-cleaning": "after cleaning",
    "as-left": "as left",
}
OF_BOTH_TAPES = {"response", "azimuth_delay", "azimuth_angle", "azimuth_phase"}
NO_UNIT = "1"
MOST_SUSPECTS, MOST_NOT_LOOKED_AT = 5, 12


def odds_text(probability: float) -> str:
    """A probability in words and figures: "very likely, 96 %"."""
    percent = min(99, max(1, round(100 * probability)))
    for least, word in ((CERTAIN, "almost certainly"), (LIKELY, "very likely"), (PROBABLE, "more likely than not")):
        if probability >= least:
            return f"{word}, {percent} %"
    return f"possibly, {percent} %" if probability >= POSSIBLE else f"hardly, {percent} %"


TITLES = {c.name: c.title for c in (*CAUSES, STRANGE)} | {name: name.replace("-", " ") for name in WIRING}


def titles(names: Iterable[str]) -> str:
    """The titles of causes in one line."""
    return "; ".join(TITLES[name] for name in names)


def suspect_text(suspect: Suspect) -> str:
    """A cause with its channel: "dirt on the replay head, left"."""
    title = f"{suspect.title} ({suspect.kind})" if suspect.kind else suspect.title
    return title if suspect.channel == "both" else f"{title}, {suspect.channel}"


def curve_text(suspect: Suspect) -> str:
    """The response that shows a cause best: "… left, after cleaning, dB as read (as predicted): 1 kHz −0.2 (−0.1)"."""
    shows = suspect.curve[0][0]
    where = f"{shows.source.replace('-', ' ')}, {shows.channel}, {STAGES[shows.stage]}"
    points = (
        f"{hertz(f.frequency_hz or 0.0)} {number(f.value or 0.0, 1, sign=True)} ({number(db, 1, sign=True)})"
        for f, db in suspect.curve
    )
    return f"{where}, dB as read (as predicted): {'  '.join(points)}"


def mended_text(suspect: Suspect) -> str:
    """Its repair; "clean, which was done" if it was done."""
    return f"{suspect.mended_by}, which was done" if suspect.gone else suspect.mended_by


def first_line(diagnosis: Diagnosis) -> str:
    """One line with the likeliest cause that still stands, or else that was mended on the way; "" if none is likely."""
    if not diagnosis.suspects or diagnosis.suspects[0].probability < PROBABLE:
        if diagnosis.not_in_list >= PROBABLE:
            return f"something that is not in the list: {odds_text(diagnosis.not_in_list)}"
        if diagnosis.nothing >= PROBABLE:
            return _no_fault(diagnosis)
        return one_of(diagnosis)
    likely = [s for s in diagnosis.suspects if s.probability >= PROBABLE]
    first = next((s for s in likely if not s.gone), likely[0])
    return f"{one_or_other(diagnosis, first)}{', and mended on the way' if first.gone else ''}"


def alike(diagnosis: Diagnosis, suspect: Suspect) -> tuple[Suspect, ...]:
    """The cause, and those that read so much like it that it is in doubt."""
    if suspect.probability >= LIKELY:
        return (suspect,)
    others = [s for s in diagnosis.suspects if s.name in suspect.like and s.probability >= POSSIBLE]
    return (suspect, *others[:2])


def one_or_other(diagnosis: Diagnosis, suspect: Suspect) -> str:
    """A cause with its probability, together with those that read alike: "dirt on … or …, which read alike: …"."""
    together = alike(diagnosis, suspect)
    if len(together) == 1:
        return f"{suspect_text(suspect)}: {odds_text(suspect.probability)}"
    names = {s.name for s in together}
    probability = sum(s.probability for s in diagnosis.sets if names & {*s.causes})
    return f"{' or '.join(map(suspect_text, together))}, which read alike: {odds_text(probability)}"


def given_back_text(suspect: Suspect) -> str:
    """What cleaning gave back: "3.7 dB at 10 kHz, right; …"; "" if nothing was read before and after it."""
    return "; ".join(
        f"{number(db, 1)} dB at {hertz(f.frequency_hz or 0.0)}, {f.channel}" for f, db in suspect.given_back[:2]
    )


def _no_fault(diagnosis: Diagnosis) -> str:
    odds = odds_text(diagnosis.nothing)
    if not diagnosis.out_of_adjustment:
        return f"nothing wrong, as far as was measured: {odds}"
    worst = finding_text(diagnosis.out_of_adjustment[0])
    return f"no fault, as far as was measured ({odds}), but it needs lining up: {worst}"


def one_of(diagnosis: Diagnosis) -> str:
    """A line with several possible causes: "not settled: …"; "" if none is possible."""
    possible = [(s.probability, suspect_text(s)) for s in diagnosis.suspects if s.probability >= POSSIBLE]
    if not possible and not diagnosis.outliers:
        return ""
    healthy = "needs lining up and nothing else" if diagnosis.out_of_adjustment else "nothing wrong"
    others = ((diagnosis.nothing, healthy), (diagnosis.not_in_list, "something that is not in the list"))
    ranked = sorted([*possible[:3], *(o for o in others if o[0] >= POSSIBLE)], key=lambda item: -item[0])
    return f"not settled: {'; '.join(f'{text}, {_percent(probability)}' for probability, text in ranked)}"


def page(diagnosis: Diagnosis) -> list[str]:
    """The whole page, as lines."""
    out = [f"What is wrong: {first_line(diagnosis) or 'these readings do not tell'}"]
    for place, suspect in enumerate(_shown(diagnosis), 1):
        out += ["", f"{place}  {suspect_text(suspect)}: {odds_text(suspect.probability)}"]
        if suspect.severity and suspect.severity.unit != NO_UNIT:
            s = suspect.severity
            out.append(f"   how much  {number(s.value, 2)} ± {number(s.uncertainty, 2)} {s.unit}")
        if suspect.speaks_for:
            out.append(f"   for       {'; '.join(finding_text(f) for f in suspect.speaks_for[:3])}")
        if suspect.speaks_against:
            out.append(f"   against   {'; '.join(finding_text(f) for f in suspect.speaks_against[:2])}")
        if len(suspect.curve) > 2:
            out.append(f"   curve     {curve_text(suspect)}")
        if suspect.like:
            out.append(f"   reads like {titles(suspect.like)}")
        out.append(f"   mended by {mended_text(suspect)}")
    healthy = "Needs lining up and nothing else" if diagnosis.out_of_adjustment else "Nothing wrong"
    if diagnosis.readings:
        out += ["", f"{healthy}: {_percent(diagnosis.nothing)}. Not in the list: {_percent(diagnosis.not_in_list)}."]
    out += _next(diagnosis)
    out += out_of_adjustment(diagnosis)
    out += not_looked_at(diagnosis)
    out += doubtful(diagnosis)
    return out


TRIMMERS = {
    ("reference-tape", "level"): ("replay level",),
    ("reference-tape", "response"): ("replay equalisation",),
    ("reference-tape", "azimuth_delay"): ("replay azimuth",),
    ("reference-tape", "speed_error"): ("speed",),
    ("record-replay", "record_replay_level"): ("record level", "replay level"),
    ("record-replay", "response"): ("bias", "record equalisation", "replay equalisation"),
    ("record-replay", "azimuth_delay"): ("record azimuth", "replay azimuth"),
}
"""The trimmers that a reading out of tolerance may come from, by its source and quantity."""


def out_of_adjustment(diagnosis: Diagnosis) -> list[str]:
    """The trimmers that are out, and the worst readings out of tolerance of which none of them is known to be out."""
    settings = [s for s in diagnosis.settings if s.out]
    known = {(s.name, s.channel) for s in settings}
    out = [f"Out of adjustment: {'; '.join(map(setting_text, settings))}."] if settings else []
    open_: dict[tuple[str, ...], str] = {}
    for f in diagnosis.out_of_adjustment:
        names = TRIMMERS.get((f.source, f.quantity), ())
        if names and not known & {(name, channel) for name in names for channel in (f.channel, "both")}:
            open_.setdefault((*names, f.channel), f"{finding_text(f)} ({' or '.join(names)})")
    return out + ([f"Also out of tolerance: {'; '.join(open_.values())}."] if open_ else [])


def not_looked_at(diagnosis: Diagnosis) -> list[str]:
    """A sentence with the causes that no reading could show; none if there are none."""
    names = diagnosis.not_looked_at
    if not names:
        return []
    more = len(names) - MOST_NOT_LOOKED_AT
    return [f"Not looked at: {titles(names[:MOST_NOT_LOOKED_AT])}{f'; and {more} more' if more > 0 else ''}."]


def doubtful(diagnosis: Diagnosis) -> list[str]:
    """A sentence for each reading that may be wrong."""
    out = [f"Contradiction: {c}." for c in diagnosis.contradictions]
    alone = (f"{f.id}: {finding_text(f)}" for f in diagnosis.outliers)
    return out + [f"Fits neither the other readings nor any cause, so it counts less: {a}." for a in alone]


def _shown(diagnosis: Diagnosis) -> list[Suspect]:
    return [s for s in diagnosis.suspects if s.probability >= 0.05][:MOST_SUSPECTS]


def _next(diagnosis: Diagnosis) -> list[str]:
    test = diagnosis.next_test
    if test is None:
        return []
    what = f" (for: {titles(test.parts)})" if test.parts else ""
    minutes = f" ({number(test.minutes, 1)} min)" if test.minutes else ""
    needs = f", with {'; '.join(test.needs)}" if test.needs else ""
    return [f"Next test{minutes}: {test.step}{what}{needs}."]


def _percent(probability: float) -> str:
    return f"{round(100 * probability)} %"


def setting_text(setting: Setting, *, run: bool = True) -> str:
    """A trimmer's error: "bias, left +0.40 ± 0.50 dB (as found)"; the part in brackets only with `run`."""
    where = "" if setting.channel == "both" else f", {setting.channel}"
    value = number(setting.value, 2, sign=True)
    text = f"{setting.name}{where} {value} ± {number(setting.uncertainty, 2)} {setting.unit}"
    return f"{text} ({setting.run})" if run else text


def finding_text(finding: Finding) -> str:
    """A reading with its stage: "response 10 kHz, left, after cleaning −4.10 dB"; an error has its sign.

    The reference tape is named where the same quantity is read of recordings as well.
    """
    title = QUANTITIES[finding.quantity].title.lower()
    at = f" {hertz(finding.frequency_hz)}" if finding.frequency_hz else ""
    signed = finding.quantity in SIGNED
    value = "no reading" if finding.value is None else f"{number(finding.value, 2, sign=signed)} {finding.unit}"
    channel = f", {finding.channel}" if finding.channel in ("left", "right") else ""
    channel = f", {finding.driven} driven" if finding.driven else channel
    tape = ", reference tape" if finding.source == "reference-tape" and finding.quantity in OF_BOTH_TAPES else ""
    target = " from its target" if finding.from_target and finding.value is not None else ""
    return f"{title}{at}{channel}{tape}, {STAGES[finding.stage]} {value}{target}"
