"""Tests that distinguish causes that look alike, as steps that a trainee can run in mid-exercise.

They have the same names as in `rivals` and in the diagnosis. Common practice, no source.
"""

from __future__ import annotations

from bench.problem import Problem
from bench.procedure.model.job import Job, JobStep
from bench.procedure.model.step_base import Caution
from bench.procedure.model.steps import CIRCUIT, ByHand, Measure, Part, Purpose, RecordReplay, Reference, SentTone
from bench.words.sentences import capitalised

LOOKS: dict[str, Part] = {
    "wipe the replay head with a fresh swab": "replay-swab",
    "wipe the record head with a fresh swab": "record-swab",
    "look at the head face with a lens: flat, or a groove?": "head-face",
    "look at the tape selector": "selector",
    "look at the output control": "output-control",
    "read the box of the tape": "shell",
    "stop the tape: does the noise stay?": "hiss-of-stopped-tape",
}
"""Tests by eye, and the part to look at."""

TONES = Caution(hazard="loud-tones", say="Tones start as soon as you go on. Loudspeakers down. s or F9 stops them.")


def distinguishing_tests(job: Job) -> dict[str, tuple[JobStep, ...]]:
    """The tests that the machine and tapes of a job allow, each with its steps."""
    tests: dict[str, tuple[JobStep, ...]] = {
        **{name: (_look(name, part),) for name, part in LOOKS.items()},
        "read the delay between the channels at three tones": (
            _played("test-delay", "Test: delay, from the reference tape", "azimuth", "azimuth_delay", "replay_azimuth"),
        ),
        "record three tones, and read the delay between the channels": (_recorded_delay(),),
        "clean the head, and read the treble again": (
            _clean(),
            _played("test-treble", "Test: treble, from the reference tape", "response", "response", "replay_response"),
        ),
        "compare the error with 20 per cent": (
            _played("test-speed", "Test: speed, from the reference tape", "speed", "speed_error", "speed_accepted"),
        ),
        "read the third harmonic at the reference level": (_third_harmonic(),),
        "measure erasure before and after cleaning": (_erasure("before"), _clean(), _erasure("after")),
        "record with noise reduction in and replay with it out": (_circuit("encoding_error"),),
        "record with noise reduction out and replay with it in": (_circuit("decoding_error"),),
    }
    return {name: steps for name, steps in tests.items() if all(_possible(job, step) for step in steps)}


def _look(name: str, part: Part) -> ByHand:
    do = f"{capitalised(name)}{'' if name.endswith('?') else '.'}"
    return ByHand(
        kind="by-hand", id=f"test-{part}", title=f"Test: {name}", do=do, looks_at=(part,), stage="found-clean"
    )


def _clean() -> ByHand:
    title = "Test: clean the heads"
    do = "Clean the heads with fresh swabs, and look at what comes away."
    return ByHand(
        kind="by-hand", id="test-clean", title=title, do=do, does=("clean",), looks_at=("swab",), stage="found-clean"
    )


def _played(id_: str, title: str, purpose: Purpose, quantity: str, target: str) -> Reference:
    return Reference.model_validate(
        {
            "kind": "reference",
            "id": id_,
            "title": title,
            "do": "Play the reference tape. Each tone is measured as it comes.",
            "purposes": (purpose,),
            "targets": {quantity: f"machine.{target}"},
            "stage": "found-clean",
        }
    )


def _recorded_delay() -> RecordReplay:
    return RecordReplay(
        kind="record-replay",
        id="test-recorded-delay",
        title="Test: delay between the channels, recorded",
        do="Let it record. Three tones are sent, and replayed at once.",
        sends=tuple(SentTone(hz=hz, db=-20.0) for hz in (1000.0, 3150.0, 10000.0)),
        reference_hz=1000.0,
        targets={"azimuth_delay": "machine.record_azimuth"},
        cautions=(TONES,),
        stage="found-clean",
    )


def _third_harmonic() -> Measure:
    return Measure(
        kind="measure",
        id="test-third-harmonic",
        title="Test: third harmonic at the reference level",
        do="Let it record: 400 Hz at the reference level.",
        quantity="third_harmonic",
        method="of the fundamental",
        sends=(SentTone(hz=400.0, db=0.0),),
        frequency=400.0,
        target="machine.third_harmonic",
        cautions=(TONES,),
        stage="found-clean",
    )


def _erasure(when: str) -> Measure:
    return Measure(
        kind="measure",
        id=f"test-erasure-{when}",
        title=f"Test: erasure, {when} cleaning",
        do="Let it record: 1 kHz at +3 dB. When asked, record over it with silence, then play.",
        quantity="erasure",
        erases=True,
        sends=(SentTone(hz=1000.0, db=3.0, seconds=10.0),),
        frequency=1000.0,
        seconds=10.0,
        target="machine.erasure",
        cautions=(TONES,),
        stage="found-clean",
    )


def _circuit(quantity: str) -> Measure:
    encodes = quantity == "encoding_error"
    return Measure.model_validate(
        {
            "kind": "measure",
            "id": f"test-{'encoder' if encodes else 'decoder'}",
            "title": "Test: the encoder apart" if encodes else "Test: the decoder apart",
            "do": "Tones are recorded and replayed twice. Move the noise-reduction switch when asked.",
            "quantity": quantity,
            "noise_reduction": "record-only" if encodes else "replay-only",
            "target": "machine.noise_reduction_circuit",
            "cautions": (TONES,),
            "stage": "found-clean",
        }
    )


def _possible(job: Job, step: JobStep) -> bool:
    """Whether the sheets have what a step needs."""
    if isinstance(step, Reference) and not any(s.purpose in step.purposes for s in job.reference_tape.section):
        return False
    if isinstance(step, RecordReplay) and job.machine.heads < 3:  # on two heads its own recording shows no azimuth
        return False
    if isinstance(step, Measure) and step.quantity in CIRCUIT and not job.machine.noise_reduction:
        return False
    names: list[str] = []
    if isinstance(step, Reference | RecordReplay):
        names += step.targets.values()
    elif isinstance(step, Measure) and step.target is not None:
        names.append(step.target)
    try:
        for name in names:
            job.target(name)
    except Problem:
        return False
    return True
