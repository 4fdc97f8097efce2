"""Hand-made snapshots of an invented workshop, with which the screen is built and tested."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from bench.audio.port import PortStatus
from bench.measure.method import Method
from bench.measure.reading import Channel, Result
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict
from bench.practice.facts import TrimmerPosition
from bench.procedure.model.steps import Caution
from bench.procedure.model.targets import Target, judge
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.snapshot import (
    CheckRow,
    Curve,
    FlutterPart,
    FoundPoint,
    Gauge,
    Hum,
    InputView,
    JobView,
    Outcome,
    Prompt,
    Snapshot,
    StepView,
    ToneRow,
)
from bench.tui.choices import FILE, NEW_JOB, PRACTICE, WHO, Option, Row
from tests.results import result

JOB = JobView(
    procedure="Line up a cassette deck",
    machine="Lanternhill front-room deck",
    tape="Lanternhill everyday ferric",
    reference_tape="Lanternhill cassette reference",
    speed="4.76 cm/s (1⅞ ips)",
    equalisation="120 µs + 3180 µs",
    reference_level="250 nWb/m (DIN)",
)
PORT = PortStatus("practice machine", "practice", 48000, 2, "running")
SOUND = InputView((-12.3, -13.1), clipping=False, silent=False, port=PORT)
LEVEL = Target(value=-12.0, unit="dBFS", tolerance=0.5, source="common practice, no source")
RESPONSE = Target(value=0.0, unit="dB", tolerance=2.0, source="common practice, no source")
AZIMUTH = Target(value=0.0, unit="µs", tolerance=6.0, source="common practice, no source")


def step(**changes: Any) -> StepView:
    made = StepView(
        id="replay-level",
        kind="adjust",
        title="Set the replay level",
        index=9,
        total=24,
        stage="left",
        cautions=(Caution(hazard="loud-tones", say="Loudspeakers down: a tone at reference level is about to play."),),
        do=(
            "Play the level section of the reference tape. Turn the replay level trimmer of each channel until its "
            "figure stands on the target, with an insulated trimming tool."
        ),
        good="Both channels within half a decibel of the target and of each other.",
        why=(
            "A noise-reduction decoder judges how much to undo by the level it is given: replay that is low sounds "
            "dull, replay that is high sounds over-bright."
        ),
        if_not="Look at the head for dirt again, then at the test point with a meter.",
    )
    return replace(made, **changes)


def reading(value: float | None, channel: Channel = "left", quantity: str = "level", **more: Any) -> Result:
    return result(quantity, channel, value, 0.04, **{"method": Method("mean over 0.5 s")} | more)


def gauge(
    value: float | None, channel: Channel = "left", target: Target = LEVEL, quantity: str = "level", **more: Any
) -> Gauge:
    got = reading(value, channel, quantity, **({} if value is not None else {"reason": "the tone is not steady"}))
    verdict: Verdict = judge(got, target)
    direction = ""
    if value is not None:
        off = target.value - value
        word = "raise" if off > 0 else "lower"
        direction = "hold" if verdict.word == "in" else f"{word} by {abs(off):.1f} {got.unit.removesuffix('FS')}"
    made = Gauge(
        channel=channel,
        label=f"{channel} replay level" if quantity == "level" else quantity.replace("_", " "),
        reading=got,
        verdict=verdict,
        trend="steady",
        direction=direction,
        trimmer=f"replay level {channel}",
        history=() if value is None else history(value, target),
    )
    return replace(made, **more)


def history(value: float, target: Target) -> tuple[tuple[float, float], ...]:
    """A minute in which a reading approaches its target from six decibels away, as when a trimmer is turned."""
    start = target.value - 6 * (target.tolerance or 1.0) * 1.5
    out = []
    for n in range(300):
        t = n * 0.2
        gone = min(1.0, max(0.0, (t - 12) / 30))
        turned = round(gone * 8) / 8
        out.append((t, start + (value - start) * turned + 0.05 * math.sin(t * 2.1)))
    return tuple(out)


TRIMMERS = (
    TrimmerPosition("replay level left", -24.0),
    TrimmerPosition("replay level right", 12.0),
)


def adjusting(left: float | None = -12.9, right: float | None = -12.1, **changes: Any) -> Snapshot:
    made = Snapshot(
        job=JOB,
        step=step(),
        prompt=Prompt("go-on", "Keep both channels and go on") if left else Prompt("wait", "Waiting for the tone"),
        sound=SOUND,
        gauges=(
            gauge(left, "left", trend="rising"),
            gauge(right, "right", held_s=4.2),
        ),
        trimmers=TRIMMERS,
        can_accept=left is not None,
        notice="",
    )
    return replace(made, **changes)


def in_trouble(what: str) -> Snapshot:
    """An adjustment with a fault in its sound."""
    made = {
        "clipping": replace(SOUND, clipping=True),
        "silence": replace(SOUND, silent=True),
        "lost": replace(SOUND, port=replace(PORT, state="lost")),
        "hum": replace(SOUND, hum=Hum(50.0, -31.0, 14.2)),
        "one side": replace(SOUND, only="right"),
    }
    return adjusting(sound=made[what])


def beside_hazards() -> Snapshot:
    """An adjustment with three cautions, the longest of them too long for a line of a small screen."""
    cautions = (
        Caution(
            hazard="moving-parts", say="The capstan turns beside your hand. Sleeves and hair back, no swabs near it."
        ),
        Caution(hazard="mains", say="Insulated tool, one hand; the service manual and local codes come first."),
        Caution(hazard="loud-tones", say="1 kHz is sent without a break. Loudspeakers down. One key stops it."),
    )
    return adjusting(step=step(cautions=cautions))


def azimuth(value: float = 17.4) -> Snapshot:
    return adjusting(
        step=step(
            id="azimuth",
            title="Set the replay azimuth",
            index=8,
            do="Play the azimuth section. Turn the azimuth screw until the delay between the channels is least.",
            good="Less than 6 µs, at 10 kHz and at the lower tones alike.",
            cautions=(),
        ),
        gauges=(
            gauge(
                value,
                "left-right",
                AZIMUTH,
                "azimuth_delay",
                trend="falling",
                trimmer="replay azimuth",
                reading=reading(value, "left-right", "azimuth_delay", frequency_hz=10000.0),
                turn=-14.0,
            ),
        ),
        trimmers=(TrimmerPosition("replay azimuth", 36.0),),
    )


TONES = (315.0, 40.0, 63.0, 125.0, 500.0, 1000.0, 2000.0, 4000.0, 6300.0, 8000.0, 10000.0, 12500.0)


def tone_rows(done: int = 8) -> tuple[ToneRow, ...]:
    rows = []
    for n, hz in enumerate(TONES):
        label = f"{hz / 1000:g} kHz, −20 dB" if hz >= 1000 else f"{hz:g} Hz, −20 dB"
        state: Any = "done" if n < done else "sounding" if n == done else "waiting"
        readings: tuple[tuple[Result, Verdict | None], ...] = ()
        if n < done:
            droop = -0.9 * (hz / 6000) ** 2
            readings = tuple(
                (r, judge(r, RESPONSE))
                for r in (
                    reading(droop + 0.2, "left", "response", frequency_hz=hz),
                    reading(droop * 1.6 - 0.1, "right", "response", frequency_hz=hz),
                )
            )
        elif n == done:
            readings = (
                (reading(-33.1, "left", frequency_hz=hz), None),
                (reading(-33.8, "right", frequency_hz=hz), None),
            )
        rows.append(ToneRow(f"t{n}", label, state, hz, readings))
    return tuple(rows)


def biased(*, passed: bool = True) -> Snapshot:
    """Over-bias before or past the peak."""

    def channel(side: Channel, last: float) -> tuple[Gauge, Curve]:
        points = tuple((float(d), -22.0 - ((d - 20) / 28) ** 2) for d in range(-60, 61 if passed else 11, 10))
        target = Target(value=2.0, unit="dB", tolerance=0.3, source="common practice, no source")
        why = None if passed else "the peak is not passed yet"
        got = reading(last if passed else None, side, "overbias", reason=why, frequency_hz=10000.0)
        made = gauge(last, side, target, "overbias", label=f"{side} over-bias", reading=got, history=())
        way = "raise bias, past the peak" if not passed else made.direction
        made = replace(made, verdict=judge(got, target), direction=way, turn=None if passed else 6.0)
        curve = Curve(
            side,
            f"{side}, 10 kHz",
            "degrees",
            points,
            "dBFS",
            peak=(20.0, -22.0) if passed else None,
            aim=-24.0 if passed else None,
        )
        return made, curve

    pairs = [channel("left", 1.6), channel("right", 2.1)]
    do = (
        "Turn the bias of each channel up from well below the peak, past it, until 10 kHz has fallen by the sheet's dB."
    )
    return adjusting(
        step=step(id="bias", title="Bias", index=21, do=do, good="Both channels have fallen alike.", cautions=()),
        gauges=tuple(g for g, _ in pairs),
        curves=tuple(c for _, c in pairs),
        trimmers=(TrimmerPosition("bias left", 60.0), TrimmerPosition("bias right", 60.0)),
        prompt=Prompt("wait", "Turn until it is in and holds"),
        sending="10 kHz at −20 dB",
        can_accept=passed,
        head_delay_s=0.183,
    )


def fluttering() -> Snapshot:
    """Wow and flutter by its parts."""
    parts = (
        FlutterPart("capstan", 5.41, 0.062, 0.55),
        FlutterPart("pinch roller", 1.24, 0.041, 0.24),
        FlutterPart("take-up reel", 0.61, 0.026, 0.10),
        FlutterPart("unknown", 31.2, 0.012, 0.02),
    )
    spectrum = tuple(
        (
            0.2 * 1.08**n,
            sum(p.percent / (1 + (math.log(0.2 * 1.08**n / p.rate_hz) * 14) ** 2) for p in parts),
        )
        for n in range(90)
    )
    return adjusting(
        step=step(
            id="flutter",
            kind="measure",
            title="Wow and flutter",
            index=12,
            cautions=(),
            do="Let the speed section play on. Touch nothing.",
            good="Below the sheet's limit, weighted, and the same on a second try.",
        ),
        gauges=(),
        trimmers=(),
        can_accept=False,
        flutter=parts,
        spectrum=spectrum,
        prompt=Prompt("go-on", "0.08 % weighted quasi-peak, at most 0.15 %: in. Read the parts, then go on"),
    )


def question(*, answered: bool = False) -> Snapshot:
    """An instructor's question, before and after the answer."""
    asks = "The head gap of this deck is dirty. What does the 10 kHz tone of the reference tape do first?"
    choices = (
        "It falls, and the low tones stay where they are",
        "It rises, because dirt sharpens the gap and the tape is pressed harder against what is left of the head",
        "All tones fall alike",
    )
    because = (
        "Dirt lifts the tape off the head. Spacing loss is 54.6 dB for each wavelength of distance, so that short "
        "wavelengths go first; at 47.6 mm/s 10 kHz is 4.8 µm long, and a film of half a micrometre already takes "
        "more than 5 dB from it, while 315 Hz loses next to nothing. No trimmer gives that back."
    )
    prompt = Prompt("choice", asks, choices=choices)
    if answered:
        prompt = Prompt("go-on", f"Right. {because}")
    view = step(
        id="q-dirt", kind="question", title="What does dirt do?", index=4, cautions=(), do="", good="", if_not=""
    )
    return replace(asking("choice"), step=view, prompt=prompt)


