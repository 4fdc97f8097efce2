"""A recording is found by its start mark at any speed: at once on three heads, after a rewind on two."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.record.passage import Passage, Replayed
from bench.signals.tones import Gap, Tone, ToneSequence
from tests.procedure.record_bench import HEAD, TWO, adjust, open_bench

RATE = 48000
SOURCE = ToneSequence([Tone(1000.0, -20.0, 1.5), Gap(0.5), Tone(3000.0, -20.0, 1.5), Gap(0.5)], RATE)


def make_bench(folder: Path, machine: str) -> Bench:
    text = HEAD + adjust("bias", "response", TWO, "tape.bias", "bias", frequency="10000", reference_frequency="400")
    opened, _ = open_bench(folder, text, machine, seed=2, changes={})
    opened.port.open()
    return Bench(opened.job, opened.port, opened.store, opened.clock)


def listen(bench: Bench, passage: Passage, until: str, limit_s: float = 40.0) -> list[Replayed]:
    """Blocks until a phase is reached."""
    out = []
    for _ in range(round(limit_s * 50)):
        block = bench.port.read(0.0)
        assert block is not None
        heard = passage.hear(block)
        if heard is not None:
            out.append(heard)
        if passage.phase == until:
            break
    return out


def starts_of(heard: list[Replayed], hz: float) -> float:
    """When a tone begins, by the time of the source."""
    sound = np.concatenate([h.samples[:, 0] for h in heard])
    n = np.arange(len(sound))
    size = np.abs(np.convolve(sound * np.exp(-2j * np.pi * hz * n / RATE), np.ones(480) / 480, mode="same"))
    return float(heard[0].at_s + np.flatnonzero(size > 0.5 * np.percentile(size, 95))[0] / RATE)


def test_three_heads_hear_it_at_once_and_tell_the_way_from_head_to_head(tmp_path: Path) -> None:
    bench = make_bench(tmp_path, "three-head-cassette")
    passage = Passage(bench, SOURCE, None, at_once=True)
    passage.record()
    heard = listen(bench, passage, "over")
    # 4 mm at 47.625 mm/s; the practice machine works on chunks of 40 ms, and its filters are linear in phase.
    filters_s = (1024 + 768) / 2 / RATE
    assert passage.head_delay_s == pytest.approx(4.0 / 47.625 + 0.04 + filters_s, abs=0.002)
    assert passage.why_not == ""
    assert sum(len(h.samples) for h in heard) == SOURCE.frames
    # The tone follows the mark directly, so its start is a second measure of the same delay.
    assert starts_of(heard, 1000.0) == pytest.approx(0.0, abs=0.006)
    assert starts_of(heard, 3000.0) == pytest.approx(2.0, abs=0.02)


@pytest.mark.parametrize("percent", [-4.0, 0.0, 3.0])
def test_two_heads_find_it_whatever_the_speed(tmp_path: Path, percent: float) -> None:
    bench = make_bench(tmp_path, "two-head-cassette")
    passage = Passage(bench, SOURCE, None, at_once=False, waits=True)
    passage.record()
    assert listen(bench, passage, "recorded") == []
    bench.transport("stop")
    machine = bench.port.machine  # type: ignore[attr-defined]
    speed = machine._trimmers["speed"]
    speed._offset += percent  # the motor runs at a different speed during replay
    passage.replay()
    heard = listen(bench, passage, "over")
    assert passage.why_not == ""
    assert passage.speed == pytest.approx(1 + percent / 100, abs=0.004)
    assert starts_of(heard, 1000.0 * passage.speed) == pytest.approx(0.0, abs=0.03)
    assert heard[-1].at_s + len(heard[-1].samples) / RATE == pytest.approx(4.0, abs=0.05)


def test_what_was_recorded_before_is_not_taken_for_it(tmp_path: Path) -> None:
    """The second recording begins 1.5 s late: the older mark lies ahead of the new one, and its lead-in erases it."""
    bench = make_bench(tmp_path, "two-head-cassette")
    for level, late in ((-10.0, 0.0), (-36.0, 1.5)):
        passage = Passage(bench, ToneSequence([Tone(1000.0, level, 2.0)], RATE), None, at_once=False, waits=True)
        passage.record()
        bench.port.machine._stock_tape.tape.position = late * RATE  # type: ignore[attr-defined]
        listen(bench, passage, "recorded")
    bench.transport("stop")
    passage.replay()
    sound = np.concatenate([h.samples[:, 0] for h in listen(bench, passage, "over")])
    middle = sound[RATE // 2 : 3 * RATE // 2]
    # Sent and replayed at -36 dBFS; the older recording and the mark have higher levels.
    assert 10 * np.log10(2 * np.mean(middle**2)) == pytest.approx(-36.0, abs=0.5)


def test_no_mark_says_what_to_look_at(tmp_path: Path) -> None:
    bench = make_bench(tmp_path, "three-head-cassette")
    passage = Passage(bench, SOURCE, None, at_once=True)
    passage.record()
    bench.port.send(None)
    assert listen(bench, passage, "over") == []
    assert passage.why_not.startswith("the start mark did not come back; check that the machine records")
    two = Passage(bench, SOURCE, None, at_once=False)
    two.give_up()
    assert "rewind to before where the recording began" in two.why_not
