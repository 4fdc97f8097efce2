"""Made-up sessions: a deck found dirty and dull, cleaned, aligned, and left in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

from bench.clock import RehearsalClock
from bench.measure.method import Method
from bench.measure.reading import Channel, NoReading, Reading, Result
from bench.measure.stage import Stage
from bench.procedure.model.targets import Target, judge
from bench.procedure.state.event_kinds import Event
from bench.procedure.state.events import Acted, Answered, Done, Noted, SignedOff, Started, Ticked, Turned
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.record import JobFacts
from bench.session.record.steps import StepCaution, StepFacts
from bench.session.record.store import SessionStore

START = datetime(2026, 5, 3, 10, 12, tzinfo=UTC)
JOB = JobFacts(
    machine="Lanternhill two-head deck",
    tape="Lanternhill ferric work tape",
    reference_tape="Lanternhill cassette reference tape",
    procedure="Line up a cassette deck",
    speed="47.6 mm/s",
    equalisation="3180 µs and 120 µs",
    reference_level="250 nWb/m (DIN)",
    heads=2,
    port="practice machine",
    port_kind="practice",
    sample_rate=48000,
    procedure_id="line-up",
)
PROCEDURE = """\
format = 1
title = "Line up a cassette deck"
"""

STEPS = (
    StepFacts("dirty", "Record-to-replay before cleaning", "record-replay", "found-dirty"),
    StepFacts(
        "clean/swab",
        "Swab heads, capstan and pinch roller",
        "by-hand",
        cautions=(StepCaution("solvent", "Flammable: ventilate, no sparks. Follow the maker's safety data sheet."),),
    ),
    StepFacts(
        "found",
        "Reference tape as found",
        "reference",
        "found-clean",
        cautions=(StepCaution("reference-tape", "Never in a machine that was not cleaned and demagnetised."),),
    ),
    StepFacts("found-record", "Record-to-replay as found", "record-replay", "found-clean"),
    StepFacts(
        "replay-level",
        "Replay level",
        "adjust",
        cautions=(StepCaution("loud-tones", "Monitors down before any tone."),),
    ),
    StepFacts("proof-replay", "Reference tape as left", "reference"),
    StepFacts("proof-record", "Record-to-replay as left", "record-replay"),
    StepFacts("sign", "Sign off", "sign-off"),
)

LEVEL = Target(value=-12.0, unit="dBFS", tolerance=0.5, source="common practice, no source")
FLAT = Target.model_validate(
    {
        "unit": "dB",
        "bands": (
            {"from_hz": 30.0, "to_hz": 63.0, "tolerance": 3.0},
            {"from_hz": 63.0, "to_hz": 10000.0, "tolerance": 2.0},
            {"from_hz": 10000.0, "to_hz": 12500.0, "tolerance": 3.0},
        ),
        "source": "common practice, no source",
    }
)
AZIMUTH = Target(unit="µs", tolerance=5.0, source="common practice, no source")
SPEED = Target(unit="%", tolerance=0.5, source="common practice, no source")
RECORD_LEVEL = Target(unit="dB", tolerance=0.5, source="common practice, no source")
Source = Literal["reference tape", "record-replay", "owner's tape", "machine"]

TONES = (40.0, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 6300.0, 8000.0, 10000.0, 12500.0)


class Writer:
    """Writes a session as a run would, one minute per event."""

    def __init__(self, store: SessionStore) -> None:
        self.store = store
        self.count = 0
        self.time = START

    def keep(
        self,
        step: str,
        stage: Stage,
        source: Source,
        readings: Sequence[tuple[Result, Target | None]],
        *,
        sent_db: float | None = None,
        because: str = "",
    ) -> None:
        self.time += timedelta(minutes=2)
        records = []
        for reading, target in readings:
            self.count += 1
            verdict = judge(reading, target) if target is not None else None
            records.append(
                ReadingRecord(
                    f"r{self.count:04d}",
                    step,
                    stage,
                    stage == "left" and target is not None,
                    source,
                    reading,
                    verdict,
                    self.time,
                    sent_db,
                    because if verdict is not None and verdict.word != "in" else "",
                )
            )
        self.store.keep(tuple(records))

    def note(self, step: str, event: Event) -> None:
        self.time += timedelta(minutes=1)
        self.store.note(replace(event, step=step, time=self.time))

    def finish(self) -> None:
        """End the session; its result follows from the readings."""
        self.store.note(Done(time=START))


def level(channel: Channel, value: float) -> tuple[Reading, Target]:
    return (
        Reading(
            "level",
            channel,
            value,
            0.12,
            frequency_hz=315.0,
            method=Method("steady tone, tracked"),
            reference="full-scale sine",
        ),
        LEVEL,
    )


def response(channel: Channel, loss: float, top: float = 1.0) -> list[tuple[Reading, Target]]:
    """A response that falls by `loss` dB up to 10 kHz, roughly as from spacing."""
    out = []
    for n, hz in enumerate(TONES):
        value = -loss * hz / 10000.0 + 0.25 * top * (-1) ** n + (0.8 if hz < 80 else 0.0)
        if hz == 500.0:
            value = 0.0
        reading = Reading(
            "response",
            channel,
            round(value, 3),
            0.11,
            frequency_hz=hz,
            method=Method("steady tone, tracked"),
            reference="500 Hz at −20 dB",
        )
        out.append((reading, FLAT))
    return out


def azimuth(value: float) -> tuple[Reading, Target]:
    return Reading(
        "azimuth_delay", "left-right", value, 0.4, frequency_hz=10000.0, method=Method("phase of rising tones")
    ), AZIMUTH


def speed(value: float) -> tuple[Reading, Target]:
    return Reading(
        "speed_error", "both", value, 0.031, frequency_hz=3150.0, method=Method("slope of phase"), reference="3150 Hz"
    ), SPEED


def record_level(channel: Channel, value: float) -> tuple[Reading, Target]:
    reading = Reading(
        "record_replay_level",
        channel,
        value,
        0.09,
        frequency_hz=500.0,
        method=Method("steady tone, tracked"),
        reference="the level sent",
    )
    return reading, RECORD_LEVEL


def begin(tmp_path: Path, *, steps: tuple[StepFacts, ...] = STEPS, **job: Any) -> Writer:
    """A session with its steps and the copy of its procedure, still without entries."""
    folder = tmp_path / "procedures"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "line-up.toml").write_text(PROCEDURE, encoding="utf-8")
    inputs = [folder / "line-up.toml"]
    clock = RehearsalClock(START)
    store = SessionStore.create(tmp_path / "sessions", replace(JOB, **job), inputs, clock, steps=steps)
    return Writer(store)


def whole(tmp_path: Path, *, treble_left: float = 0.3, finish: bool = True, **job: Any) -> Path:
    """A whole line-up; `treble_left` is the remaining loss at 10 kHz. Returns the folder of the session."""
    w = begin(tmp_path, **job)
    w.note("dirty", Started())
    sides: tuple[Channel, ...] = ("left", "right")
    w.keep("dirty", "found-dirty", "record-replay", [record_level("left", -1.6), record_level("right", -0.9)])
    for side, loss in zip(sides, (11.2, 6.3), strict=True):
        w.keep("dirty", "found-dirty", "record-replay", response(side, loss), sent_db=-20.0)
    w.store.step_done("dirty")
    w.note("clean/swab", Acted("clean"))
    w.note("clean/swab", Ticked(("heads", "capstan", "pinch roller")))
    w.store.step_done("clean/swab")
    w.keep("found", "found-clean", "reference tape", [level("left", -13.4), level("right", -10.9)], sent_db=0.0)
    for side, loss in zip(sides, (4.1, 3.8), strict=True):
        w.keep("found", "found-clean", "reference tape", response(side, loss), sent_db=-20.0)
    w.keep("found", "found-clean", "reference tape", [azimuth(21.4), speed(0.62)])
    w.store.step_done("found")
    w.keep("found-record", "found-clean", "record-replay", [record_level("left", -1.3), record_level("right", -0.7)])
    for side, loss in zip(sides, (5.0, 4.7), strict=True):
        w.keep("found-record", "found-clean", "record-replay", response(side, loss), sent_db=-20.0)
    w.store.step_done("found-record")
    w.note("replay-level", Turned("replay level left", (12.0, 25.0, -3.0)))
    w.keep("replay-level", "left", "reference tape", [level("left", -12.1)], sent_db=0.0)
    w.store.step_done("replay-level")
    w.note("replay-level", Answered(12.0, "mV"))
    w.note("replay-level", Noted("Trimmer of the left channel is noisy; lacquered."))
    w.keep("proof-replay", "left", "reference tape", [level("left", -12.04), level("right", -11.93)], sent_db=0.0)
    for side in sides:
        w.keep("proof-replay", "left", "reference tape", response(side, 0.2, 0.6), sent_db=-20.0)
    w.keep("proof-replay", "left", "reference tape", [azimuth(0.7), speed(0.04)])
    w.store.step_done("proof-replay")
    w.keep("proof-record", "left", "record-replay", [record_level("left", 0.08), record_level("right", -0.11)])
    for side in sides:
        because = "the owner wants the tape finished today"
        w.keep("proof-record", "left", "record-replay", response(side, treble_left), sent_db=-20.0, because=because)
    w.store.step_done("proof-record")
    w.note("sign", SignedOff("The Lanternhill workshop", "the machine as left"))
    w.store.step_done("sign")
    if finish:
        w.finish()
    assert w.store.close() == ""
    return w.store.folder


def failed(channel: Channel, hz: float) -> tuple[NoReading, Target]:
    """A tone that never became steady."""
    return NoReading("response", channel, "the tone was never steady for half a second", frequency_hz=hz), FLAT
