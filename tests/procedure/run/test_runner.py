"""The runner: what it requires and keeps, and how a run ends; on the practice machine, by commands alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.procedure.run import commands as say
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Acted, Overridden, Repeated, SoundLost, StoppedListening
from bench.procedure.state.snapshot import Snapshot
from bench.run_request import RunRequest
from bench.training.hands import UnattendedHands
from bench.workspace import Workspace
from tests.procedure.flow_bench import CLEAN, HEAD, LEVEL, words
from tests.results import no_reading
from tests.smooth import smooth_procedures

RECORD = """
[[step]]
kind = "record-replay"
id = "record"
title = "Record"
do = "Record."
sends = [{ hz = 400, db = -20, seconds = 1.0 }, { hz = 1000, db = -20, seconds = 1.0 }]
reference_hz = 400
targets = { response = "machine.record_response" }
"""

CIRCUIT = """
[[step]]
kind = "measure"
id = "encoder"
title = "Encoder"
do = "Move the switch when asked."
quantity = "encoding_error"
noise_reduction = "record-only"
target = "machine.noise_reduction_circuit"
"""


@pytest.fixture
def begin(tmp_path: Path) -> Callable[[str], OpenRun]:
    smooth_procedures(tmp_path / "procedures")

    def opened(steps: str) -> OpenRun:
        (tmp_path / "procedures" / "t.toml").write_text(HEAD + steps, encoding="utf-8")
        run = open_run(Workspace(tmp_path), RunRequest("t", seed=1), RehearsalClock(), real_time=False)
        run.port.open()
        run.runner.begin()
        return run

    return opened


def listen(run: OpenRun, until: Callable[[Snapshot], bool], limit_s: float = 60.0) -> Snapshot:
    """Let it listen until a condition on the snapshot holds."""
    stop = run.clock.now() + limit_s
    while run.clock.now() < stop and not run.runner.finished:
        for _ in range(5):
            if run.runner.wants_sound:
                block = run.port.read(0.0)
                assert block is not None
                run.runner.hear(block)
        seen = run.runner.snapshot()
        if until(seen) or not run.runner.wants_sound:
            return seen
    return run.runner.snapshot()


def acts(run: OpenRun) -> list[str]:
    return [e.act for e in of_kind(run.store.events(), Acted)]


def test_the_reference_tape_stays_out_of_an_uncleaned_machine(begin: Callable[[str], OpenRun]) -> None:
    run = begin(LEVEL)
    shown = run.runner.snapshot()
    assert (shown.prompt.kind, shown.prompt.interlock) == ("reason", True)
    assert acts(run) == []
    run.runner.obey(say.GoOn())
    assert run.runner.snapshot().prompt.interlock
    run.runner.obey(say.Answer("   "))
    assert acts(run) == []
    run.runner.obey(say.Answer("cleaned this morning"))
    assert acts(run) == ["load-reference-tape"]
    assert [e.reason for e in of_kind(run.store.events(), Overridden)] == ["cleaned this morning"]


@pytest.mark.parametrize("recording", [RECORD, CIRCUIT], ids=["record-replay", "noise-reduction circuit"])
def test_nothing_records_before_the_reference_tape_is_out(begin: Callable[[str], OpenRun], recording: str) -> None:
    run = begin(CLEAN + LEVEL + recording)
    run.runner.obey(say.GoOn())
    run.runner.obey(say.Skip("level another day"))
    shown = run.runner.snapshot()
    assert (shown.prompt.kind, shown.prompt.interlock) == ("confirm", True)
    assert acts(run)[-1] == "load-reference-tape"
    run.runner.obey(say.Answer("no"))
    assert acts(run)[-1] == "load-reference-tape"
    run.runner.obey(say.GoOn())
    assert acts(run)[-1] == "load-work-tape"
    assert run.runner.snapshot().sending == ""  # not before the person starts the tones
    run.runner.obey(say.GoOn())
    assert "tones" in run.runner.snapshot().sending


def test_a_skipped_judged_step_is_no_clean_run(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + RECORD)
    run.runner.obey(say.GoOn())
    run.runner.obey(say.Skip(" "))
    assert "say why" in run.runner.snapshot().notice
    run.runner.obey(say.Skip("no tape"))
    outcome = run.runner.outcome()
    assert (outcome.completed, outcome.exit_code, outcome.said) == (True, 1, "Not all in. Skipped: Record.")


def test_what_is_not_in_is_accepted_only_with_a_reason_that_is_kept(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + LEVEL)
    run.runner.obey(say.GoOn())
    shown = listen(run, lambda s: s.can_accept)
    assert all(g.verdict is not None and g.verdict.word == "out" for g in shown.gauges)
    run.runner.obey(say.GoOn())
    assert "is not in (out)" in run.runner.snapshot().notice
    run.runner.obey(say.Accept(""))
    assert run.store.records() == ()
    run.runner.obey(say.Accept("the owner wants it so"))
    kept = run.store.records()
    assert [(r.reading.channel, r.judged, r.accepted_because) for r in kept] == [
        ("left", True, "the owner wants it so"),
        ("right", True, "the owner wants it so"),
    ]
    outcome = run.runner.outcome()
    assert (outcome.completed, outcome.exit_code, outcome.words) == (True, 1, {"out": 2})


MEASURE = """
[[step]]
kind = "measure"
id = "measured"
title = "Measured"
do = "Let it play."
quantity = "level"
plays = "level-400"
seconds = 2.0
target = "machine.replay_level"
"""


PLAY = """
[[step]]
kind = "reference"
id = "response"
stage = "found-clean"
title = "Response"
do = "Let it play."
purposes = ["response"]
targets = { response = "machine.replay_response" }
"""


def test_the_last_attempt_is_the_one_that_counts(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + MEASURE)
    run.runner.obey(say.GoOn())
    listen(run, lambda s: "not in" in s.prompt.text)
    run.runner.obey(say.Repeat())
    shown = listen(run, lambda s: "not in" in s.prompt.text)
    assert shown.prompt.kind == "go-on"  # no step of this job adjusts level: what is out is the result
    run.runner.obey(say.GoOn())
    assert [(r.attempt, r.reading.channel) for r in run.store.records()] == [
        (1, "left"),
        (1, "right"),
        (2, "left"),
        (2, "right"),
    ]
    assert [e.step for e in of_kind(run.store.events(), Repeated)] == ["measured"]
    outcome = run.runner.outcome()
    assert (outcome.judged, outcome.words, outcome.exit_code) == (2, {"out": 2}, 1)


def test_tones_are_sent_again_where_the_sound_device_lost_a_moment(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + RECORD)
    run.runner.obey(say.GoOn())
    run.runner.obey(say.GoOn())
    listen(run, lambda s: any(t.state == "sounding" for t in s.tones))
    lose(run)
    assert run.runner.snapshot().notice == "sound was lost for 12 ms: what was being measured is measured again"
    listen(run, lambda s: not run.runner.wants_sound, 120.0)
    assert [e.detail for e in of_kind(run.store.events(), SoundLost)] == ["for 12 ms"]
    assert all(r.measured is not None for r in run.store.records())


def test_a_computer_that_keeps_losing_sound_is_told_and_not_waited_for(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + RECORD)
    run.runner.obey(say.GoOn())
    run.runner.obey(say.GoOn())
    stop = run.clock.now() + 120.0
    while run.runner.wants_sound and run.clock.now() < stop:
        lose(run)
    kept = run.store.records()
    assert len(kept) == 4
    assert all(no_reading(r.reading).reason.startswith("sound was lost for") for r in kept)
    assert len(list(of_kind(run.store.events(), SoundLost))) == 5


def lose(run: OpenRun) -> None:
    """The next block comes 12 ms late."""
    block = run.port.read(0.0)
    assert block is not None
    lost = round(0.012 * run.port.status.sample_rate)
    run.runner.hear(replace(block, samples=block.samples[lost:], start=block.start + lost, lost=lost))


def test_a_tone_that_never_comes_is_missing_with_its_reason(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + RECORD)
    run.runner.obey(say.GoOn())
    run.runner.obey(say.GoOn())
    run.port.send(None)  # a cable fell out
    shown = listen(run, lambda s: "not in" in s.prompt.text)
    assert [t.state for t in shown.tones] == ["missing", "missing"]
    kept = run.store.records()
    assert len(kept) == 4
    assert all(no_reading(r.reading).reason.startswith("the start mark did not come back") for r in kept)
    run.runner.obey(say.Answer("cable"))
    assert run.runner.outcome().exit_code == 1


def test_a_trimmer_that_is_not_there_is_said(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN)
    run.runner.obey(say.Turn("loudness", 5.0))
    assert "loudness" in run.runner.snapshot().notice


def test_leaving_keeps_the_session_for_another_day(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + RECORD)
    run.runner.obey(say.GoOn())
    run.runner.obey(say.Leave())
    assert run.runner.finished
    outcome = run.runner.outcome()
    assert (outcome.completed, outcome.exit_code) == (False, 1)
    assert run.store.steps_done() == ("clean",)


def test_all_sound_stops_at_one_command(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + RECORD)
    run.runner.obey(say.GoOn())
    run.runner.obey(say.GoOn())
    assert run.runner.snapshot().sending
    run.runner.obey(say.StopSound())
    shown = listen(run, lambda _: False, 30.0)
    assert (shown.sending, shown.prompt.kind, shown.prompt.left_s, shown.tones[0].state) == (
        "",
        "go-on",
        None,
        "waiting",
    )
    assert run.store.records() == ()
    run.runner.obey(say.GoOn())
    shown = run.runner.snapshot()
    assert (shown.sending, shown.prompt.sounds) == ("", True)
    assert [e.step for e in of_kind(run.store.events(), Repeated)] == [shown.step.id if shown.step else ""]


def test_a_key_pressed_by_mistake_does_not_end_a_play(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + PLAY)
    run.runner.obey(say.GoOn())
    listen(run, lambda s: any(t.state == "done" for t in s.tones), 120.0)
    run.runner.obey(say.GoOn())
    shown = run.runner.snapshot()
    assert "not all tones have come" in shown.notice
    assert shown.can_accept
    assert any(t.state in ("waiting", "sounding") for t in shown.tones)
    run.runner.obey(say.Accept("the tape ends here"))
    assert run.runner.finished
    (stopped,) = of_kind(run.store.events(), StoppedListening)
    assert stopped.reason == "the tape ends here"


def test_what_was_said_of_a_step_is_over_when_the_step_ends_by_itself(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + RECORD + words("talk"))
    for _ in range(3):
        run.runner.obey(say.GoOn())
    assert run.runner.snapshot().notice.startswith("the tones are being recorded")
    shown = listen(run, lambda s: s.step is not None and s.step.id == "talk")
    assert (shown.step and shown.step.id, shown.notice) == ("talk", "")


def test_ticks_and_untitled_ticks(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + 'checklist = ["heads", "roller"]\n')
    run.runner.obey(say.Tick(1))
    assert [c.ticked for c in run.runner.snapshot().checks] == [False, True]
    run.runner.obey(say.Tick(7))
    assert run.runner.snapshot().notice == "the checklist has 2 lines"


def test_in_but_near_its_limit_is_said_before_it_is_accepted(begin: Callable[[str], OpenRun]) -> None:
    run = begin(CLEAN + LEVEL)
    run.runner.obey(say.GoOn())
    hands, seen = UnattendedHands(), run.runner.snapshot()
    for _ in range(400):
        command = hands.decide(seen, run.clock.now())
        if isinstance(command, say.GoOn):
            break
        if command is not None:
            run.runner.obey(command)
        seen = listen(run, lambda s: True)
    assert seen.prompt.text == "In, and holding: accept it"
    # Small turns: with the reference tape's ±0.2 dB a reading is in up to 0.30 dB, and near its limit from 0.25 dB.
    for _ in range(40):
        run.runner.obey(say.Turn("replay level left", 0.2))
        listen(run, lambda s: False, 4.0)
        seen = run.runner.snapshot()
        measured = seen.gauges[0].measured  # none while the section is wound back
        if measured is not None and abs(measured.value + 12.0) > 0.255:
            break
    assert [g.verdict and g.verdict.word for g in seen.gauges] == ["in", "in"]
    assert seen.prompt.text == "In, but near its limit: turn further, or accept it"
