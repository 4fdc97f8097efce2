"""What a person reads at the machine: meters in dB, test points of encoder and decoder in mV, expected by the sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bench.procedure.run.commands import Command
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Answered
from bench.procedure.state.snapshot import Snapshot
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from tests.procedure.record_bench import HEAD, open_bench, run, step

MARK = "[{ hz = 400, db = -1.2 }]"
"""Noise-reduction level: 200 nWb/m (ANSI) is -1.19 dB re 250 nWb/m (DIN); from memory."""
SIGNED = step("sign-off", "sign", accepts='"it"')
READ = (
    HEAD
    + step("entry", "meter", asks='"number"', unit='"dB"', reads='"meter left"', sends=MARK)
    + step("entry", "encoder", asks='"number"', unit='"mV"', reads='"encoder left"', sends=MARK)
    + step("by-hand", "swap", does='["clean", "demagnetise", "load-reference-tape"]')
    + step("entry", "decoder", asks='"number"', unit='"mV"', reads='"decoder left"', plays='"level-400"')
    + SIGNED
)


def read(tmp_path: Path, machine: str, **changes: Any) -> dict[str, Answered]:
    ran = run(tmp_path, READ, machine, seed=2, **changes)
    return {e.step: e for e in of_kind(ran.opened.store.events(), Answered)}


@pytest.mark.parametrize("machine", ["three-head-cassette", "two-head-cassette"])
def test_a_right_machine_reads_what_the_sheet_expects(tmp_path: Path, machine: str) -> None:
    found = read(tmp_path, machine)
    assert float(found["meter"].answer) == pytest.approx(-1.2, abs=0.15)  # read to the nearest tenth
    assert float(found["encoder"].answer) == pytest.approx(580.0, rel=0.01)
    # The level section is 250 nWb/m (DIN): 1.19 dB above noise-reduction level.
    assert float(found["decoder"].answer) == pytest.approx(580.0 * 10 ** (1.19 / 20), rel=0.02)
    for name in ("meter", "encoder", "decoder"):
        limits = found[name].limits
        assert limits is not None
        assert limits.hold(float(found[name].answer)), name


def test_the_practice_machine_shows_what_its_meter_reads(tmp_path: Path) -> None:
    """Nobody has a voltmeter on it: the question says what there is to see."""
    one = HEAD + step("entry", "encoder", asks='"number"', unit='"mV"', reads='"encoder left"', sends=MARK)
    opened, _ = open_bench(tmp_path, one + SIGNED, "three-head-cassette", seed=2, changes={})
    asked: list[str] = []

    class Looks(UnattendedHands):
        def decide(self, snapshot: Snapshot, now: float) -> Command | None:
            asked.append(snapshot.prompt.text)
            waits = snapshot.prompt.instrument and "shows" not in asked[-1]
            return None if waits else super().decide(snapshot, now)

    try:
        rehearse(opened.runner, opened.port, opened.clock, Looks())
    finally:
        opened.store.close()
    shown = [text.split() for text in asked if "The voltmeter shows" in text]
    assert [float(words[-2]) for words in shown] == [pytest.approx(580.0, rel=0.01)]


def test_each_point_shows_its_own_part_of_the_path(tmp_path: Path) -> None:
    """A low control changes meter and encoder; a wrong mark of the output control changes none of the three."""
    low = read(tmp_path / "low", "three-head-cassette", record_control_left_db=-3.0)
    assert float(low["meter"].answer) == pytest.approx(-4.2, abs=0.1)
    assert float(low["encoder"].answer) == pytest.approx(580.0 * 10 ** (-3 / 20), rel=0.01)
    assert low["decoder"].limits is not None
    assert low["decoder"].limits.hold(float(low["decoder"].answer))
    mark = read(tmp_path / "mark", "three-head-cassette", output_control_db=-3.0)
    for name in ("meter", "encoder", "decoder"):
        limits = mark[name].limits
        assert limits is not None
        assert limits.hold(float(mark[name].answer)), name