def left_response() -> Snapshot:
    """The response as left, with the response as found, and a step to check again."""
    found = tuple(
        FoundPoint(c, hz, (-4.0 if c == "left" else -5.5) * (hz / 12500) ** 1.2, "found-clean")
        for c in ("left", "right")
        for hz in TONES
    )
    made = listening(12)
    assert made.step is not None
    return replace(
        made,
        step=replace(made.step, stage="left", index=19),
        as_found=tuple(replace(p, channel=c) for p in found for c in ("left", "right") if p.channel == c),
        to_check_again=("replay level", "tracking"),
        can_go_back=True,
    )


def listening(done: int = 8, **changes: Any) -> Snapshot:
    made = adjusting(
        step=step(
            id="replay-response",
            kind="reference",
            title="Replay response",
            index=6,
            stage="found-clean",
            do="Play the response section of the reference tape from its start.",
            good="All tones within 2 dB of the tone at 315 Hz, both channels alike.",
            cautions=(Caution(hazard="reference-tape", say="Play only, at normal speed; never in a dirty machine."),),
        ),
        gauges=(),
        trimmers=(),
        can_accept=False,
        tones=tone_rows(done),
        prompt=Prompt("wait", "Listening: each tone is ticked off as it comes, no key needed"),
    )
    return replace(made, **changes)


