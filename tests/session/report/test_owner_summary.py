"""What was wrong, in one paragraph for the owner."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from bench.measure.reading import Reading
from bench.measure.stage import Stage
from bench.procedure.state.events import Answered, Turned
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.reader import read_session
from bench.session.record.record import FurtherTape, SessionRecord
from bench.session.record.steps import StepFacts
from bench.session.report.owner_summary import complaint, owner_summary, tracking_of
from bench.tape.mistracking_map import ReplayErrors, mistracking_map
from tests.session.made_up import START, whole
from tests.session.years import visit

STEPS = (
    StepFacts("book/which", "Which noise reduction does the owner use?", "entry", noise_reduction=True),
    StepFacts("book/story", "What does the owner say?", "entry", complaint=True),
)

UNCHANGED = "within 0.5 dB of its own level, with less than 0.5 dB of treble lost or gained"


def session_with(tmp_path: Path, said: str | None, **stages: tuple[float, float]) -> SessionRecord:
    """Level and 10 kHz from record to replay at each stage, left channel; the right one is correct."""
    session = read_session(visit(tmp_path, 0, None, None))
    records = []
    for name, (level, treble) in stages.items():
        stage: Stage = {"dirty": "found-dirty", "clean": "found-clean", "left": "left"}[name]  # type: ignore[assignment]
        for n, reading in enumerate(
            (
                Reading("record_replay_level", "left", level, 0.1, frequency_hz=400.0),
                Reading("response", "left", treble, 0.1, frequency_hz=10000.0),
                Reading("record_replay_level", "right", 0.0, 0.1, frequency_hz=400.0),
                Reading("response", "right", 0.0, 0.1, frequency_hz=10000.0),
            )
        ):
            sent = 0.0 if reading.quantity == "record_replay_level" else -20.0
            records.append(ReadingRecord(f"{name}{n}", name, stage, False, "record-replay", reading, None, START, sent))
    answers = () if said is None else (Answered(said, step="book/story", time=START),)
    other = Answered("Type B", step="book/which", time=START)
    turned = Turned("record level left", (5.0,), step="left", time=START)
    return replace(session, readings=tuple(records), events=(other, turned, *answers), steps=STEPS)


def test_the_effect_is_that_of_the_noise_reduction_that_the_owner_uses(tmp_path: Path) -> None:
    session = session_with(tmp_path, None, dirty=(-2.0, -11.2))
    for answer, said in {"Type A": "With Type A", "Type B": "With Type B", "none": "", "another": ""}.items():
        other = Answered(answer, step="book/which", time=START)
        told = owner_summary(replace(session, events=(other, *session.events[1:])))
        assert ("noise reduction switched in" in told) == bool(said)
        assert said in told


def test_from_complaint_to_as_left(tmp_path: Path) -> None:
    session = session_with(tmp_path, "it sounds dull.", dirty=(-2.0, -11.2), clean=(-1.5, -3.0), left=(0.1, -0.2))
    told = owner_summary(session)
    worst = mistracking_map("type-b", ReplayErrors(-2.0, ((10000.0, -11.2),))).worst_db
    assert told.startswith(
        "The owner said: “it sounds dull”. As found, before cleaning, what was recorded came back 2.0 dB too low in "
        "the left channel, with 11.2 dB of treble lost at 10 kHz in the left channel. With Type B noise reduction "
        f"switched in, music would have sounded dull: −{abs(worst):.1f} dB at "
    )
    assert "because the level that came back was 2 dB low and the treble was 11.2 dB low at 10 kHz" in told
    assert f"As left it comes back {UNCHANGED}. With Type B noise reduction" in told
    assert "switched in, music will" in told
    assert "\n" not in told


def test_each_of_several_tapes_is_named_and_has_its_own_figures(tmp_path: Path) -> None:
    session = session_with(tmp_path, None, clean=(-2.0, -4.0), left=(0.1, -0.2))
    other = session_with(tmp_path, None, clean=(3.0, 4.0), left=(0.1, -5.0))
    further = FurtherTape("chrome", "Evening chrome", "Reference, 70 µs", session.job.speed_text, "70 µs")
    job = replace(session.job, tape="Daily ferric", further=(further,))
    chrome = tuple(replace(r, id=f"c{r.id}", lot="chrome") for r in other.readings)
    told = owner_summary(replace(session, job=job, readings=(*session.readings, *chrome)))
    assert "As found, after cleaning, what was recorded on Daily ferric came back 2.0 dB too low" in told
    assert f"As left, what is recorded on Daily ferric comes back {UNCHANGED}." in told
    assert "As found, after cleaning, what was recorded on Evening chrome came back 3.0 dB too loud" in told
    evening = "comes back within 0.5 dB of its own level, with 5.0 dB of treble lost"
    assert f"As left, what is recorded on Evening chrome {evening}" in told


def test_without_a_reading_before_cleaning_it_is_what_was_found_after_it(tmp_path: Path) -> None:
    told = owner_summary(session_with(tmp_path, None, clean=(3.0, 4.0)))
    assert told.startswith(
        "As found, after cleaning, what was recorded came back 3.0 dB too loud in the left channel, with 4.0 dB"
    )
    assert "too much at 10 kHz" in told
    assert "As left" not in told


def test_a_complaint_without_measurement_says_so_and_nothing_is_nothing(tmp_path: Path) -> None:
    assert owner_summary(session_with(tmp_path, "it hums")).endswith("so the cause of the complaint is not known.")
    assert owner_summary(session_with(tmp_path, None)) == ""
    for nobody in ("unattended rehearsal", "Nothing was said."):
        assert complaint(session_with(tmp_path, nobody)) == ""


def test_a_dead_channel_is_no_error_of_level(tmp_path: Path) -> None:
    session = session_with(tmp_path, None, left=(-80.0, 0.0))
    assert owner_summary(session) == ""
    assert tracking_of(session.readings, "left") is None


def test_the_map_is_of_the_worse_channel(tmp_path: Path) -> None:
    session = session_with(tmp_path, None, left=(-3.0, -4.0))
    tracking = tracking_of(session.readings, "left")
    assert tracking is not None
    assert tracking.worst_db == mistracking_map("type-b", ReplayErrors(-3.0, ((10000.0, -4.0),))).worst_db
    assert tracking_of(session.readings, "found-clean") is None


def test_a_session_without_any_of_it(tmp_path: Path) -> None:
    session = read_session(whole(tmp_path))
    assert isinstance(owner_summary(session), str)
