"""A channel of inverted polarity, while azimuth is set with one tone after another."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.procedure.load.library import Library
from bench.workspace import Workspace, shipped_procedures
from tests.procedure.record_bench import HEAD, run, step

AZIMUTH = {"quantity": '"azimuth_delay"', "trimmers": '{ both = "replay azimuth" }'}
STEPS = (
    step("by-hand", "clean", does='["clean", "demagnetise"]')
    + step("adjust", "one", plays='"azimuth-1k"', target='"machine.replay_azimuth_coarse"', **AZIMUTH)
    + step("adjust", "three", plays='"azimuth-3k15"', target='"machine.replay_azimuth_coarse"', **AZIMUTH)
    + step("adjust", "ten", plays='"azimuth-10k"', target='"machine.replay_azimuth"', **AZIMUTH)
)


@pytest.mark.parametrize("inverted", [True, False])
def test_half_a_period_is_no_delay_once_polarity_is_known(tmp_path: Path, inverted: bool) -> None:
    """158.7 µs at 3.15 kHz is half a period: a screw turned by that would be 40 times off the fine target."""
    which = "right" if inverted else "none"
    ran = run(tmp_path, HEAD + STEPS, "three-head-cassette", replay_azimuth_arcmin=8.0, inverted_channel=which)
    assert ran.outcome.words == ({"in": 3, "out": 3} if inverted else {"in": 3})  # polarity alone is out
    assert abs(ran.machine.truth()["replay azimuth"]) < 2.0
    methods = [r.reading.method for r in ran.opened.store.records() if r.reading.quantity == "azimuth_delay"]
    assert [m.inverted for m in methods] == [inverted] * 3


def test_the_usual_reference_tape_begins_low_enough() -> None:
    job = Library(Workspace(Path(shipped_procedures()).parent)).load_job("replay-line-up")
    azimuth = [s.hz for s in job.reference_tape.section if s.purpose == "azimuth"]
    assert azimuth[0] <= 1500.0
