"""A reading that is adjusted live, to the reference tape."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from bench.measure.reading import Reading
from bench.procedure.run.commands import Accept, Command, GoOn
from bench.procedure.state.snapshot import Snapshot
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from tests.procedure.record_bench import HEAD, open_bench, step

TO_TAPE = (
    HEAD
    + step("by-hand", "swap", does='["clean", "demagnetise", "load-reference-tape", "output-to-mark"]')
    + step(
        "adjust",
        "level",
        quantity='"level"',
        plays='"level-400"',
        target='"machine.replay_level"',
        trimmers='{ left = "replay level left", right = "replay level right" }',
    )
)


@dataclass(slots=True)
class AcceptsInThePause(UnattendedHands):
    """Reads the gauges, and accepts them once the section is over and being wound back."""

    was_read: bool = False

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """Wait for a reading, then for its end."""
        if not snapshot.gauges:
            return UnattendedHands.decide(self, snapshot, now)
        self.was_read = self.was_read or snapshot.can_accept
        silent = all(gauge.measured is None for gauge in snapshot.gauges)
        return Accept("the tape is being wound back") if self.was_read and silent else None


def test_what_was_read_before_a_pause_of_the_tape_is_kept(tmp_path: Path) -> None:
    """A person types the reason while the section ends: the average still holds."""
    opened, _ = open_bench(tmp_path, TO_TAPE, "three-head-cassette", seed=2, changes={})
    try:
        rehearse(opened.runner, opened.port, opened.clock, AcceptsInThePause())
    finally:
        opened.store.close()
    kept = [r for r in opened.store.records() if r.step == "level"]
    assert len(kept) == 2
    for record in kept:
        assert isinstance(record.reading, Reading), record.reading


@dataclass(slots=True)
class GoesOnInThePause(UnattendedHands):
    """Turns until all is in and holds; presses the key of the prompt only once the section is over."""

    asked: str = ""

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """Wait until the tone ends."""
        command = UnattendedHands.decide(self, snapshot, now)
        if not snapshot.gauges or not isinstance(command, GoOn):
            return command
        if any(gauge.measured is not None for gauge in snapshot.gauges):
            return None
        self.asked = snapshot.prompt.text
        return command


def test_what_held_until_the_section_ended_is_accepted_with_the_same_key(tmp_path: Path) -> None:
    opened, _ = open_bench(tmp_path, TO_TAPE, "three-head-cassette", seed=2, changes={})
    hands = GoesOnInThePause()
    try:
        rehearse(opened.runner, opened.port, opened.clock, hands)
    finally:
        opened.store.close()
    assert hands.asked == "In, and it held until the tone ended: accept it"
    kept = [r for r in opened.store.records() if r.step == "level"]
    assert [r.verdict and r.verdict.word for r in kept] == ["in", "in"]
    assert not any(r.accepted_because for r in kept)


def test_a_channel_that_stays_silent_keeps_nobody_for_long(tmp_path: Path) -> None:
    """The other channel is adjusted, and the step accepted with a reason."""
    opened, _ = open_bench(tmp_path, TO_TAPE, "three-head-cassette", seed=2, changes={"dead_channel": "left"})
    begun = opened.clock.now()
    try:
        rehearse(opened.runner, opened.port, opened.clock, UnattendedHands())
    finally:
        opened.store.close()
    assert opened.clock.now() - begun < 150.0
    kept = {r.reading.channel: r for r in opened.store.records() if r.step == "level"}
    assert not isinstance(kept["left"].reading, Reading)
    assert kept["right"].verdict is not None
    assert kept["right"].verdict.word == "in"


def test_a_response_to_the_tape_reads_the_same_in_an_adjust_step_and_in_a_whole_play(tmp_path: Path) -> None:
    """Nothing is turned in between: what the certificate says of 10 kHz (0.2 dB) is in both readings and targets."""
    procedure = (
        TO_TAPE
        + step(
            "adjust",
            "treble",
            quantity='"response"',
            plays='"response-10k"',
            target='"machine.replay_response"',
            trimmers='{ left = "replay equalisation left", right = "replay equalisation right" }',
        )
        + step(
            "reference", "play", purposes='["level", "response"]', targets='{ response = "machine.replay_response" }'
        )
    )
    opened, _ = open_bench(tmp_path, procedure, "three-head-cassette", seed=2, changes={})
    try:
        rehearse(opened.runner, opened.port, opened.clock, UnattendedHands())
    finally:
        opened.store.close()
    read = {
        (r.step, r.reading.channel): (r.reading.value, r.off)
        for r in opened.store.records()
        if isinstance(r.reading, Reading) and r.reading.quantity == "response" and r.reading.frequency_hz == 10000.0
    }
    for side in ("left", "right"):
        (turned, off), (played, still_off) = read["treble", side], read["play", side]
        assert turned == pytest.approx(played, abs=0.05)
        assert off is not None
        assert still_off == pytest.approx(off, abs=0.05)
