"""A channel of inverted polarity, while azimuth is set with one tone after another."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bench.measure.method import Method
from bench.measure.reading import Reading
from bench.procedure.load.library import Library
from bench.procedure.model.targets import Target, judge
from bench.workspace import Workspace, shipped_procedures
from tests.procedure.record_bench import HEAD, run, step
from tests.smooth import smooth_procedures

AZIMUTH = {"quantity": '"azimuth_delay"', "trimmers": '{ both = "replay azimuth" }'}
CLEAN = HEAD + step("by-hand", "clean", does='["clean", "demagnetise"]')
TEN = step("adjust", "ten", plays='"azimuth-10k"', target='"machine.replay_azimuth"', **AZIMUTH)
STEPS = (
    CLEAN
    + step("adjust", "one", plays='"azimuth-1k"', target='"machine.replay_azimuth_coarse"', **AZIMUTH)
    + step("adjust", "three", plays='"azimuth-3k15"', target='"machine.replay_azimuth_coarse"', **AZIMUTH)
    + TEN
)


@pytest.mark.parametrize("inverted", [True, False])
def test_half_a_period_is_no_delay_once_polarity_is_known(tmp_path: Path, inverted: bool) -> None:
    """158.7 µs at 3.15 kHz is half a period: a screw turned by that would be 40 times off the fine target."""
    which = "right" if inverted else "none"
    ran = run(tmp_path, STEPS, "three-head-cassette", replay_azimuth_arcmin=8.0, inverted_channel=which)
    assert ran.outcome.words == ({"in": 3, "out": 3} if inverted else {"in": 3})  # polarity alone is out
    assert abs(ran.machine.truth()["replay azimuth"]) < 2.0
    methods = [r.reading.method for r in ran.opened.store.records() if r.reading.quantity == "azimuth_delay"]
    assert [m.inverted for m in methods] == [inverted] * 3


def test_azimuth_without_known_polarity_is_not_in() -> None:
    """One channel inverted and the head half a period off read as no delay at all."""
    known = Reading("azimuth_delay", "left-right", 0.0, 1.0, frequency_hz=10000.0)
    target = Target(unit="µs", tolerance=4.0, source="common practice, no source")
    assert judge(known, target).word == "in"
    assert judge(replace(known, method=Method("", polarity_unknown=True)), target).word == "too close to call"


@pytest.mark.parametrize("inverted", [True, False])
def test_a_level_tone_shows_the_polarity_where_the_tape_has_no_low_azimuth_tone(tmp_path: Path, inverted: bool) -> None:
    smooth_procedures(tmp_path / "procedures")
    sheet = tmp_path / "procedures/sheets/reference-tapes/cassette-reference.toml"
    head, *sections = sheet.read_text(encoding="utf-8").split("[[section]]")
    kept = [s for s in sections if '"level-400"' in s or '"azimuth-10k"' in s]
    sheet.write_text("[[section]]".join([head, *kept]), encoding="utf-8")
    play = step("reference", "play", targets='{ azimuth_delay = "machine.replay_azimuth" }')
    which = "right" if inverted else "none"
    ran = run(tmp_path, CLEAN + play, "three-head-cassette", inverted_channel=which)
    assert ran.outcome.words == ({"in": 1, "out": 1} if inverted else {"in": 1})


def test_the_usual_reference_tape_begins_low_enough() -> None:
    job = Library(Workspace(Path(shipped_procedures()).parent)).load_job("replay-line-up")
    azimuth = [s.hz for s in job.reference_tape.section if s.purpose == "azimuth"]
    assert azimuth[0] <= 1500.0