def kept(step: str, stage: Stage, readings: Sequence[tuple[Result, Verdict | None]]) -> list[ReadingRecord]:
    """Readings as records of the journal."""
    return [
        ReadingRecord(
            f"{step}{stage}{n}",
            step,
            stage,
            judged=stage == "left",
            source="reference tape",
            reading=got,
            verdict=verdict,
            time=datetime(2031, 5, 4, 10, 0, n, tzinfo=UTC),
        )
        for n, (got, verdict) in enumerate(readings)
    ]


def measured(now: Snapshot) -> Snapshot:
    """A step in the middle of a job, after replay level and response were measured as found and set."""
    responses = [r for t in tone_rows(12) for r in t.readings]

    def levels(left: float, right: float) -> list[tuple[Result, Verdict]]:
        both = (reading(left, "left"), reading(right, "right"))
        return [(r, judge(r, LEVEL)) for r in both]

    records = kept("found-level", "found-clean", levels(-13.6, -12.3))
    records += kept("found-response", "found-clean", responses) + kept("level", "left", levels(-12.04, -11.9))
    titles = (("found-level", "Replay level"), ("found-response", "Response"), ("level", "Set the replay level"))
    return replace(now, kept=tuple(records), job=replace(now.job, steps=titles))


def cleaning(timer_s: float | None = None) -> Snapshot:
    return adjusting(
        step=step(
            id="clean",
            kind="by-hand",
            title="Clean the tape path",
            index=3,
            cautions=(
                Caution(
                    hazard="solvent",
                    say="Isopropyl alcohol burns: ventilate, no sparks, gloves; keep the safety data sheet at hand.",
                ),
                Caution(hazard="moving-parts", say="Motor off, or on the side that runs away from the nip."),
            ),
            do="Clean heads, capstan, pinch roller and guides with a fresh swab each, until the swab comes away clean.",
            good="The last swab of each part is as white as a new one.",
            why="A film of a thousandth of a millimetre costs 9 dB at 8 kHz: no setting holds before it is gone.",
        ),
        gauges=(),
        trimmers=(),
        can_accept=False,
        checks=(
            CheckRow("Replay and record heads", ticked=True),
            CheckRow("Erase head", ticked=True),
            CheckRow("Capstan", ticked=False),
            CheckRow("Pinch roller, with what its maker recommends", ticked=False),
            CheckRow("Guides and tape path", ticked=False),
        ),
        prompt=Prompt("go-on", "Done: go on") if timer_s is None else Prompt("wait", "The timer runs"),
        timer_left_s=timer_s,
    )


