"""Record to replay: after a mark on two heads, with the head delay on three; mistracking is computed."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.measure.reading import NoReading, Reading
from bench.measure.tone.finding.found_tone import of_one_machine
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import HeadDelayMeasured
from tests.procedure.record_bench import HEAD, Ran, run, step
from tests.results import no_reading
from tests.smooth import smooth_procedures

TARGET = """
[targets.own_mistracking]
unit = "dB"
tolerance = 2.0
source = "common practice, no source"
"""

SENDS = ", ".join(f"{{ hz = {hz}, db = -20, seconds = 1.5 }}" for hz in (400, 1000, 8000))
RECORD = step(
    "record-replay",
    "back",
    sends=f"[{SENDS}]",
    reference_hz="400",
    targets='{ record_replay_level = "machine.record_level", response = "machine.record_response", '
    'mistracking = "machine.own_mistracking" }',
)
ENCODED = step(
    "record-replay",
    "encoded",
    sends="[{ hz = 400, db = -20, seconds = 1.5 }]",
    reference_hz="400",
    targets='{ record_replay_level = "machine.record_level" }',
    noise_reduction='"on"',
)
WORKED_OUT = step("measure", "worked-out", quantity='"mistracking"', target='"machine.own_mistracking"')


def recorded(folder: Path, machine: str, **changes: float) -> Ran:
    smooth_procedures(folder / "procedures")
    path = folder / "procedures" / "sheets" / "machines" / f"{machine}.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("\n[practice]", TARGET + "\n[practice]", 1), "utf-8")
    return run(folder, HEAD + RECORD + ENCODED + WORKED_OUT, machine, seed=3, tape=None, reference_tape=None, **changes)


def of(ran: Ran, name: str, quantity: str) -> list[float]:
    return [
        r.reading.value
        for r in ran.opened.store.records()
        if (r.step, r.reading.quantity) == (name, quantity) and isinstance(r.reading, Reading)
    ]


@pytest.mark.parametrize("machine", ["two-head-cassette", "three-head-cassette"])
def test_a_level_that_is_off_is_read_and_what_a_decoder_makes_of_it(tmp_path: Path, machine: str) -> None:
    ran = recorded(tmp_path, machine, record_level_left_db=-3.0)
    assert of(ran, "back", "record_replay_level") == [pytest.approx(-3.0, abs=0.2), pytest.approx(0.0, abs=0.2)]
    assert len(of(ran, "back", "response")) == 4
    left, right = of(ran, "back", "mistracking")
    # A level error of e dB adds a little more than e at middle and high frequencies (common practice, no source).
    assert -5.0 < left < -3.0
    assert abs(right) < 1.0
    # Readings with noise reduction in do not count.
    assert len(of(ran, "encoded", "record_replay_level")) == 2
    assert of(ran, "worked-out", "mistracking") == [pytest.approx(left, abs=1e-9), pytest.approx(right, abs=1e-9)]
    measured = [e.seconds for e in of_kind(ran.opened.store.events(), HeadDelayMeasured)]
    if machine.startswith("three"):
        assert measured == [pytest.approx(0.143, abs=0.003)] * 2
    else:
        assert measured == []


def test_what_a_weak_erase_head_leaves_of_an_earlier_recording_is_not_taken_for_the_tones(tmp_path: Path) -> None:
    """The earlier recording has each tone while another one is sent, 32 dB weaker."""
    orders = {"before": (400, 6300, 10000, 4000), "after": (400, 10000, 4000, 6300)}
    steps = [
        step(
            "record-replay",
            name,
            sends=f"[{', '.join(f'{{ hz = {hz}, db = -20, seconds = 2 }}' for hz in order)}]",
            reference_hz="400",
            targets='{ record_replay_level = "machine.record_level", response = "machine.record_response" }',
        )
        for name, order in orders.items()
    ]
    smooth_procedures(tmp_path / "procedures")
    text = HEAD + "".join(steps)
    ran = run(tmp_path, text, "two-head-cassette", seed=3, tape=None, reference_tape=None, erase_db=-32.0)
    before, after = (sorted(of(ran, name, "response")) for name in orders)
    assert len(after) == 6
    assert after == pytest.approx(before, abs=0.5)


def test_without_readings_there_is_nothing_to_work_out(tmp_path: Path) -> None:
    smooth_procedures(tmp_path / "procedures")
    path = tmp_path / "procedures" / "sheets" / "machines" / "two-head-cassette.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("\n[practice]", TARGET + "\n[practice]", 1), "utf-8")
    ran = run(tmp_path, HEAD + WORKED_OUT, "two-head-cassette")
    (record,) = ran.opened.store.records()
    assert isinstance(record.reading, NoReading)
    assert record.reading.reason == "no level from record to replay was read at this session, noise reduction out"
    assert ran.outcome.exit_code == 1


def test_each_tone_of_a_dead_channel_is_a_reading_without_a_value(tmp_path: Path) -> None:
    smooth_procedures(tmp_path / "procedures")
    steps = HEAD + RECORD.replace(', mistracking = "machine.own_mistracking"', "")
    ran = run(tmp_path, steps, "three-head-cassette", seed=3, tape=None, reference_tape=None, dead_channel="right")
    right = [r.reading for r in ran.opened.store.records() if r.reading.channel == "right"]
    assert [(r.quantity, r.frequency_hz) for r in right] == [
        ("record_replay_level", 400.0),
        ("response", 1000.0),
        ("response", 8000.0),
    ]
    assert {no_reading(r).reason for r in right} == {"no tone of 400 Hz is heard on the right channel"}


def test_a_tone_of_a_later_step_is_of_the_machine_that_earlier_tones_have_shown(tmp_path: Path) -> None:
    """Short tones seldom show by which law a machine wanders; all tones of a run do so together."""
    one = step(
        "record-replay",
        "later",
        sends="[{ hz = 400, db = -30, seconds = 1.5 }]",
        reference_hz="400",
        targets='{ record_replay_level = "machine.record_level" }',
    )
    three = RECORD.replace(', mistracking = "machine.own_mistracking"', "")
    ran = run(tmp_path, HEAD + three + one, "three-head-cassette", seed=3, grade="average")
    heard = list(ran.opened.runner._bench.heard)
    alone, together = (of_one_machine(tones)[-1].tones[0].level_wander.slower for tones in (heard[-1:], heard))
    (kept,) = (
        c.value
        for r in ran.opened.store.records()
        if r.step == "later" and r.reading.quantity == "record_replay_level" and r.reading.channel == "left"
        for c in getattr(r.reading, "budget", ())
        if c.source == "slower wander"
    )
    assert len(heard) == 4
    assert alone != pytest.approx(together, rel=0.02)
    assert kept == pytest.approx(together, rel=1e-6)