def asking(kind: Any = "number", **more: Any) -> Snapshot:
    prompts = {
        "number": Prompt("number", "Take-up torque", unit="g·cm"),
        "choice": Prompt("choice", "How does the pinch roller look?", choices=("like new", "shiny", "cracked")),
        "words": Prompt("words", "Who accepts the machine as it was left?"),
        "reason": Prompt("reason", "3 of 8 readings are not in. Measure again, or say why you go on."),
        "confirm": Prompt(
            "confirm",
            "Reference tape out and put away, tape in use loaded. Confirm before anything records.",
            interlock=True,
        ),
    }
    made = cleaning()
    view = step(
        id="torque", kind="entry", title="Read the take-up torque", index=5, cautions=(), do="Play the torque cassette."
    )
    return replace(replace(made, step=view, checks=(), prompt=prompts[kind]), **more)


def ranked() -> Snapshot:
    """Three tapes were tried, and somebody is to sign."""
    view = step(
        id="sign",
        kind="sign-off",
        title="The ranking, and who stands by it",
        cautions=(),
        do="Read the three lines. Where they disagree, mistracking counts if noise reduction is used. Then sign.",
    )
    lines = (
        "by noise reduction, dB: blank B 1st, −0.41 ± 0.01; A 2nd alike, +1.90 ± 0.01; C 2nd alike, −1.98 ± 0.01",
        "by treble, dB: blank B 1st, +0.32 ± 0.01; blank A 2nd, −1.20 ± 0.01; blank C not read",
        "by level, dB: blank C 1st, +0.05 ± 0.01; blank A 2nd, −0.61 ± 0.01; blank B 3rd, +0.92 ± 0.01",
    )
    prompt = Prompt("words", "Who accepts: the ranking of these blanks on this machine as it is?")
    return asking("words", step=view, prompt=prompt, to_sign=lines)


def ended(exit_code: int = 1) -> Snapshot:
    words: Any = {"in": 31} if exit_code == 0 else {"in": 28, "out": 2, "too close to call": 1}
    said = (
        "All in. All 31 judged readings at 6 steps are in."
        if exit_code == 0
        else "Out. 2 steps are out: Replay response and Record level."
    )
    outcome = Outcome(completed=True, exit_code=exit_code, judged=31, words=words, said=said)
    return adjusting(step=None, gauges=(), trimmers=(), can_accept=False, prompt=Prompt("wait", ""), outcome=outcome)


def offered(*, resuming: bool = False) -> list[Row]:
    about = ("From booking in to signing off.", "Needs: a reference tape; the tape in use; swabs.")
    rows = [
        Row(
            "procedure",
            "procedure",
            (
                Option("line-up", "Line up a cassette deck", "1 h 15", about),
                Option("clean", "Clean the tape path", "10 min", ("Until the swab comes away clean.",)),
                Option("old", "old", "broken", (), "procedures/old.toml: format: 3 is newer than this program reads"),
            ),
        ),
        Row("machine", "machine", (Option("deck", JOB.machine), Option("other", "Lanternhill kitchen deck"))),
        Row("tape", "tape in use", (Option("ferric", JOB.tape),)),
        Row("reference-tape", "reference tape", (Option("reference", JOB.reference_tape),)),
        Row(
            "port",
            "sound",
            (PRACTICE, Option("live", "sound device", "not there", (), "there is no sound device: plug it in"), FILE),
        ),
        Row("who", "you are", WHO),
    ]
    if resuming:
        said = ("Broken off after 12 readings.", "Last step done: replay-level.")
        session = Option("/s", "Line up a cassette deck · Lanternhill kitchen deck", "2031-05-04 14:10", said)
        rows.insert(0, Row("session", "go on with", (session, Option(NEW_JOB, "nothing: a new job"))))
    return rows
